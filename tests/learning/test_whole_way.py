"""The whole way on the shipped history: tuned, read, accepted, the verdict moves as it should, taken back exactly.

The first thousand cases are taken, and all five thousand with ``FAULTNET_LONG_TESTS=1``. In a thousand, regulators that
fail four times as often as told stand out: the 95 % interval begins above the old rate, by a factor of 1.2. A fault
that is twice as frequent would hardly stand out, nor would be seen what goes wrong only beyond two chunks of cases.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from faultnet.cli import main
from faultnet.learning.tables.history import load_history, write_history
from faultnet.shipped import shipped

HISTORY = shipped("cases") / "history" / "hot_region.csv.gz"
CASES = 1000


@pytest.fixture
def history(tmp_path: Path) -> str:
    """Where the history lies that is tuned to."""
    if os.environ.get("FAULTNET_LONG_TESTS") == "1":
        return str(HISTORY)
    write_history(load_history(HISTORY).cases[:CASES], tmp_path / "first.csv.gz")
    return str(tmp_path / "first.csv.gz")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Any:
    monkeypatch.setenv("FAULTNET_PRIORS", str(tmp_path / "priors"))

    def run(*arguments: str) -> str:
        with pytest.raises(SystemExit) as left:
            main(arguments)
        written = capsys.readouterr()
        assert left.value.code == 0, written.err
        return written.out

    return run


def chance(answer: str, component: str, mode: str) -> float:
    return float(json.loads(answer)["components"][component][mode])


def test_accepting_moves_the_verdict_and_taking_back_restores_it(run: Any, history: str, tmp_path: Path) -> None:
    demo = ("diagnose", "demo:regulator_low", "--json")
    before = run(*demo)
    page = tmp_path / "report.html"
    shown = run("tune", history, "--to", "hot_region", "--folds", "2", "--html", str(page), "--accept")
    assert "Kept as hot_region@1" in shown
    for heading in ("WHAT TUNING WOULD CHANGE", "ON CASES THAT WERE NOT LEARNT FROM", "CHANGED NUMBERS"):
        assert heading in shown
    assert max(map(len, shown.splitlines())) <= 80
    assert "Regulator: regulates low" in shown  # found in the history, where it was drawn four times as often
    html = page.read_text(encoding="utf-8")
    assert html.count("<svg") > 10
    assert "http" not in html.replace("http-equiv", "")
    after = run(*demo)
    assert chance(after, "regulator", "low") > chance(before, "regulator", "low") + 0.01
    assert chance(
        run("diagnose", "demo:regulator_low", "--json", "--priors", "standard"), "regulator", "low"
    ) == chance(before, "regulator", "low")
    differences = json.loads(run("priors", "compare", "standard", "--json"))["differences"]
    regulator = [d for d in differences if d["table"] == "base_rates" and d["key"] == ["regulator", "low", "all"]]
    assert regulator[0]["second"] > 1.5 * regulator[0]["first"]
    assert "in use now: standard" in run("priors", "take-back")
    assert run(*demo) == before
    assert "taken back" in run("priors", "list")
