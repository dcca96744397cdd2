"""What a case file may contain, field by field, and how each part becomes a type of :mod:`faultnet.case.types`.

The forms are the only place where pydantic is used. They are strict: ``"600"`` is no number, an unknown field is an
error, and a field that is not known is left out. Each form has one method, :meth:`build`. The limits in ``Field``
repeat those of :mod:`faultnet.case.types` so that the published schema holds them too; a test keeps the two equal.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    ValidationInfo,
    field_validator,
    model_validator,
)

from faultnet.case.fields import (
    Amount,
    Date,
    Identifier,
    Line,
    Moment,
    PhotoId,
    UnitName,
    Whole,
    in_one_line,
    in_words_of,
    not_true,
)
from faultnet.case.types import (
    Act,
    Battery,
    BatteryKind,
    Bound,
    Car,
    Case,
    CaseOutcome,
    ChargeControl,
    Climate,
    Conditions,
    Entry,
    Fuel,
    NotMeasured,
    Outcome,
    Photo,
    Proof,
    RatingStandard,
    Reading,
    Runs,
    Visit,
)
from faultnet.errors import EntryError
from faultnet.units import parse_entry, to_si


class Form(BaseModel):
    """Common settings: exact types, no unknown fields, finite numbers."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)


class BatteryForm(Form):
    """The battery that is fitted."""

    rating: float | None = Field(
        None, ge=100, le=2000, description="cold-cranking current on the label [A]; left out when it is not known"
    )
    standard: RatingStandard = "EN"
    kind: BatteryKind = "flooded"
    capacity: float | None = Field(None, ge=15, le=250, description="twenty-hour capacity [A h]")
    age: float | None = Field(None, ge=0, le=30, description="years since it was fitted")

    def build(self) -> Battery:
        """Make the battery."""
        return Battery(**self.model_dump())


class CarForm(Form):
    """The car."""

    battery: BatteryForm
    fuel: Fuel = "petrol"
    displacement: float = Field(1.6, ge=0.5, le=8, description="engine displacement [l]")
    cylinders: Whole = Field(4, ge=2, le=12)
    alternator_rating: float = Field(90.0, ge=30, le=350, description="rated alternator current [A]")
    charge_control: ChargeControl = "fixed"
    climate: Climate = "temperate"
    label: str = ""
    system_voltage: float = Field(12.0, json_schema_extra={"const": 12})
    drive: str = Field("combustion", json_schema_extra={"const": "combustion"})
    needs_rating: float | None = Field(
        None, ge=100, le=2000, description="cold-cranking current that the car needs [A], whatever is fitted"
    )
    needs_standard: RatingStandard = "EN"

    @field_validator("system_voltage", "drive")
    @classmethod
    def _covered(cls, value: Any, info: ValidationInfo) -> Any:
        """Refuse a car this tool must not be used on, in the words of :class:`~faultnet.case.types.Car`."""
        in_words_of(lambda: Car(battery=Battery(600.0), **{str(info.field_name): value}))
        return value

    def build(self) -> Car:
        """Make the car."""
        return Car(**{**self.model_dump(), "battery": self.battery.build()})


def _temperature_schema(schema: dict[str, Any]) -> None:
    """Write the limits of the temperatures, which depend on their unit, into the schema."""
    limits = {"air_temperature": ((-50, 60), (-58, 140)), "electrolyte_temperature": ((-40, 80), (-40, 176))}
    celsius, fahrenheit = (
        {"properties": {name: {"minimum": pair[k][0], "maximum": pair[k][1]} for name, pair in limits.items()}}
        for k in (0, 1)
    )
    chosen = {"properties": {"temperature_unit": {"const": "degF"}}, "required": ["temperature_unit"]}
    schema.update({"if": chosen, "then": fahrenheit, "else": celsius})


