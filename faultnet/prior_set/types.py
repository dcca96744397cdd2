"""What a prior set holds, as frozen records: components, tests, instruments, acts, rates, effects, symptom tables.

Labels are for people, ids are for the program (``[a-z][a-z0-9_]*``). Whatever could be disputed carries its unit,
its source and a mark: published, secondary, memory, practice, derived or estimate.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Mark = Literal["published", "secondary", "memory", "practice", "derived", "estimate"]
MARKS: tuple[str, ...] = ("published", "secondary", "memory", "practice", "derived", "estimate")
CONDITIONS: tuple[str, ...] = ("vibration", "heat", "cold", "damp", "standing")
OUTCOMES: tuple[str, ...] = ("cured", "better", "no_change")  # what an act may be said to have done
WORKINGS: tuple[str, ...] = ("cranks", "charges", "jumps", "loads", "sparks")
SOUND_MODES: frozenset[str] = frozenset({"sound", "normal", "absent"})


@dataclass(frozen=True)
class Mode:
    """What a component may be: sound, or one fault mode.

    Parameters
    ----------
    id, label, explanation : str
    shows : str
        How it shows to somebody who stands at the car.
    repair : str
        The act that mends it; empty for the sound mode.
    comes_and_goes : bool
        Whether it is on at some visits and off at others.
    brought_on : tuple of str
        Which of vibration, heat, cold, damp, standing bring it on.
    """

    id: str
    label: str
    explanation: str
    shows: str = ""
    repair: str = ""
    comes_and_goes: bool = False
    brought_on: tuple[str, ...] = ()


@dataclass(frozen=True)
class Component:
    """One part of the car that can be at fault; its first mode is the sound one.

    Parameters
    ----------
    id, label, explanation : str
    modes : tuple of Mode
    in_vain : str
        What is lost when it is mended although it was not at fault, in words; empty for work on it.
    """

    id: str
    label: str
    explanation: str
    modes: tuple[Mode, ...]
    in_vain: str = ""


@dataclass(frozen=True)
class Timer:
    """A time to keep while something is done or waited for.

    Parameters
    ----------
    label : str
    seconds : float
        [s].
    """

    label: str
    seconds: float


@dataclass(frozen=True)
class Complaint:
    """What a driver complains of, as a choice when a case begins: an entry of the test that asks the same.

    Parameters
    ----------
    id, label, test, choice : str
    """

    id: str
    label: str
    test: str
    choice: str


@dataclass(frozen=True)
class Forbid:
    """A finding after which some things must not be done to the car.

    Parameters
    ----------
    choice : str
        Of the test that it belongs to.
    does : tuple of str
        What must not be done, some of :data:`WORKINGS`.
    until : tuple of str
        Components whose repair, and effects of acts, that end it; a later answer to the test ends it too.
    words : str
    """

    choice: str
    does: tuple[str, ...]
    until: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class Test:
    """Something that only looks at the car.

    Parameters
    ----------
    id, label, group : str
    kind : {"number", "choice"}
    unit : str
        SI unit of a number; empty for a choice.
    choices : tuple of (id, label)
        What a choice may be; most normal first when the symptom table combines by the worst.
    tools : tuple of str
    minutes : float
        Hands-on minutes [min].
    needs : tuple of str
        Preconditions that must hold first.
    steps, cautions : tuple of str
        How to do it; ids of the cautions that go with it.
    quantity : str
        The physical quantity it observes, or "table" when a symptom table stands for it.
    instruments : tuple of str
        Instrument ids, the ordinary one first.
    plausible : (float, float), optional
        Lowest and highest number that can be true at all, in `unit`.
    explanation : str
        What it tells, in a sentence.
    timers : tuple of Timer
        Times its steps ask for, in their order.
    does : tuple of str
        What doing it does to the car, some of :data:`WORKINGS`; what its needs ask for comes on top.
    forbids : tuple of Forbid
        What must not be done after some of its choices.
    tells : tuple of (choice, test, state)
        What else is answered with some of its choices; an empty state where the other test has nothing to ask for then.
    asked_after : tuple of (test or act, choice or outcome)
        It is asked once one of these was told, as it asks what came of that; at any time where there is none.
    """

    id: str
    label: str
    group: str
    kind: Literal["number", "choice"]
    unit: str
    choices: tuple[tuple[str, str], ...]
    tools: tuple[str, ...]
    minutes: float
    needs: tuple[str, ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    quantity: str
    instruments: tuple[str, ...]
    plausible: tuple[float, float] | None
    explanation: str
    timers: tuple[Timer, ...] = ()
    does: tuple[str, ...] = ()
    forbids: tuple[Forbid, ...] = ()
    tells: tuple[tuple[str, str, str], ...] = ()
    asked_after: tuple[tuple[str, str], ...] = ()

    __test__ = False  # the name is the trade's; pytest must not collect it


@dataclass(frozen=True)
class Instrument:
    """What a reading was taken with.

    Parameters
    ----------
    id, label, tool : str
    measures : tuple of str
        Units it can read; empty when it only looks, listens or asks.
    percent : float
        Accuracy, share of the reading [%]; a limit, not a standard deviation.
    floor : float
        Accuracy, fixed share: digits times resolution [SI unit of the reading].
    resolution : float
        Smallest step shown [SI unit of the reading].
    window : float, optional
        Length of the average behind a minimum [s].
    interval : float, optional
        Time between samples [s].
    place : {"posts", "module", "socket", "-"}
        Where on the car it measures.
    offset, offset_spread : float
        Mean and standard deviation of place minus posts at rest [V].
    slip : float
        Chance of a wrong spot, range or word [-].
    source, mark, note : str
    roughly_factor, roughly_floor : float
        By how much a figure that jumped about is wider [-], and what is added to it as a share of the figure [-].
    """

    id: str
    label: str
    tool: str
    measures: tuple[str, ...]
    percent: float
    floor: float
    resolution: float
    window: float | None
    interval: float | None
    place: str
    offset: float
    offset_spread: float
    slip: float
    source: str
    mark: str
    note: str
    roughly_factor: float = 1.0
    roughly_floor: float = 0.0


@dataclass(frozen=True)
class ActSpec:
    """Something that changes the car: a repair, a preparation, a bypass or a wait.

    Parameters
    ----------
    id, label : str
    kind : {"repair", "prepare", "bypass", "wait"}
    components : tuple of str
        The components it may be done to; empty when it is done to none.
    minutes : float
        Hands-on minutes [min].
    steps, cautions : tuple of str
    effect : str
        Short id of what it does to the model.
    explanation : str
    timers : tuple of Timer
        Times its steps ask for, in their order.
    does : tuple of str
        What doing it does to the car, some of :data:`WORKINGS`.
    only_for : dict of caution to tuple of component
        Cautions that only hold for some of the parts it may be done to.
    """

    id: str
    label: str
    kind: Literal["repair", "prepare", "bypass", "wait"]
    components: tuple[str, ...]
    minutes: float
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    effect: str
    explanation: str
    timers: tuple[Timer, ...] = ()
    does: tuple[str, ...] = ()
    only_for: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def cautions_for(self, part: str | None) -> tuple[str, ...]:
        """The cautions when it is done to one part, the worst first; all of them where it is not known to which.

        Examples
        --------
        >>> from faultnet.prior_set import load_catalogue
        >>> replace = load_catalogue().act("replace")
        >>> [part for part in ("battery", "starter_motor") if "lifting" in replace.cautions_for(part)]
        ['starter_motor']
        """
        return tuple(c for c in self.cautions if part is None or part in self.only_for.get(c, (part,)))


@dataclass(frozen=True)
class SymptomTable:
    """Counts of a test's choices given one cause, for a test that no equation describes.

    Parameters
    ----------
    test : str
    combine : {"worst", "average"}
        "worst": a leaky noisy maximum over choices ordered from most normal to most abnormal, `otherwise` being the
        leak. "average": the mean of the rows of the causes present, `otherwise` when there is none.
    otherwise : tuple of float
        Counts per choice when none of the listed causes is present.
    rows : dict of (component, mode) to tuple of float
        Counts per choice when that cause alone is present.
    sources : dict of str to (source, mark, note)
        By cause ("component:mode" or "otherwise").
    today : bool
        Whether the test sees how the car is at this moment: a fault that comes and goes then counts while it is on,
        and as sound while it is off. Otherwise it counts by what the part is, on or off.
    decided_by : tuple of str
        Components whose rows count alone wherever one of them is present; for "average".
    """

    test: str
    combine: Literal["worst", "average"]
    otherwise: tuple[float, ...]
    rows: dict[tuple[str, str], tuple[float, ...]]
    sources: dict[str, tuple[str, str, str]]
    today: bool = False
    decided_by: tuple[str, ...] = ()

    def components(self) -> tuple[str, ...]:
        """Return the components that are parents of this table, in order of appearance."""
        return tuple(dict.fromkeys(component for component, _ in self.rows))


@dataclass(frozen=True)
class Effect:
    """How one physical parameter is spread when a component is in a mode.

    Parameters
    ----------
    component, mode, parameter : str
    shape : {"lognormal", "normal", "uniform"}
    centre : float
        Median, mean, or low end, in `unit`.
    spread : float
        Standard deviation of the natural logarithm [-], standard deviation, or high end, in `unit`.
    unit, source, mark, note : str
    """

    component: str
    mode: str
    parameter: str
    shape: Literal["lognormal", "normal", "uniform"]
    centre: float
    spread: float
    unit: str
    source: str
    mark: str
    note: str


@dataclass(frozen=True)
class BaseRate:
    """Cars with one fault mode out of so many, in a group of cars ("all", "climate=hot", "age=0-2;climate=hot")."""

    component: str
    mode: str
    group: str
    value: float
    of: float
    unit: str
    source: str
    mark: str
    note: str


@dataclass(frozen=True)
class OnRate:
    """Chance that a mode that comes and goes is on at a visit, in any case or under one condition [-]."""

    component: str
    mode: str
    condition: str
    value: float
    unit: str
    source: str
    mark: str
    note: str


@dataclass(frozen=True)
class Spread:
    """One named number of the model that is neither an effect nor a rate."""

    name: str
    value: float
    unit: str
    source: str
    mark: str
    note: str


@dataclass(frozen=True)
class Provenance:
    """Where a prior set comes from, and when and by whom it was put together."""

    title: str
    author: str
    date: str
    population: str
    note: str
    marks: dict[str, str]
