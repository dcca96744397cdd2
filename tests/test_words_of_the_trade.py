"""What a user reads is in the trade's terms: on the page, on paper and on the command line. Ids stay what they are.

Which words are the trade's is common practice, no source.
"""

from __future__ import annotations

import ast
import contextlib
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from faultnet.api import advise, load_case, plan
from faultnet.cli import main
from faultnet.cli.sheets import advice_sheet, plan_sheet
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.prior_set import load_catalogue
from faultnet.recordings import START_WORDS
from faultnet.report import blank_sheet, job_sheet
from faultnet.report import plan_sheet as paper_plan

TOP = Path(__file__).parents[1]
CATALOGUE = load_catalogue()
OLD = {
    r"\bmend(?:s|ed|ing)?\b": "repair",
    r"\bjoin(?:s|ed|ing)?\b": "connect",
    r"\bparted\b|\bpart (?:the|them|from)\b|\bparts [a-z]+ (?:engine|starts|drag)": "disconnect, or tell from",
    r"\bjoints?\b": "terminal connection",
    r"\bslack\b": "loose",
    r"\bstart control\b": "starter control circuit",
    r"\bcontrol terminal\b": "terminal 50 (S terminal)",
    r"\b(?:heavy|effort) to turn\b": "tight to turn",
    r"\bdoes not fire\b|\brunning side\b": "cranks but will not start (fuel or ignition side)",
    r"\bkey-off\b|\bdrains?\b": "parasitic draw (key off)",
    r"(?<!\()\brest (?:voltage|volts)\b": "open-circuit (rest) voltage",
    r"\bacid strength\b|\b(?:weaker|stronger) acid\b": "specific gravity",
    r"\bcurrent the battery takes on the charger\b": "charge acceptance",
    r"\b(?:without|from) firing\b|\bdead crank": "cranking voltage with fuel or ignition disabled",
    r"\bat half the rating\b": "load test at half the CCA rating",
    r"\bmove joints\b": "wiggle test",
    r"\bcharge lamp\b": "charge warning light",
    r"\bone-way pulley\b": "overrunning alternator pulley",
    r"\b(?:scan|socket) adapter\b": "scan-tool adapter",
    r"\bbeyond what it costs\b|\bwould lose\b|\bsaves \d|more than it costs": "minutes, and what it may spare",
}
TERMS = (
    "Positive battery terminal connection: loose",
    "Negative battery terminal connection: corroded",
    "Starter control circuit: open circuit",
    "Engine (mechanical): tight to turn",
    "Fuel or ignition side: cranks but will not start",
    "Parasitic draw (key off): heavy",
    "Parasitic draw (key off), once asleep",
    "Parasitic draw (key off), before the modules sleep",
    "Open-circuit (rest) voltage at the posts",
    "Specific gravity, mean of six cells",
    "Charge acceptance on the charger",
    "Cranking voltage with fuel or ignition disabled",
    "Load test at half the CCA rating, voltage after 15 s",
    "Wiggle test while cranking",
    "Charge warning light",
    "Voltage at terminal 50 (S terminal) of the starter",
)
SPOKEN = ("diesel_in_the_cold", "healthy_car", "intermittent_no_start", "key_off_drain", "regulator_low")
INTERNAL = {  # sentences for those who write code, not for those who stand at a car
    "Numbers of configurations for planning: all of them, or as many as lead.",
    "too many components to number their configurations",
}


def old_words(text: str) -> list[str]:
    """Older words in a text, with what stands around them."""
    plain = " ".join(re.sub(r"<[^>]*>", " ", text).split())
    return [
        f"{plain[max(0, m.start() - 40) : m.end() + 20]!r}: say {new}"
        for pattern, new in OLD.items()
        for m in re.finditer(pattern, plain, re.IGNORECASE)
    ]


def without_ids(text: str) -> str:
    """A text without the ids of the catalogue that stand in it as such: in code, in cells, before a colon, in lists."""
    ids = {c.id for c in CATALOGUE.components} | {m.id for c in CATALOGUE.components for m in c.modes}
    ids |= {choice for test in CATALOGUE.tests for choice, _ in test.choices}
    named = "|".join(sorted(ids, key=len, reverse=True))
    text = re.sub(r"`[^`]*`", "", text)
    return re.sub(rf"(?<![\w ])\s*\b(?:{named})\b(?=\s*[|:,;)\n])|(?<=[(,;:|]) ?(?:{named})(?=[,;:)|\s])", "", text)