class ConditionsForm(Form):
    """What surrounds a visit; temperatures in `temperature_unit`."""

    model_config = ConfigDict(json_schema_extra=_temperature_schema)

    temperature_unit: Literal["degC", "degF"] = "degC"
    air_temperature: float | None = None
    electrolyte_temperature: float | None = None
    hours_standing: float | None = Field(None, ge=0, le=20000, description="hours since the engine last ran")
    damp: bool = False
    rough_road: bool = False
    engine_warm: bool = False

    @field_validator("air_temperature", "electrolyte_temperature")
    @classmethod
    def _possible(cls, value: float, info: ValidationInfo) -> float:
        """Refuse a temperature that cannot be, in the words of :class:`~faultnet.case.types.Conditions`."""
        given: dict[str, Any] = {str(info.field_name): to_si(value, info.data.get("temperature_unit", "degC"))}
        in_words_of(lambda: Conditions(**given))
        return value

    def build(self) -> Conditions:
        """Make the conditions, temperatures in [degC]."""
        fields = self.model_dump(exclude={"temperature_unit"})
        for name in ("air_temperature", "electrolyte_temperature"):
            if fields[name] is not None:
                fields[name] = to_si(fields[name], self.temperature_unit)
        return Conditions(**fields)


class PhotoForm(Form):
    """A photo in the store."""

    id: PhotoId
    caption: Line = ""

    def build(self) -> Photo:
        """Make the photo."""
        return Photo(self.id, self.caption)


class EntryFormBase(Form):
    """What readings and acts have in common."""

    note: str = ""
    at: Moment | None = Field(None, description="when it was entered, such as 2026-11-20T14:05:31+00:00")
    by: str = Field("", description="who entered it, where that is wanted")
    photos: list[PhotoForm] = []

    def common(self) -> dict[str, Any]:
        """Give these fields as the types take them."""
        photos = tuple(photo.build() for photo in self.photos)
        return {"note": self.note, "at": self.at or "", "by": self.by, "photos": photos}


_ONE_RESULT: list[Any] = [{"required": [name]} for name in ("value", "state", "not_measured")]


class ReadingForm(EntryFormBase):
    """What one test gave: exactly one of `value`, `state` and `not_measured`."""

    model_config = ConfigDict(json_schema_extra={"oneOf": _ONE_RESULT})

    test: Identifier
    unit: UnitName | None = Field(None, description="unit of a value without one; the base unit when left out")
    value: Amount | None = None
    state: Identifier | None = None
    not_measured: NotMeasured | None = None
    instrument: Identifier | None = None
    roughly: bool = False
    bound: Bound | None = Field(
        None, description="`above` or `below` when the meter showed over or under its limit, which `value` gives"
    )
    entered: str | None = Field(None, description="the characters typed, when `value` is not itself that text")
    interval: float | None = Field(None, gt=0, le=60, description="sampling interval of the log it was taken from, s")
    read_by: str = Field("", description="who read it off, where that is wanted")

    @field_validator("value")
    @classmethod
    def _readable(cls, value: float | str, info: ValidationInfo) -> float | str:
        """Refuse text that is no reading, and a meter's over-limit sign without the limit."""
        if not isinstance(value, str):
            return value
        try:
            parsed = parse_entry(value, info.data.get("unit"))
        except EntryError as error:
            raise ValueError(in_one_line(error)) from None
        if parsed.value is None:
            raise ValueError(
                "the limit with it, such as >20: the largest figure that range shows; or give not_measured"
            )
        return value

    @model_validator(mode="after")
    def _one_result(self) -> ReadingForm:
        """Refuse a reading without a result or with several."""
        given = [name for name in ("value", "state", "not_measured") if getattr(self, name) is not None]
        if len(given) != 1:
            raise ValueError(f"exactly one of value, state, not_measured (there are {len(given)})")
        if self.bound is not None and self.value is None:
            raise ValueError("a value with bound: the end of the meter's range")
        return self

    def build(self) -> Reading:
        """Make the reading, its value in the base unit."""
        value, unit, entered, roughly = self.value, self.unit or "", self.entered or "", self.roughly
        bound = self.bound
        if isinstance(value, str):
            parsed = parse_entry(value, self.unit)
            entered = value if self.entered is None else self.entered
            value, unit, roughly = parsed.value, parsed.unit, roughly or parsed.roughly
            bound = parsed.bound or bound
        elif value is not None:
            value = to_si(value, unit) if unit else float(value)
        rest = self.model_dump(include={"test", "state", "not_measured", "instrument", "interval", "read_by"})
        return Reading(value=value, unit=unit, entered=entered, roughly=roughly, bound=bound, **rest, **self.common())


