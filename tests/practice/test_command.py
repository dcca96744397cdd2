"""`faultnet practise`: numbered choices, the same by ids from a file, quitting at any line, JSON, bad input."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from faultnet.cli import main

SCRIPT = "rest_voltage\nrepair battery replace 20\nrepair ground_path repair_cable 85 %\ngive back\n"
COURSE = ["practise", "--course", "3"]


@pytest.fixture(autouse=True)
def _own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FAULTNET_PRACTICE", str(tmp_path))


def run(
    lines: str, arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> tuple[int, str, str]:
    monkeypatch.setattr("sys.stdin", io.StringIO(lines))
    with pytest.raises(SystemExit) as end:
        main(arguments)
    told = capsys.readouterr()
    return int(end.value.code or 0), told.out, told.err


def test_a_car_from_a_script_with_json(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    status, out, err = run(SCRIPT, [*COURSE, "--json"], monkeypatch, capsys)
    assert status == 0
    answer = json.loads(out)
    assert answer["last"]["yours"]["wrong_parts"] == answer["all"]["wrong_parts"] == 1
    assert answer["last"]["faults"] == [["ground_path", "high_resistance"]]
    assert [s["belief"] for s in answer["last"]["stated"]] == [20.0, 85.0]
    assert answer["last"]["knowing"]["cost"] < answer["last"]["yours"]["cost"]
    assert answer["in_hand"] is None
    assert "> Open-circuit (rest) voltage" in err
    assert "At fault when it came in: Ground path" in err
    assert (tmp_path / "me.json").exists()
    status, out, _ = run("", ["practise", "--list"], monkeypatch, capsys)
    assert "A new battery, and slow (A ground that fails only under load)" in out
    assert "Flat every Monday\n" in out
    assert "1 car: mean regret" in out


def test_every_line_may_be_the_last_and_the_car_is_gone_on_with(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Line by line in programs of their own: menus left half way change nothing, what was done stays done."""
    by_numbers = ["3\n1\n2\n1\n", "9\n1\n", "9\n1\n2\nmaybe\n", "99\nnonsense\n-1\n\n0\ns\n?\n"]
    status, out, _ = run(by_numbers[0], COURSE, monkeypatch, capsys)
    assert status == 0
    assert "> Open-circuit (rest) voltage at the posts: 12." in out
    spent = out.split("Spent: ")[1].splitlines()[0]
    for lines in by_numbers[1:]:
        for end in ("", "q\n"):
            status, out, err = run(lines + end, ["practise"], monkeypatch, capsys)
            assert status == 0, err
            assert "goes on with it" in out
            assert "Spent:" not in out
    assert "There is no choice 99" in out
    assert "this is no choice" in out
    _, out, _ = run("flat_how_often\n", ["practise"], monkeypatch, capsys)
    assert "Spent: 4 min" in out or "Spent:" in out
    assert spent not in out.split("Spent: ")[1].splitlines()[0]


def test_another_car_waits_until_the_one_in_hand_is_given_up(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    run("charge_lamp\n", COURSE, monkeypatch, capsys)
    status, out, err = run("", ["practise", "--number", "5"], monkeypatch, capsys)
    assert (status, out) == (2, "")
    assert "another car is still in hand" in err
    assert run("", ["practise", "--give-up"], monkeypatch, capsys)[0] == 0
    status, out, _ = run("q\n", ["practise", "--number", "5", "--difficulty", "hard"], monkeypatch, capsys)
    assert "MATCHED WORLD, HARD, NUMBER 5" in out


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["--course", "11"], "no such course"),
        (["--player", "../me"], "no name to keep progress under"),
        (["--tools", "crystal ball"], "unknown tool"),
    ],
)
def test_bad_input_is_one_message(
    arguments: list[str], words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run("", ["practise", *arguments], monkeypatch, capsys)
    assert (status, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1


def test_a_damaged_file_is_one_message_and_stays(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    run("charge_lamp\n", COURSE, monkeypatch, capsys)
    path = tmp_path / "me.json"
    path.write_bytes(path.read_bytes()[:-9])
    left = path.read_bytes()
    for arguments in (["practise"], ["practise", "--give-up"], ["practise", "--list"]):
        status, out, err = run("", arguments, monkeypatch, capsys)
        assert (status, out) == (2, "")
        assert "damaged, and was left as it is" in err
        assert path.read_bytes() == left
