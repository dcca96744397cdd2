"""The README runs: its Python as doctests, its console blocks compared with what the command answers.

A block that ends in a line of three dots shows the beginning of the answer. After a change of the model,
``python tests/test_readme.py`` writes the answers of today into the blocks.
"""

from __future__ import annotations

import contextlib
import doctest
import io
import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest

from faultnet.cli import main

README = Path(__file__).parents[1] / "README.md"
PAGES = (README, README.parent / "cases" / "README.md")
MOST_LINES = 150
CUT = "...\n"
CONSOLE = re.compile(r"```console\n\$ (?P<command>faultnet [^\n]+)\n(?P<answer>.*?)```", re.DOTALL)
SHELL = re.compile(r"```sh\n(.*?)```", re.DOTALL)


def text() -> str:
    return README.read_text(encoding="utf-8")


def answer_of(command: str) -> str:
    """Run a command of the README and return what it prints."""
    printed = io.StringIO()
    with contextlib.chdir(README.parent), contextlib.redirect_stdout(printed), contextlib.suppress(SystemExit):
        main(shlex.split(command)[1:])
    return printed.getvalue()


@pytest.mark.parametrize(("page", "lines"), [(README, 5), (README.parent / "cases" / "README.md", 3)])
def test_its_python_runs(page: Path, lines: int) -> None:
    result = doctest.testfile(str(page), module_relative=False, encoding="utf-8")
    assert result.attempted >= lines
    assert result.failed == 0


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.parent.name)
def test_its_console_blocks_are_what_the_command_answers(page: Path) -> None:
    blocks = list(CONSOLE.finditer(page.read_text(encoding="utf-8")))
    assert blocks
    for block in blocks:
        assert block["answer"] == as_shown(block), "run: python tests/test_readme.py"


def as_shown(block: re.Match[str]) -> str:
    """The answer of today, cut where the block cuts it."""
    answer = answer_of(block["command"])
    if not block["answer"].endswith(CUT):
        return answer
    lines = answer.splitlines(keepends=True)[: block["answer"].count("\n") - 1]
    return "".join(lines) + CUT


def test_it_is_read_in_one_sitting() -> None:
    assert text().count("\n") <= MOST_LINES


def test_it_begins_with_the_job_and_two_commands_of_one_line() -> None:
    paragraphs = text().split("\n\n")
    assert paragraphs[0] == "# faultnet"
    assert paragraphs[1].startswith("A 12 V car will not start")
    commands = [block.strip() for block in SHELL.findall(text())]
    assert len(commands) == 2
    assert not any("\n" in command for command in commands)
    assert "faultnet serve cases/" in commands[0]


def test_the_second_command_is_what_continuous_integration_runs() -> None:
    second = SHELL.findall(text())[1].strip()
    lines = (README.parent / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert lines[-1] == second


@pytest.mark.parametrize("place", re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", README.read_text(encoding="utf-8")))
def test_its_links_lead_somewhere(place: str) -> None:
    assert (README.parent / place).exists()


# what is claimed of trials stands in the results

BENCH = README.parent / "tests" / "bench"
ROW = {
    "right first time": ("right_first_time", 100.0),
    "wrong parts, 100 cars": ("wrong_parts_per_100", 1.0),
    "minutes": ("minutes", 1.0),
    "cost": ("cost", 1.0),
    "tests": ("tests", 1.0),
    "Brier score": ("brier", 1.0),
    "log loss": ("log_loss", 1.0),
    "calibration error": ("calibration_error", 1.0),
    "of the leading cause": ("leading_calibration_error", 1.0),
    "came back": ("come_backs", 1.0),
    "left with a fault": ("left_with_fault", 1.0),
    "too many steps": ("looped", 1.0),
}
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def trial_worlds() -> dict[str, Any]:
    return {w["world"]: w for w in json.loads((BENCH / "results" / "trials.json").read_text("utf-8"))["worlds"]}


def rows_of_the_trial() -> list[tuple[str, int, str, list[str]]]:
    """Rows of the page's tables of worlds: the world, its cars, the row's name, its cells."""
    rows, world = [], ("", 0)
    block = (BENCH / "trials.md").read_text("utf-8").split("<!-- trial table: ")[1]
    for line in block.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if head := re.fullmatch(r"(\w+) world, (\d+) cars", cells[0]):
            world = (head[1], int(head[2]))
        elif line.startswith("| aim"):
            break
        elif cells[0] in ROW:
            rows.append((*world, cells[0], cells[1:]))
    return rows


def test_the_table_of_the_trial_is_that_of_its_results() -> None:
    """Every number, to the digits that are shown."""
    worlds, rows = trial_worlds(), rows_of_the_trial()
    assert len(rows) >= 2 * len(ROW)
    for world, cars, name, cells in rows:
        assert worlds[world]["cars"] == cars
        key, scale = ROW[name]
        for policy, cell in zip(worlds[world]["policies"].values(), cells, strict=True):
            held = policy[key] if isinstance(policy[key], dict) else {"value": policy[key]}
            for shown, end in zip(NUMBER.findall(cell), ("value", "low", "high"), strict=False):
                digits = len(shown.partition(".")[2])
                assert float(shown) == pytest.approx(scale * held[end], abs=0.5000001 * 10**-digits), (world, name)


def test_an_aim_is_called_met_only_where_its_whole_interval_meets_it() -> None:
    lines = (BENCH / "trials.md").read_text("utf-8").split("| aim for the advice")[1].split("\n\n")[0].splitlines()[2:]
    assert len(lines) >= 6
    for line in lines:
        aim, reached, said = (cell.strip() for cell in line.strip("|").split("|"))
        side = -1.0 if "at most" in aim else 1.0
        limit = float(NUMBER.findall(aim)[-1])
        value, low, high = (float(number) for number in NUMBER.findall(reached))
        whole = min(side * low, side * high) >= side * limit
        assert said == ("met" if whole else "not shown" if side * value >= side * limit else "**missed**"), aim


@pytest.mark.parametrize("page", ["README.md", "CHANGELOG.md", "tests/bench/trials.md", "tests/bench/README.md"])
def test_nobody_says_that_all_aims_are_met(page: str) -> None:
    """While an aim of the trial is not."""
    assert re.search(r"\| (not shown|\*\*missed\*\*) \|", (BENCH / "trials.md").read_text("utf-8"))
    assert "all met" not in " ".join((README.parent / page).read_text("utf-8").split())


def refresh() -> None:
    """Write the answers of today into the console blocks."""
    for page in PAGES:
        old = page.read_text(encoding="utf-8")
        new = CONSOLE.sub(lambda b: f"```console\n$ {b['command']}\n{as_shown(b)}```", old)
        page.write_text(new, encoding="utf-8")


if __name__ == "__main__":
    refresh()