class ActForm(EntryFormBase):
    """Something that changed the car."""

    act: Identifier
    component: Identifier | None = None
    outcome: Outcome | None = None
    hours: float | None = Field(None, ge=0, le=20000)

    def build(self) -> Act:
        """Make the act."""
        return Act(self.act, self.component, self.outcome, self.hours, **self.common())


def _kind_of_entry(entry: Any) -> str:
    """Tell an act from a reading by its first field."""
    return "act" if isinstance(entry, dict) and "act" in entry and "test" not in entry else "reading"


EntryForm = Annotated[
    Annotated[ReadingForm, Tag("reading")] | Annotated[ActForm, Tag("act")], Discriminator(_kind_of_entry)
]


class VisitForm(Form):
    """One visit."""

    date: Date | None = Field(None, description="2026-11-20, or 2026-11-20T14:05")
    note: str = ""
    conditions: ConditionsForm = Field(default_factory=lambda: ConditionsForm.model_validate({}))
    entries: list[EntryForm] = []
    cranks: bool | None = Field(None, description="whether the starter turns the engine now")
    runs: Runs | None = Field(None, description="whether the engine can be started now")
    shows_now: bool | None = Field(None, description="whether the fault shows now")
    photos: list[PhotoForm] = []

    def build(self) -> Visit:
        """Make the visit."""
        entries: tuple[Entry, ...] = tuple(entry.build() for entry in self.entries)
        photos = tuple(photo.build() for photo in self.photos)
        return Visit(
            entries, self.conditions.build(), self.date or "", self.note, self.cranks, self.runs, self.shows_now, photos
        )


class CauseForm(Form):
    """A component in a fault mode."""

    component: Identifier
    mode: Identifier


class OutcomeForm(Form):
    """The confirmed end of a case."""

    causes: list[CauseForm] = []
    confirmed_by: str = ""
    note: str = ""
    proof: Proof | None = Field(None, description="what sort of proof it is; taken as true where it is not told")

    def build(self) -> CaseOutcome:
        """Make the outcome."""
        causes = tuple((cause.component, cause.mode) for cause in self.causes)
        return CaseOutcome(causes=causes, confirmed_by=self.confirmed_by, note=self.note, proof=self.proof)


class CaseForm(Form):
    """A case file; one of version 1 is one of version 2 that leaves the newer fields out."""

    model_config = ConfigDict(title="faultnet case file, version 2")

    format: Literal["faultnet-case"]
    version: Annotated[Literal[1, 2], BeforeValidator(not_true)]
    car: CarForm
    name: str = ""
    invented: bool = Field(False, description="true when the case is made up, as every example is")
    complaint: str = ""
    visits: list[VisitForm] = Field(default_factory=lambda: [VisitForm.model_validate({})])
    outcome: OutcomeForm | None = None

    def build(self) -> Case:
        """Make the case."""
        visits = tuple(visit.build() for visit in self.visits)
        outcome = self.outcome.build() if self.outcome else None
        return Case(self.car.build(), visits, self.complaint, self.name, self.invented, outcome)


def known_fields() -> frozenset[str]:
    """List the names of all fields of a case file."""
    forms: tuple[type[Form], ...] = (CaseForm, CarForm, BatteryForm, VisitForm, ConditionsForm, ReadingForm, ActForm)
    forms = (*forms, PhotoForm, OutcomeForm, CauseForm)
    return frozenset(name for form in forms for name in form.model_fields)
