"""What tests, repairs and mistakes cost: invented defaults as data, overridden by a shop or for one case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from faultnet.errors import PriorsError
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.load import FILES, current_rows, load_catalogue, state_of
from faultnet.prior_set.overlay import lineage, merged_head
from faultnet.prior_set.sets import set_folder
from faultnet.prior_set.tables import Row
from faultnet.prior_set.types import OUTCOMES

MOST_MONEY = 1e6
KINDS = ("shop", "access", "part", "labour", "behind", "check", "proof", "in_vain", "named", "before_return")
NEEDED = ("part", "labour", "check", "proof")  # of every component
WORDS = ("behind", "proof", "named", "before_return")
CHECKED = ("named", "before_return")  # their values are checks
SHOP = (
    *("hourly_rate", "well_founded", "hardly_a_cure", "surely_needed", "tried_minutes", "spared_minutes"),
    *("call_back", "start_over", "overhead_minutes", "worth_share", "worth_minutes", "unproven"),
)
OPTIONAL = ("unproven", "hardly_a_cure", "surely_needed", "tried_minutes")  # a set without goes by whole cures alone


@dataclass(frozen=True)
class Costs:
    """Prices of a shop.

    Parameters
    ----------
    hourly_rate : float
        [money/h].
    well_founded : float
        Chance of being all that is needed from which on a repair, or giving the car back, is well founded [-].
    spared_minutes : float
        What a test may spare is said where it is worth more than so many minutes of work [min].
    call_back : float
        What it costs when a car comes back with its fault [money].
    start_over : float
        To stop fitting parts, test afresh and mend what is then found [money].
    overhead_minutes : float
        To turn to a test and write it down [min].
    worth_share, worth_minutes : float
        Once a repair is well founded, going on must save more than this share of what it would save to know what has
        to be repaired [-], and more than so many minutes of work cost [min].
    unproven : float
        A part fitted in vain costs so many times the trust while the checks that are named for it are open and could
        be done, and a car that comes back so many times the call-back [-].
    part : dict of component to float
        Price of the part [money].
    labour, check : dict of component to float
        To mend it, and to prove that it is mended [min].
    access : dict of access to float
        To get at everything behind it [min].
    behind : dict of component to access
        What has to be opened to get at a component.
    proof : dict of component to tuple of test ids
        The tests that prove a repair.
    in_vain : dict of component to float
        What a part fitted in vain costs in trust, beyond part and labour [money]; nothing for components left out.
    named : dict of component to tuple of frozenset of test ids
        Checks that the trade names for it, each as the tests that serve for it.
    before_return : dict of (test, answer) or (act, outcome) to tuple of frozenset of test ids
        Checks that the trade makes before a car is given back of which that is told.
    currency : str
        Label of the money.
    hardly_a_cure : float
        Chance of being all that is needed below which it is said that a repair is named for its low price alone [-].
    surely_needed : float
        Chance of being needed from which on a repair is well founded although it may not be all [-]; above one: never.
    tried_minutes : float
        A repair that costs no trust in vain and no more than so many minutes of work is well founded once it is as
        likely to be needed as another has to be to be the whole cure [min].
    """

    hourly_rate: float
    well_founded: float
    spared_minutes: float
    call_back: float
    start_over: float
    overhead_minutes: float
    worth_share: float
    worth_minutes: float
    part: Mapping[str, float]
    labour: Mapping[str, float]
    check: Mapping[str, float]
    access: Mapping[str, float]
    behind: Mapping[str, str]
    proof: Mapping[str, tuple[str, ...]]
    in_vain: Mapping[str, float]
    unproven: float = 1.0
    named: Mapping[str, tuple[frozenset[str], ...]] = field(default_factory=dict)
    before_return: Mapping[tuple[str, str], tuple[frozenset[str], ...]] = field(default_factory=dict)
    currency: str = ""
    hardly_a_cure: float = 0.0
    surely_needed: float = 2.0
    tried_minutes: float = 0.0

    def with_shop(
        self,
        *,
        hourly_rate: float | None = None,
        currency: str | None = None,
        parts: Mapping[str, float] | None = None,
    ) -> Costs:
        """The same prices with a shop's hour, its money and its prices of parts put in.

        Parameters
        ----------
        hourly_rate : float, optional
            [money/h].
        currency : str, optional
        parts : mapping of component to float, optional
            Prices of parts that differ [money].

        Raises
        ------
        PriorsError
            If a price is negative, or of a part that is not known.

        Examples
        --------
        >>> ours = load_costs().with_shop(hourly_rate=75.0, parts={"battery": 99.0})
        >>> ours.hourly_rate, ours.part["battery"]
        (75.0, 99.0)
        """
        given = {} if hourly_rate is None else {"hourly_rate": hourly_rate}
        for name, price in (given | dict(parts or {})).items():
            if name not in given and name not in self.part:
                raise PriorsError("no such part to price", got=repr(name), expected=", ".join(self.part))
            if not 0 <= price <= MOST_MONEY:
                raise PriorsError(
                    "a price cannot be this", where=name, got=f"{price:g}", expected=f"0 to {MOST_MONEY:,.0f}"
                )
        return replace(
            self,
            hourly_rate=self.hourly_rate if hourly_rate is None else hourly_rate,
            currency=self.currency if currency is None else currency,
            part={**self.part, **(parts or {})},
        )

    def money(self, minutes: float) -> float:
        """What so many minutes of work cost [money]."""
        return minutes * self.hourly_rate / 60.0

    def founded(self, chance: float) -> bool:
        """Whether something with this chance of being all that is needed [-] is well founded."""
        return chance >= self.well_founded

    def founded_by_need(self, chance: float, in_vain: float) -> bool:
        """Whether a repair that is needed with this chance [-] is well founded, be it all or not.

        Parameters
        ----------
        chance : float
            That it is needed [-].
        in_vain : float
            What it costs in vain, trust included [money].

        Examples
        --------
        >>> ours = load_costs()
        >>> ours.founded_by_need(0.6, 35.0), ours.founded_by_need(0.6, 600.0), ours.founded_by_need(0.95, 600.0)
        (True, False, True)
        """
        return chance >= (self.well_founded if in_vain <= self.money(self.tried_minutes) else self.surely_needed)

    def hardly(self, chance: float) -> bool:
        """Whether a repair with this chance of being all that is needed [-] is named for its low price alone."""
        return chance < min(self.hardly_a_cure, self.well_founded)

    def minutes(self, component: str) -> float:
        """Hands-on time to mend a component and prove it, with getting at it [min]."""
        getting_at = self.access[self.behind[component]] if component in self.behind else 0.0
        return getting_at + self.labour[component] + self.check[component]

    def repair(self, component: str) -> float:
        """Price of mending a component and proving it, without getting at it [money]."""
        return self.part[component] + self.money(self.labour[component] + self.check[component])


def load_costs(prior_set: str = "standard", folder: Path | None = None) -> Costs:
    """Read the costs of a prior set.

    Raises
    ------
    PriorsError
        If the file is missing or a row is amiss.

    Examples
    --------
    >>> load_costs().part["battery"]
    130.0
    """
    folders = lineage(folder or set_folder(prior_set))
    return _read(folders, state_of(folders, ("costs.csv", *FILES)))


@lru_cache(maxsize=4)
def _read(folders: tuple[Path, ...], state: tuple[tuple[int, int], ...]) -> Costs:
    """Read the prices of a set and its parents; `state` only makes the cache notice a changed file."""
    catalogue = load_catalogue(folder=folders[0])
    current, _ = current_rows("costs", folders, merged_head(folders))
    rows = {(row.text("kind"), row.text("name")): row for row in current}
    _check_read(rows, catalogue)
    words: dict[str, dict[str, str]] = {k: {} for k in KINDS}
    numbers: dict[str, dict[str, float]] = {k: {} for k in KINDS}
    for (kind, name), row in rows.items():
        if kind in WORDS:
            words[kind][name] = row.text("value")
        else:
            numbers[kind][name] = row.number("value", 0.0)
    fields: dict[str, Any] = {kind: words[kind] if kind in WORDS else numbers[kind] for kind in KINDS[1:]}
    fields["proof"] = {component: tests_of(value) for component, value in words["proof"].items()}
    fields["named"] = {component: checks_of(value) for component, value in words["named"].items()}
    fields["before_return"] = {told_in(name): checks_of(value) for name, value in words["before_return"].items()}
    return Costs(**(fields | numbers["shop"]))


def tests_of(words: str) -> tuple[str, ...]:
    """Tests in words, parted by semicolons.

    Examples
    --------
    >>> tests_of("crank_minimum; charge_idle_voltage")
    ('crank_minimum', 'charge_idle_voltage')
    """
    return tuple(test.strip() for test in words.split(";"))


def told_in(name: str) -> tuple[str, str]:
    """A test and one of its answers, or an act and its outcome, written with an equals sign between them.

    Examples
    --------
    >>> told_in("charge_lamp=glows")
    ('charge_lamp', 'glows')
    """
    test, _, answer = name.partition("=")
    return test, answer


def checks_of(words: str) -> tuple[frozenset[str], ...]:
    """Checks in words: tests that serve for the same one separated by "or", checks by a semicolon.

    Examples
    --------
    >>> [sorted(check) for check in checks_of("belt_look; alternator_current or charge_loaded_voltage")]
    [['belt_look'], ['alternator_current', 'charge_loaded_voltage']]
    """
    return tuple(frozenset(one.strip() for one in check.split(" or ")) for check in words.split(";"))


def _check_read(rows: Mapping[tuple[str, str], Row], catalogue: Catalogue) -> None:
    """Refuse rows that nothing reads, and prices without a row.

    Every component needs its part, labour, check and proof; what it is behind, what it costs in vain and which checks
    are named for it may be left out.
    """
    components = tuple(component.id for component in catalogue.components)
    tests = tuple(test.id for test in catalogue.tests)
    accesses = tuple(row.text("value") for (kind, _), row in rows.items() if kind == "behind")
    answers = [(test.id, answer) for test in catalogue.tests for answer, _ in test.choices]
    answers += [(act.id, outcome) for act in catalogue.acts for outcome in OUTCOMES]
    told = tuple(f"{name}={answer}" for name, answer in answers)
    read = {"shop": SHOP, "access": accesses} | dict.fromkeys(KINDS[2:], components) | {"before_return": told}
    for (kind, name), row in rows.items():
        row.choice("kind", KINDS)
        if name not in read[kind]:
            raise PriorsError(
                "a row that nothing reads", where=row.where, got=f"{kind} {name}",
                expected=", ".join(dict.fromkeys(read[kind])), to_do="take the row out, or correct its name",
            )  # fmt: skip
        wanted = set(tests_of(row.text("value"))) if kind == "proof" else set()
        if kind in CHECKED:
            wanted = set().union(*checks_of(row.text("value")))
        if unknown := wanted - set(tests):
            raise PriorsError(
                "no such test to check by", where=row.where, got=", ".join(sorted(unknown)),
                expected="tests separated by ';'" + (", those that serve for one check by ' or '" * (kind != "proof")),
            )  # fmt: skip
    needed = [("shop", name) for name in SHOP if name not in OPTIONAL] + [("access", name) for name in accesses]
    needed += [(kind, name) for kind in NEEDED for name in components]
    for kind, name in needed:
        if (kind, name) not in rows:
            raise PriorsError(
                "a price is missing", where="costs.csv", got=f"no row '{kind},{name}'", expected="one",
                to_do="copy it from the shipped set 'standard' and change what you need",
            )  # fmt: skip
