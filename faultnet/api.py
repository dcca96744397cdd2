"""The way in for programs and notebooks: a case goes in, advice comes out, in a few typed functions.

Everything here is what the command line and the front end use as well. :func:`load_case` and :func:`load_catalogue`
read, :func:`advise` and :func:`plan` answer, :func:`read_log` turns a recorded voltage log into readings, and
:func:`tune` learns from closed cases. They are imported from the package itself: ``from faultnet import advise``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from faultnet.case.demo import load_case
from faultnet.case.types import Case, Reading
from faultnet.decision.advice import Advice, Ranking
from faultnet.decision.advice import advise as _advise
from faultnet.decision.choosing import CHOSEN
from faultnet.decision.costs import Costs, load_costs
from faultnet.decision.plan import Knot, Leaf, pocket_plan
from faultnet.diagnosis.diagnose import MAX_FAULTS, work_through
from faultnet.learning.result import Options, Tuned
from faultnet.notebook import frame, html_table
from faultnet.prior_set import Catalogue, load_catalogue
from faultnet.prior_set.sets import IN_USE

if TYPE_CHECKING:
    import pandas as pd

    from faultnet.recordings import Event, Trace

__all__ = ["Log", "advise", "load_case", "load_catalogue", "plan", "read_log", "tune"]


def advise(
    case: Case,
    catalogue: Catalogue | None = None,
    *,
    costs: Costs | None = None,
    tools: Collection[str] | None = None,
    rank_by: Ranking = CHOSEN,
    max_faults: int | None = None,
    robust: bool = False,
) -> Advice:
    """Say how likely each cause is, why, which test to do next, and what to mend when testing is done.

    Parameters
    ----------
    case : Case
    catalogue : Catalogue, optional
        The prior set in use when left out.
    costs : Costs, optional
        Prices and times; those of the prior set in use when left out.
    tools : collection of str, optional
        Tools at hand, as named in the catalogue; every tool when left out.
    rank_by : str
        What puts the next tests in order: "doubt" about the repair that they take away for their price, "information"
        for their price, "saving" [money], or another of :data:`faultnet.decision.choosing.CRITERIA`.
    max_faults : int, optional
        Largest number of faults at once; 4 when left out.
    robust : bool
        Whether to find out as well if the advice holds when base rates and estimated numbers are off.

    Returns
    -------
    Advice
        With `diagnosis`, `decision` and, if asked for, `robust`; shows itself as tables in a notebook.

    Raises
    ------
    EntryError
        If an entry makes no sense to the catalogue.
    ClashError
        If no hypothesis explains the entries at all.

    Examples
    --------
    >>> found = advise(load_case("demo:shorted_cell"))
    >>> found.diagnosis.causes[0].label
    'Battery: one shorted cell'
    """
    known = load_catalogue(IN_USE) if catalogue is None else catalogue
    prices = load_costs(IN_USE) if costs is None else costs
    faults = max_faults or MAX_FAULTS
    return _advise(case, known, prices, tools=tools, rank_by=rank_by, max_faults=faults, robust=robust)


def plan(
    case: Case,
    catalogue: Catalogue | None = None,
    *,
    costs: Costs | None = None,
    tools: Collection[str] | None = None,
    depth: int = 6,
    least: float = 0.02,
) -> Knot | Leaf:
    """Grow the contingency plan to take to the car: tests, what to do after each outcome, repairs with their proof.

    Parameters
    ----------
    case : Case
    catalogue : Catalogue, optional
        The prior set in use when left out.
    costs : Costs, optional
        Prices and times; those of the prior set in use when left out.
    tools : collection of str, optional
        Tools at hand; every tool when left out.
    depth : int
        Most tests in a row.
    least : float
        Branches less likely than this are not followed further [-].

    Returns
    -------
    Knot or Leaf
        A test with its branches, or the end of a branch.

    Examples
    --------
    >>> tree = plan(load_case("demo:ground_high_resistance"), depth=1)
    >>> 0.0 < tree.chance <= 1.0
    True
    """
    worked = work_through(case, load_catalogue(IN_USE) if catalogue is None else catalogue)
    return pocket_plan(worked, load_costs(IN_USE) if costs is None else costs, tools=tools, depth=depth, least=least)


@dataclass(frozen=True, eq=False)
class Log:
    """A recorded voltage log with what was found in it.

    Parameters
    ----------
    trace : Trace
        Volts against time, with every repair of the file said.
    events : tuple of Event
        Starts, charging, rests and drop-outs, in order.
    readings : tuple of Reading
        Entries for a case, ready to be put into a visit.
    """

    trace: Trace
    events: tuple[Event, ...]
    readings: tuple[Reading, ...]

    def to_frame(self) -> pd.DataFrame:
        """Give the readings as a frame: `test`, `value` [base unit of the test], `instrument`, `note`."""
        columns = ("test", "value", "instrument", "note")
        return frame(({name: getattr(r, name) for name in columns} for r in self.readings), columns)

    def _repr_html_(self) -> str:
        from faultnet.recordings import draw_trace

        rows = [(r.test, f"{r.value:.2f}", r.note) for r in self.readings if r.value is not None]
        return draw_trace(self.trace, self.events) + html_table(("test", "reads", "from"), rows)


def read_log(
    source: Any,
    *,
    place: Literal["posts", "module"] = "posts",
    cylinders: int = 4,
    window: float = 0.0,
    posts_at_rest: float | None = None,
    **layout: Any,
) -> Log:
    """Read a recorded voltage log and find its starts and charging.

    Parameters
    ----------
    source : path, bytes or binary file
    place : {"posts", "module"}
        Where the recorder was connected.
    cylinders : int
    window : float
        Time the recorder averages over [s]; 0 for none.
    posts_at_rest : float, optional
        Volts at the posts while the module rested [V].
    **layout
        Where columns, units or separator are unclear; as for :func:`faultnet.recordings.read_recording`.

    Raises
    ------
    RecordingError
        If the log cannot be read, or does not say what it holds.

    Examples
    --------
    >>> from faultnet.shipped import shipped
    >>> log = read_log(shipped("cases") / "recordings" / "adapter_slow.csv.gz")
    >>> len(log.events), log.readings[0].test
    (6, 'rest_voltage')
    """
    from faultnet.recordings import entry_of, find_events, read_recording, readings_from

    trace = read_recording(source, **layout)
    events = find_events(trace, cylinders=cylinders)
    rows = readings_from(events, place, window=window, posts_at_rest=posts_at_rest)
    return Log(trace, tuple(events), tuple(entry_of(row) for row in rows))


def tune(
    history: str | Path | bytes | Iterable[Case], catalogue: Catalogue | None = None, options: Options | None = None
) -> Tuned:
    """Tune a prior set's numbers to closed cases; nothing is kept until it is accepted.

    Parameters
    ----------
    history : path, bytes or iterable of Case
        A history file (`.csv`, `.csv.gz`, `.parquet`), or cases.
    catalogue : Catalogue, optional
        The prior set to begin with; the shipped one when left out.
    options : Options, optional

    Returns
    -------
    Tuned
        Every changed number with its interval; shows itself as a table in a notebook.

    Raises
    ------
    HistoryError
        If the history cannot be read or used.

    Examples
    --------
    >>> closed = [load_case("demo:shorted_cell")]
    >>> tune(closed, options=Options(folds=0, groups=())).cases
    1
    """
    from faultnet.learning.tables.history import load_history
    from faultnet.learning.tune import tune as _tune

    known = load_catalogue("standard") if catalogue is None else catalogue
    cases = load_history(history, known).cases if isinstance(history, str | Path | bytes) else history
    return _tune(cases, known, options)
