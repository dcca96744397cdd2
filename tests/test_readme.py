"""The README runs: its Python as doctests, its console blocks compared with what the command answers.

A block that ends in a line of three dots shows the beginning of the answer. After a change of the model,
``python tests/test_readme.py`` writes the answers of today into the blocks.
"""

from __future__ import annotations

import contextlib
import doctest
import io
import re
import shlex
from pathlib import Path

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


def refresh() -> None:
    """Write the answers of today into the console blocks."""
    for page in PAGES:
        old = page.read_text(encoding="utf-8")
        new = CONSOLE.sub(lambda b: f"```console\n$ {b['command']}\n{as_shown(b)}```", old)
        page.write_text(new, encoding="utf-8")


if __name__ == "__main__":
    refresh()
