"""What a diagnosis says, as frozen records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from faultnet.notebook import frame

if TYPE_CHECKING:
    import pandas as pd

CAUSE_COLUMNS = ("component", "mode", "label", "probability", "prior", "still_there", "repair")
TEST_COLUMNS = (
    "test",
    "label",
    "saving",
    "bits",
    "bits_per_minute",
    "minutes",
    "tools",
    "sound_low",
    "sound_high",
    "unit",
)
LEAST_MINUTES = 1.0 / 60.0  # a test that takes no time by its prior set takes a second


@dataclass(frozen=True)
class Cause:
    """One component in one fault mode.

    Parameters
    ----------
    component, mode, label : str
    probability, prior : float
        That it was at fault in this case, by what is known now and before any entry [-].
    still_there : float
        That it is at fault by now, after the repairs of the case [-].
    explanation, shows, repair : str
        Plain words, and the id of the act that mends it.
    """

    component: str
    mode: str
    label: str
    probability: float
    prior: float
    still_there: float
    explanation: str
    shows: str
    repair: str


@dataclass(frozen=True)
class Outcome:
    """One outcome class of a test that could be done.

    Parameters
    ----------
    label : str
        The choice, or the range of the number in words.
    chance : float
        By what is believed now [-].
    leads_to : str
        The cause that would lead after it.
    probability : float
        And how likely it would be then [-].
    cost_after : float or None
        Expected cost of repair after it [money]; set where costs are known.
    """

    label: str
    chance: float
    leads_to: str
    probability: float
    cost_after: float | None = None


@dataclass(frozen=True)
class NextTest:
    """A test not yet done, and what it is worth.

    Parameters
    ----------
    test, label, group : str
    bits : float
        Expected information about what is at fault [bit].
    minutes : float
        Hands-on minutes, with what has to be done first [min].
    prepare : tuple of str
        What must hold or be done first, in words.
    tools, steps, cautions : tuple of str
    sound_range : (float, float) or None
        In which a sound example of this car reads today, in `unit`.
    unit : str
    because : str
        Why it is worth doing, in a sentence.
    outcomes : tuple of Outcome
        What each outcome would change.
    saving : float
        Expected saving net of what the test costs [money]; nought until costs are known.
    price : float
        What it costs, with what must be done first shared among the tests that it serves [money].
    needs : tuple of str
        Ids of what must hold or be done first and is not yet so.
    own_minutes : float
        Hands-on minutes of the test alone [min].
    waits : float
        Time that has to pass while it is done or prepared, hands off [s].
    lacks : tuple of str
        What keeps it from being done now, in words: the car cannot do it, or a tool is missing; mostly empty.
    together : tuple of str
        Ids of tests that the same preparation serves, worth doing in one go with it.
    spares : str
        What it may spare, in words: of what is expected to be spent in vain, that which it makes smaller by most. Empty
        where that is next to nothing, and for tests far down the list.
    overhead_minutes : float
        To turn to it and write it down [min]; nought until costs are known.
    """

    test: str
    label: str
    group: str
    bits: float
    minutes: float
    prepare: tuple[str, ...]
    tools: tuple[str, ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    sound_range: tuple[float, float] | None
    unit: str
    because: str
    outcomes: tuple[Outcome, ...] = ()
    saving: float = 0.0
    price: float = 0.0
    needs: tuple[str, ...] = ()
    own_minutes: float = 0.0
    waits: float = 0.0
    lacks: tuple[str, ...] = ()
    together: tuple[str, ...] = ()
    spares: str = ""
    overhead_minutes: float = 0.0

    @property
    def bits_per_minute(self) -> float:
        """Information for the time it takes [bit/min]."""
        return self.bits / max(self.minutes + self.overhead_minutes, LEAST_MINUTES)


@dataclass(frozen=True)
class Reason:
    """How far one entry moved one cause.

    Parameters
    ----------
    visit, entry : int
        Place of the entry.
    said : str
        The entry in words.
    weight : float
        Change of the cause's log odds by this entry, all others kept [decibans]; positive speaks for it.
    """

    visit: int
    entry: int
    said: str
    weight: float


@dataclass(frozen=True)
class Seen:
    """A reading beside what was to be expected.

    Parameters
    ----------
    visit, entry : int
    said : str
    sound_range : (float, float) or None
        Range of a sound example of this car, in `unit`.
    value : float or None
    unit : str
    surprise : float
        How odd the reading is for the leading hypotheses [decibans]: 20 means that one in a hundred is as odd.
    """

    visit: int
    entry: int
    said: str
    sound_range: tuple[float, float] | None
    value: float | None
    unit: str
    surprise: float


@dataclass(frozen=True)
class Diagnosis:
    """The answer to a case.

    Parameters
    ----------
    case : str
    causes : tuple of Cause
        Every fault mode, most likely first.
    components : dict of component to dict of mode to probability
    next_tests : tuple of NextTest
        Best first.
    nothing_wrong : float
        Probability that no component is at fault [-].
    reasons : dict of "component:mode" to tuple of Reason
        For the leading causes.
    seen : tuple of Seen
    clashes : tuple of str
        Readings no likely hypothesis explains, with what to do; those of `asked` first, in its order.
    summary : str
        The verdict in a few sentences.
    dropped_prior_mass : float
        Prior mass of the fault combinations left out [-].
    max_faults : int
    cautions : tuple of str
        Those that always hold; each test has its own.
    entries : int
        Number of entries taken into account.
    asked : tuple of (int, int)
        Visit and entry of each reading that no car is likely to give with the others and nobody has kept as right.
    """

    case: str
    causes: tuple[Cause, ...]
    components: dict[str, dict[str, float]]
    next_tests: tuple[NextTest, ...]
    nothing_wrong: float
    reasons: dict[str, tuple[Reason, ...]]
    seen: tuple[Seen, ...]
    clashes: tuple[str, ...]
    summary: str
    dropped_prior_mass: float
    max_faults: int
    cautions: tuple[str, ...]
    entries: int
    asked: tuple[tuple[int, int], ...] = ()

    def causes_to_frame(self) -> pd.DataFrame:
        """Give the causes as a frame, most likely first; chances in [-]."""
        return frame(({name: getattr(c, name) for name in CAUSE_COLUMNS} for c in self.causes), CAUSE_COLUMNS)

    def tests_to_frame(self) -> pd.DataFrame:
        """Give the next tests as a frame, best first: [money], [bit], [bit/min], [min]; sound range in `unit`."""
        rows = []
        for test in self.next_tests:
            low, high = test.sound_range or (None, None)
            kept = {name: getattr(test, name) for name in TEST_COLUMNS if not name.startswith("sound")}
            rows.append({**kept, "tools": ", ".join(test.tools), "sound_low": low, "sound_high": high})
        return frame(rows, TEST_COLUMNS)