def texts_of_the_catalogue() -> Iterator[str]:
    for component in CATALOGUE.components:
        yield from (component.label, component.explanation, component.in_vain)
        for mode in component.modes:
            yield from (mode.label, mode.explanation, mode.shows)
    for test in CATALOGUE.tests:
        yield from (test.label, test.explanation, *test.steps, *test.tools, *(label for _, label in test.choices))
        yield from (timer.label for timer in test.timers)
        yield from (forbid.words for forbid in test.forbids)
    for act in CATALOGUE.acts:
        yield from (act.label, act.explanation, *act.steps, *(timer.label for timer in act.timers))
    yield from (complaint.label for complaint in CATALOGUE.complaints)
    yield from (instrument.label for instrument in CATALOGUE.instruments)
    for table in (CATALOGUE.cautions, CATALOGUE.cautions_in_short, CATALOGUE.preconditions, CATALOGUE.words):
        yield from table.values()
    yield from CATALOGUE.words


def said_in_code() -> Iterator[tuple[str, str]]:
    """Sentences that stand in the code, with their place: not docstrings, but for those of commands, which are help."""
    for path in sorted([*(TOP / "faultnet").rglob("*.py"), *(TOP / "ui").rglob("*.py")]):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        docstrings = set()
        for node in ast.walk(tree):
            helps = isinstance(node, ast.FunctionDef) and node.decorator_list and "cli" in path.parts
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and ast.get_docstring(node) and not helps:
                docstrings.add(id(node.body[0].value))  # type: ignore[attr-defined]
        for node in ast.walk(tree):
            is_text = isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docstrings
            if is_text and " " in node.value.strip() and node.value not in INTERNAL:
                yield f"{path.relative_to(TOP)}:{node.lineno}", node.value


def printed(*arguments: str) -> str:
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.suppress(SystemExit):
        main(list(arguments))
    return out.getvalue()


def test_the_catalogue_speaks_the_language_of_the_trade() -> None:
    assert [found for text in texts_of_the_catalogue() for found in old_words(text)] == []


def test_the_terms_of_the_trade_are_there() -> None:
    labels = {test.label for test in CATALOGUE.tests}
    labels |= {f"{c.label}: {m.label}" for c in CATALOGUE.components for m in c.modes}
    assert [term for term in TERMS if term not in labels] == []
    texts = " ".join(texts_of_the_catalogue())
    for term in ("overrunning alternator pulley", "scan-tool adapter", "disconnect", "charge warning light"):
        assert term in texts
    assert list(START_WORDS.values()) == ["caught", "did not catch", "tried", "unclear"]


def test_no_sentence_in_the_code_holds_an_older_word() -> None:
    found = {place: old_words(text) for place, text in said_in_code() if old_words(text)}
    found = {place: words for place, words in found.items() if "settings.py" not in place}  # old settings
    assert found == {}


@pytest.mark.parametrize("command", ["catalogue", "catalogue --markdown", "--help", "diagnose --help", "plan --help"])
def test_what_the_command_line_lists_holds_no_older_word(command: str) -> None:
    text = printed(*command.split())
    assert len(text) > 200
    assert old_words(without_ids(text)) == []


@pytest.mark.parametrize("name", SPOKEN)
def test_advice_on_the_demo_cases_holds_no_older_word(name: str) -> None:
    case = load_case(f"demo:{name}")
    found = advise(case)
    text = advice_sheet(found, case, CATALOGUE, why=True)
    text += job_sheet(case, found.diagnosis, CATALOGUE, decision=found.decision)
    text += blank_sheet(case, found.diagnosis, CATALOGUE)
    assert old_words(re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL)) == []


def test_the_pocket_plan_holds_no_older_word() -> None:
    case = load_case("demo:fresh_case")
    tree = plan(case, tools=USUAL_TOOLS)
    assert old_words(plan_sheet(tree, case, CATALOGUE) + paper_plan(case, tree, CATALOGUE)) == []


@pytest.mark.parametrize("page", ["README.md", "cases/README.md", "priors/standard/README.md"])
def test_the_pages_to_read_hold_no_older_word(page: str) -> None:
    assert old_words(without_ids((TOP / page).read_text(encoding="utf-8"))) == []
