"""What tuning is asked and what it answers, as frozen records that hold no logic.

Changed numbers are named by their table in the prior set and the key of their row there:

==============  ==================================  ========================================
table           key                                 number
==============  ==================================  ========================================
``base_rates``  component, mode, group of cars      share of cars with the fault [-]
``on_rates``    component, mode, condition          chance of being on at a visit [-]
``symptoms``    test, cause, choice                 chance of the answer given the cause [-]
``instruments`` instrument, "offset"                mean offset from the posts [V]
``instruments`` instrument, "slip"                  chance of a wrong spot, range or word [-]
``effects``     component, mode, parameter, column  "centre" or "spread" of what a fault does, in its unit
``spreads``     name                                mean offset of the control module [V]; physical numbers
==============  ==================================  ========================================

A row of ``base_rates`` that the old set does not have ("climate=hot" of a component that had only "all") is a group
split off from the whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from faultnet.errors import FaultnetError
from faultnet.notebook import frame, html_table

if TYPE_CHECKING:
    import pandas as pd

CHANGE_COLUMNS = ("table", "key", "old", "new", "low", "high", "effective_cases", "unit")

GROUPINGS = ("age", "climate")


class HistoryError(FaultnetError):
    """A case history, or what is asked of it, makes no sense."""


@dataclass(frozen=True)
class Options:
    """How the priors are tuned.

    Parameters
    ----------
    strength : float
        Weight of the old prior's counts [-]: 1 takes "46 of 1000" as a thousand cars seen, 0.1 as a hundred.
    recency_half_life : float, optional
        Age at which a case counts half [years]; every case counts in full when left out.
    passes : int
        Largest number of passes over the history.
    tolerance : float
        A pass that raises the log posterior by less than this for each case ends the tuning [-].
    groups : tuple of str
        By what cars are grouped: some of "age" (band of the battery's age) and "climate".
    folds : int
        Parts for the held-out scores; 0 leaves them out.
    slips : bool
        Whether slips are looked for.
    by_person : bool
        Whether slips are looked at by who read, where the history tells.
    compact : bool
        Whether only what is likely is kept of each case, 2 kB at most, for histories too large for the disk.
    physical : bool
        Whether physical numbers that are marked as estimates are tuned too; takes a minute or two more.

    Raises
    ------
    HistoryError
        If an option cannot be.

    Examples
    --------
    >>> Options().groups
    ('age', 'climate')
    """

    strength: float = 1.0
    recency_half_life: float | None = None
    passes: int = 50
    tolerance: float = 1e-5
    groups: tuple[str, ...] = GROUPINGS
    folds: int = 5
    slips: bool = True
    by_person: bool = False
    compact: bool = False
    physical: bool = False

    def __post_init__(self) -> None:
        _hold(1e-6 <= self.strength <= 1e6, "strength", self.strength, "1e-6 to 1e6")
        half_life = self.recency_half_life
        within = half_life is None or 0.01 <= half_life <= 1000.0
        _hold(within, "recency half life", half_life, "0.01 to 1000 years, or none")
        _hold(1 <= self.passes <= 10_000, "passes", self.passes, "1 to 10,000")
        _hold(0.0 < self.tolerance <= 1.0, "tolerance", self.tolerance, "more than 0, at most 1")
        _hold(set(self.groups) <= set(GROUPINGS), "groups", self.groups, "some of " + ", ".join(GROUPINGS))
        _hold(self.folds == 0 or 2 <= self.folds <= 100, "folds", self.folds, "0, or 2 to 100")

    def check_cases(self, cases: int) -> None:
        """Refuse more folds than there are cases.

        Raises
        ------
        HistoryError
            If a fold would be empty.
        """
        _hold(self.folds <= cases, "folds", self.folds, f"at most {cases}, the number of cases; 0 leaves scores out")


@dataclass(frozen=True)
class Change:
    """One number of the prior set, before and after.

    Parameters
    ----------
    table : str
        Table of the prior set, without its ending.
    key : tuple of str
        Of the row in that table.
    old, new : float
        [`unit`]
    low, high : float
        95 % credible interval of the new number [`unit`].
    effective_cases : float
        Closed cases that bear on the number, by weight [-]; for a base rate all cars of the group.
    unit : str
    counts : float
        What the new number rests on, the old prior's counts included [-]: the sum of the counts of its row's
        distribution, so that ``new * counts`` is a count fit for the table.
    """

    table: str
    key: tuple[str, ...]
    old: float
    new: float
    low: float
    high: float
    effective_cases: float
    unit: str
    counts: float = 0.0


@dataclass(frozen=True)
class Score:
    """How good beliefs were on cases that were not learnt from, whose cause is confirmed.

    Parameters
    ----------
    log_loss : float
        Mean of minus the log of the belief in what was true, over cases and components [nat].
    brier : float
        Mean square of belief less truth (0 or 1), over cases and fault modes [-].
    calibration : tuple of (float, float, int)
        By band of belief: mean belief, share that was true, how many.
    cases : int
        Cases scored.
    """

    log_loss: float
    brier: float
    calibration: tuple[tuple[float, float, int], ...]
    cases: int = 0


@dataclass(frozen=True)
class Tuned:
    """Everything there is to see before a tuned prior set is accepted.

    Parameters
    ----------
    from_set : str
        Name and version of the prior set it started from.
    options : Options
    cases : int
        Cases learnt from.
    passes : int
    log_posterior : tuple of float
        Before the first pass and after each [nat]; never falls.
    changes : tuple of Change
        Every number that was tuned, in the order of the tables.
    old_score, new_score : Score, optional
        Held out, over all folds; None when no scores were asked for or no case is confirmed.
    influential : tuple of (case name, what it moved, how far)
        Largest first; how far is the change of that number's log odds by this case alone [nat].
    warnings : tuple of str
    people : tuple of Change
        How much more often than others with the same instruments each person slips: a factor on the odds [times]. For
        who tunes alone: it is never written into a prior set.
    """

    from_set: str
    options: Options
    cases: int
    passes: int
    log_posterior: tuple[float, ...]
    changes: tuple[Change, ...]
    old_score: Score | None = None
    new_score: Score | None = None
    influential: tuple[tuple[str, str, float], ...] = ()
    warnings: tuple[str, ...] = ()
    people: tuple[Change, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Give every tuned number as a frame: `old`, `new` and its 95 % interval `low` to `high` [`unit`]."""
        return frame(self._rows(), CHANGE_COLUMNS)

    def _rows(self) -> list[dict[str, object]]:
        return [{**{n: getattr(c, n) for n in CHANGE_COLUMNS}, "key": " / ".join(c.key)} for c in self.changes]

    def _repr_html_(self) -> str:
        rows = [[f"{v:.4g}" if isinstance(v, float) else v for v in row.values()] for row in self._rows()]
        return html_table(CHANGE_COLUMNS, rows, f"{self.cases} cases, from {self.from_set}")


def _hold(right: bool, name: str, got: object, expected: str) -> None:
    if not right:
        raise HistoryError(f"the option {name} cannot be this", got=str(got), expected=expected)
