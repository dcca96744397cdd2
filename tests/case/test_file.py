"""Case files: what is written is read back, and what is wrong is named with its path."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from dataclasses import replace
from math import inf, nan
from pathlib import Path
from typing import Any, Literal

import pytest
from hypothesis import given

from faultnet.case.faults import CaseFileError
from faultnet.case.file import case_from_json, case_to_json, load_case
from faultnet.case.types import Act, Battery, Car, Case, CaseOutcome, Conditions, Photo, Reading, Visit
from faultnet.errors import CarError, CaseError
from tests.case.drawing import cases

CAR = {"battery": {"rating": 600}}
PHOTO = {"id": "0123456789abcdef" * 4, "caption": "left post"}


def text_of(**fields: Any) -> str:
    """Write a smallest case file with `fields` in it."""
    return json.dumps({"format": "faultnet-case", "version": 2, "car": CAR, **fields})


def entry(**fields: Any) -> Any:
    """Read one entry through a case file."""
    return case_from_json(text_of(visits=[{"entries": [fields]}])).visits[0].entries[0]


def faults_of(text: str) -> dict[str, str]:
    """Collect the faults of a refused text, by path."""
    with pytest.raises(CaseFileError) as caught:
        case_from_json(text)
    assert all(str(fault) in str(caught.value) for fault in caught.value.faults)
    return {fault.path: f"{fault.got} | {fault.expected}" for fault in caught.value.faults}


@given(cases)
def test_what_is_written_reads_back_the_same(case: Case) -> None:
    assert case_from_json(case_to_json(case)) == case
    assert case_to_json(case_from_json(case_to_json(case, indent=None)), indent=None) == case_to_json(case, indent=None)


def test_every_field_of_the_format_is_read() -> None:
    text = text_of(
        name="grey van",
        invented=True,
        complaint="turns slowly",
        car={
            "battery": {"rating": 720, "standard": "SAE", "kind": "agm", "capacity": 70, "age": 3.5},
            "fuel": "diesel",
            "displacement": 2.2,
            "cylinders": 4.0,
            "alternator_rating": 150,
            "charge_control": "load_responsive",
            "climate": "cold",
            "label": "van 3",
            "system_voltage": 12,
            "drive": "combustion",
        },
        visits=[
            {
                "date": "2026-11-20",
                "note": "yard",
                "conditions": {"air_temperature": 14, "temperature_unit": "degF", "hours_standing": 9, "damp": True},
                "entries": [
                    {"test": "rest_voltage", "value": "12,4 V", "instrument": "multimeter", "note": "left post"},
                    {"test": "crank_minimum", "value": 9100, "unit": "mV", "roughly": True},
                    {"test": "charge_lamp", "state": "glows"},
                    {"test": "hydrometer_level", "not_measured": "cannot_reach"},
                    {"act": "replace", "component": "battery", "outcome": "cured", "hours": 0.5, "note": "new"},
                ],
            }
        ],
        outcome={"causes": [{"component": "battery", "mode": "worn"}], "confirmed_by": "a week of starts", "note": "-"},
    )
    visit = Visit(
        entries=(
            Reading("rest_voltage", 12.4, unit="V", entered="12,4 V", instrument="multimeter", note="left post"),
            Reading("crank_minimum", 9.1, unit="mV", roughly=True),
            Reading("charge_lamp", state="glows"),
            Reading("hydrometer_level", not_measured="cannot_reach"),
            Act("replace", "battery", "cured", 0.5, "new"),
        ),
        conditions=Conditions(air_temperature=-10.0, hours_standing=9.0, damp=True),
        date="2026-11-20",
        note="yard",
    )
    battery = Battery(720.0, "SAE", "agm", 70.0, 3.5)
    car = Car(battery, "diesel", 2.2, 4, 150.0, "load_responsive", "cold", "van 3")
    outcome = CaseOutcome((("battery", "worn"),), "a week of starts", "-")
    assert case_from_json(text) == Case(car, (visit,), "turns slowly", "grey van", True, outcome)


def test_a_file_of_version_1_loads_and_what_it_leaves_out_is_not_known() -> None:
    old = case_from_json(text_of().replace('"version": 2', '"version": 1'))
    assert old == case_from_json(text_of())
    assert '"version": 1' not in case_to_json(old)
    (visit,) = old.visits
    assert (visit.cranks, visit.runs, visit.shows_now, visit.photos) == (None, None, None, ())
    assert (old.car.battery.standard, old.car.needs_rating) == ("EN", None)  # version 1 meant EN where it said nothing


def test_what_version_2_added_is_read() -> None:
    entries = [
        {"test": "rest_voltage", "value": "<11", "at": "2026-11-20T14:05:31+00:00", "by": "AB", "photos": [PHOTO]},
        {"act": "charge", "at": "2026-11-20T14:05", "by": "AB", "photos": [PHOTO]},
    ]
    visit = {"cranks": True, "runs": "with_booster", "shows_now": False, "photos": [PHOTO], "entries": entries}
    car = {"battery": {}, "needs_rating": 640, "needs_standard": "SAE"}
    case = case_from_json(text_of(car=car, visits=[visit]))
    photos = (Photo(**PHOTO),)
    more = {"by": "AB", "photos": photos}
    assert case == Case(
        Car(Battery(None), needs_rating=640.0, needs_standard="SAE"),
        (
            Visit(
                (
                    Reading("rest_voltage", 11.0, bound="below", entered="<11", at="2026-11-20T14:05:31+00:00", **more),
                    Act("charge", at="2026-11-20T14:05", **more),
                ),
                cranks=True,
                runs="with_booster",
                shows_now=False,
                photos=photos,
            ),
        ),
    )
    assert case_from_json(text_of(car={"battery": {"rating": 600, "standard": "not_known"}})).car.battery == Battery(
        600.0, "not_known"
    )
    assert json.loads(case_to_json(case))["car"] == {"battery": {}, "needs_rating": 640.0, "needs_standard": "SAE"}


def test_a_case_without_visits_has_one_empty_visit() -> None:
    assert case_from_json(text_of()).visits == (Visit(),)
    assert case_from_json(text_of(visits=[])).visits == ()


@pytest.mark.parametrize(
    "fields, value, unit, entered, roughly",
    [
        ({"value": 12.4}, 12.4, "", "", False),
        ({"value": "12,4"}, 12.4, "", "12,4", False),
        ({"value": "12,4", "unit": "V"}, 12.4, "V", "12,4", False),
        ({"value": "350 mV", "unit": "V"}, 0.35, "mV", "350 mV", False),
        ({"value": 350, "unit": "mV"}, 0.35, "mV", "", False),
        ({"value": "~54 °F"}, 110 / 9, "degF", "~54 °F", True),
        ({"value": 54, "unit": "degF"}, 110 / 9, "degF", "", False),
        ({"value": 12.4, "entered": "12.40"}, 12.4, "", "12.40", False),
        ({"value": "12,4", "entered": ""}, 12.4, "", "", False),
    ],
)
def test_values_are_numbers_or_text(
    fields: dict[str, Any], value: float, unit: str, entered: str, roughly: bool
) -> None:
    reading = entry(test="rest_voltage", **fields)
    assert reading.value == pytest.approx(value, rel=1e-15)
    assert (reading.unit, reading.entered, reading.roughly) == (unit, entered, roughly)


def test_a_field_in_the_wrong_place_is_not_said_to_be_perhaps_itself() -> None:
    """`kind` is a field of a battery."""
    found = faults_of(text_of(visits=[{"entries": [{"test": "b", "value": 1, "kind": "reading"}]}]))
    assert found == {"visits[0].entries[0].kind": "an unknown field | no such field here"}


def test_all_faults_are_listed_at_once() -> None:
    entries = [
        {"test": "a", "value": "12,4,3"},
        {"tst": "a", "value": 1},
        {"act": "charge", "hours": -1},
        {"act": "Charge", "outcom": "cured"},
        {"test": "b"},
        {"test": "b", "value": 1, "state": "low"},
        {"test": "b", "value": True},
        {"test": "b", "value": 1, "unit": "volts"},
        {"test": "b", "value": "OL"},
        {"test": "b", "state": "low", "bound": "above"},
        {"test": "b", "not_measured": "lazy"},
        3,
    ]
    car = {"battery": {"rating": "600", "standart": "EN"}, "fuel": "gas", "drive": "hybrid", "system_voltage": 24}
    conditions = {"temperature_unit": "degF", "air_temperature": 150, "damp": "no"}
    visits = [{"conditions": conditions, "entries": entries}]
    found = faults_of(text_of(car=car, complain="x")) | faults_of(text_of(visits=visits))
    expected = {
        "car.battery.rating": '"600" | a valid number',
        "car.battery.standart": "perhaps standard",
        "car.fuel": "'petrol' or 'diesel'",
        "car.drive": "high-voltage",
        "car.system_voltage": "only 12 V systems",
        "complain": "perhaps complaint",
        "visits[0].conditions.air_temperature": "-50 to 60 degC",
        "visits[0].conditions.damp": '"no" | true or false',
        "visits[0].entries[0].value": "one decimal mark",
        "visits[0].entries[1].test": "nothing | this field",
        "visits[0].entries[1].tst": "perhaps test",
        "visits[0].entries[2].hours": "-1 | greater than or equal to 0",
        "visits[0].entries[3].act": "an id of small letters",
        "visits[0].entries[3].outcom": "perhaps outcome",
        "visits[0].entries[4]": "there are 0",
        "visits[0].entries[5]": "there are 2",
        "visits[0].entries[6].value": "true | a number",
        "visits[0].entries[7].unit": "one of the units",
        "visits[0].entries[8].value": "such as >20",
        "visits[0].entries[9]": "a value with bound",
        "visits[0].entries[10].not_measured": "'skipped', 'cannot_reach'",
        "visits[0].entries[11]": "3 | an object",
    }
    assert set(found) == set(expected)
    for path, part in expected.items():
        assert part in found[path], path


@pytest.mark.parametrize(
    "text, path, part",
    [
        ("[1]", "", "an object with format"),
        ("{", "", "line 1, column 2"),
        ('{"a": 1, "a": 2}', "", "twice"),
        ("[" * 100_000, "", "nested too deeply"),
        ('{"a": ' + "[" * 60 + "]" * 60 + "}", "a[0][0] ...", "at most 20 levels"),
        ('{"a": ' + "1" * 5000 + "}", "", "too long"),
        ('{"a": {"b": [0, null]}}', "a.b[1]", "leave the field out"),
        ('{"a": "\\ud800"}', "a", "half characters"),
        ('{"a": "\\u0000"}', "a", "null character"),
        ("{}", "format", "nothing"),
        (text_of(visits=[{"photos": [{"id": "A" * 64}]}]), "visits[0].photos[0].id", "64 hexadecimal"),
        (text_of(visits=[{"photos": [{**PHOTO, "caption": "a\nb"}]}]), "visits[0].photos[0].caption", "one line"),
        (text_of(visits=[{"entries": [{"act": "charge", "at": "noon"}]}]), "visits[0].entries[0].at", "a moment"),
        (text_of(visits=[{"runs": "yes"}]), "visits[0].runs", "'by_itself', 'with_booster' or 'no'"),
        ('{"format": "faultnet-case", "version": 3}', "version", "3"),
        ('{"format": "faultnet-case", "version": true}', "version", "true"),
        (text_of(visits=[{"entries": [{"test": "a", "value": nan}]}]), "visits[0].entries[0].value", "a number"),
        (text_of(visits=[{"entries": [{"test": "a", "value": 10**400}]}]), "visits[0].entries[0].value", "a number"),
        (text_of(visits=[{"conditions": {"air_temperature": inf}}]), "visits[0].conditions.air_temperature", "finite"),
        (text_of(visits=[{"date": "2026-02-30"}]), "visits[0].date", "calendar"),
        (text_of(visits=[{"date": "20.11.2026"}]), "visits[0].date", "a date such as"),
    ],
)  # fmt: skip
def test_broken_text_is_refused_with_its_place(text: str, path: str, part: str) -> None:
    found = faults_of(text)
    assert part in found[path]


def test_bytes_paths_and_standard_input(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = text_of(name="Büro")
    path = tmp_path / "case.json"
    path.write_text(text, encoding="utf-8-sig")
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
    loaded = [load_case(source) for source in (text, text.encode(), path, str(path), "-")]
    assert loaded == [loaded[0]] * 5
    assert loaded[0].name == "Büro"


@pytest.mark.parametrize(
    "data, part", [("{}".encode("utf-16"), "UTF-8"), (b" " * 20_000_001, "at most 20 MB")], ids=["utf-16", "large"]
)
def test_bytes_that_are_no_case(data: bytes, part: str, tmp_path: Path) -> None:
    path = tmp_path / "case.json"
    path.write_bytes(data)
    for source in (data, path):
        with pytest.raises(CaseFileError, match=part):
            load_case(source)


def test_a_path_that_cannot_be_read(tmp_path: Path) -> None:
    for path, part in ((tmp_path / "none.json", "no such file"), (tmp_path, "directory"), ("a\0b", "null byte")):
        with pytest.raises(CaseFileError, match=part):
            load_case(path)


BAD_READINGS = [
    Reading("rest_voltage", inf),
    Reading("rest_voltage", nan),
    Reading("rest_voltage", 1.0, unit="volts"),
    Reading("Rest voltage", 1.0),
    Reading("rest_voltage", 1.0, note="\0"),
    Reading("rest_voltage", 1.0, entered="\ud800"),
]


@pytest.mark.parametrize("reading", BAD_READINGS, ids=repr)
def test_nothing_is_written_that_could_not_be_read(reading: Reading) -> None:
    with pytest.raises(CaseError):
        case_to_json(Case(Car(Battery(600.0)), (Visit((reading,)),)))


def test_a_value_whose_unit_rounds_keeps_every_bit() -> None:
    """0.1 + 0.2 V has no float in mV that leads back to it; 1e-300 degC vanishes beside 32 degF."""
    for value, unit in ((0.1 + 0.2, "mV"), (1.1234567890123457, "mV"), (1e-300, "degF"), (5e-324, "uV")):
        case = Case(Car(Battery(600.0)), (Visit((Reading("rest_voltage", value, unit=unit),)),))
        assert case_from_json(case_to_json(case)) == case


@pytest.mark.parametrize("bound", [None, "above", "below"])
@pytest.mark.parametrize(
    "entered", ["12.9 V", "12.4 mV", ">12.4 V", "<12.4 V", "OL", "~12.4 V", "12,4,3", "", "12.4", "twelve"]
)
def test_typed_characters_never_overrule_the_value(entered: str, bound: Literal["above", "below"] | None) -> None:
    reading = Reading("rest_voltage", 12.4, unit="V", entered=entered, bound=bound)
    case = Case(Car(Battery(600.0)), (Visit((reading,)),))
    assert case_from_json(case_to_json(case)).visits[0].entries == (reading,)


LIMITS = {
    "rating": (Battery, 100.0, 2000.0),
    "needs_rating": (Car, 100.0, 2000.0),
    "capacity": (Battery, 15.0, 250.0),
    "age": (Battery, 0.0, 30.0),
    "displacement": (Car, 0.5, 8.0),
    "cylinders": (Car, 2, 12),
    "alternator_rating": (Car, 30.0, 350.0),
    "air_temperature": (Conditions, -50.0, 60.0),
    "electrolyte_temperature": (Conditions, -40.0, 80.0),
    "hours_standing": (Conditions, 0.0, 20000.0),
}


@pytest.mark.parametrize("name", LIMITS)
def test_limits_are_those_of_the_types(name: str) -> None:
    """Just inside and just outside each limit, the file and :mod:`faultnet.case.types` agree."""
    kind, low, high = LIMITS[name]
    step = 1 if name == "cylinders" else 1e-6
    for value, accepted in ((low, True), (high, True), (low - step, False), (high + step, False)):
        assert accepted_by_type(kind, name, value) is accepted
        assert accepted_by_file(kind, name, value) is accepted


def accepted_by_type(kind: type, name: str, value: float) -> bool:
    """Try the value on the type itself."""
    battery = {} if name == "rating" or kind is not Battery else {"rating": 600.0}
    car = {"battery": Battery(600.0)} if kind is Car else {}
    try:
        kind(**battery, **car, **{name: value})
    except CarError:
        return False
    return True


def accepted_by_file(kind: type, name: str, value: float) -> bool:
    """Try the value through a case file."""
    fields: dict[str, Any] = {name: value}
    parts = {
        Battery: {"car": {"battery": {"rating": 600, **fields}}},
        Car: {"car": {**CAR, **fields}},
        Conditions: {"visits": [{"conditions": fields}]},
    }
    try:
        case_from_json(text_of(**parts[kind]))
    except CaseFileError as error:
        return name not in error.faults[0].path
    return True


def test_importing_the_file_layer_leaves_heavy_libraries_alone() -> None:
    """The command line must not pay for pydantic, YAML or SQLAlchemy before it reads a case."""
    program = (
        "import sys, faultnet.case.file; print([m for m in ('pydantic', 'yaml', 'sqlalchemy') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_a_smaller_change_is_seen() -> None:
    """The comparison the round trip rests on does tell cases apart."""
    case = Case(Car(Battery(600.0)), complaint="slow")
    assert replace(case, complaint="slow ") != case_from_json(case_to_json(case))
