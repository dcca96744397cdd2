"""What can be found in a trace: the plain types of events.

Times count from the first sample of the trace [s]; a level that cannot be told from the recording is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["start", "charging", "drop_out", "rest", "decline"]
StartOutcome = Literal["good", "failed", "tried", "unclear"]
START_WORDS: dict[str, str] = {"good": "caught", "failed": "did not catch", "tried": "tried", "unclear": "unclear"}

NAN = float("nan")


@dataclass(frozen=True, kw_only=True)
class Event:
    """A stretch of a recording in which something happened.

    Parameters
    ----------
    begin, end : float
        [s].
    interval : float
        Median time between samples in it [s].
    kind : str
        "start", "charging", "drop_out", "rest" or "decline".

    Examples
    --------
    >>> round(Rest(begin=0.0, end=4.5, interval=0.1, level=12.6, slope=0.0).duration, 1)
    4.5
    """

    begin: float
    end: float
    interval: float
    kind: Kind

    @property
    def duration(self) -> float:
        """How long it lasted [s]."""
        return self.end - self.begin


@dataclass(frozen=True, kw_only=True)
class Start(Event):
    """One attempt to start.

    Parameters
    ----------
    outcome : {"good", "failed", "tried", "unclear"}
        "good": the volts rose above their rest afterwards, as they do when the alternator takes over. "failed": it
        was cranked and the volts went back to rest; the engine did not run, or it runs and nothing charges. "tried":
        the starter took current but never turned the engine, or only for an instant. "unclear": the log ends first.
    rest_before : float
        Level before it [V].
    lowest : float
        Lowest sample as recorded [V].
    lowest_steady : float
        Lowest mean over 5 ms [V]: less noise than `lowest` where sampling is fast, the same where it is slow.
    lowest_time : float
        When that was [s].
    sustained : float
        Mean level while the engine was turned [V]; a level that lasted only where `levels` is two or more.
    scatter : float
        Standard deviation of the samples about a straight line while the engine was turned [V].
    sag : float
        Fall of the level from the first to the last second of a start of at least 3 s [V].
    recovered : float
        Level in the second after the starter was let go [V].
    after : float
        Level some seconds later [V].
    ripple : float
        Amplitude of the compression ripple, half of peak to peak [V].
    ripple_frequency : float
        [Hz].
    speed : float
        Engine speed that follows from it [rev/min].
    noise : float
        Standard deviation of the noise before the start [V].
    levels : int
        Samples that `sustained` is the mean of: one alone says nothing of how long it lasted.
    drop_outs : int
        Samples below 2.5 V in it, left out of every level: the recorder or the module lost its supply.

    Examples
    --------
    >>> start = Start(begin=1.0, end=2.0, interval=0.1, outcome="good", rest_before=12.6, lowest=9.5, lowest_steady=9.5,
    ...               lowest_time=1.0, sustained=11.0)
    >>> start.kind, start.outcome
    ('start', 'good')
    """

    kind: Kind = "start"
    outcome: StartOutcome
    rest_before: float
    lowest: float
    lowest_steady: float
    lowest_time: float
    sustained: float
    scatter: float = NAN
    sag: float = NAN
    recovered: float = NAN
    after: float = NAN
    ripple: float = NAN
    ripple_frequency: float = NAN
    speed: float = NAN
    noise: float = 0.0
    drop_outs: int = 0
    levels: int = 2


@dataclass(frozen=True, kw_only=True)
class Charging(Event):
    """A stretch in which something charges: the engine runs, or a charger is on.

    Parameters
    ----------
    level : float
        Median [V].
    lowest, highest : float
        Lowest and highest mean over a second [V].
    ripple : float
        Alternating part above 20 Hz, noise of the recorder included [V rms]; NaN below 200 samples per second.
    ripple_frequency : float
        Strongest frequency in it [Hz], NaN where none stands out.

    Examples
    --------
    >>> Charging(begin=0.0, end=60.0, interval=0.1, level=14.2, lowest=14.1, highest=14.3).level
    14.2
    """

    kind: Kind = "charging"
    level: float
    lowest: float
    highest: float
    ripple: float = NAN
    ripple_frequency: float = NAN


@dataclass(frozen=True, kw_only=True)
class DropOut(Event):
    """A stretch without a believable voltage: contact lost, supply lost, module reset, or samples missing.

    Parameters
    ----------
    lowest : float
        Lowest sample in it [V]; NaN where samples are missing.
    before, after : float
        Level before and after it [V].
    missing : bool
        True where there are no samples at all.
    in_start : bool
        True if it lies inside a start: at the battery posts this is a fault of the car, not of the recorder.

    Examples
    --------
    >>> DropOut(begin=1.0, end=1.2, interval=0.1, lowest=0.1, before=12.5, after=12.5).missing
    False
    """

    kind: Kind = "drop_out"
    lowest: float
    before: float
    after: float
    missing: bool = False
    in_start: bool = False


@dataclass(frozen=True, kw_only=True)
class Rest(Event):
    """A stretch in which nothing cranks and nothing charges.

    Parameters
    ----------
    level : float
        Median [V]; key on and key off cannot be told apart by it.
    slope : float
        Change [V/h].

    Examples
    --------
    >>> Rest(begin=0.0, end=30.0, interval=0.5, level=12.58, slope=-0.01).kind
    'rest'
    """

    kind: Kind = "rest"
    level: float
    slope: float


@dataclass(frozen=True, kw_only=True)
class Decline(Event):
    """A rest of at least two hours, with what it fell by: the picture of standing overnight.

    Parameters
    ----------
    first, last : float
        Median level of its first and last tenth [V].
    slope : float
        Change by a straight line [V/h].

    Examples
    --------
    >>> round(Decline(begin=0.0, end=36000.0, interval=60.0, first=12.6, last=12.3, slope=-0.03).fall, 2)
    0.3
    """

    kind: Kind = "decline"
    first: float
    last: float
    slope: float

    @property
    def fall(self) -> float:
        """How much it fell [V]."""
        return self.first - self.last
