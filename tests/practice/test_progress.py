"""Progress is kept: over a killed process, private, whole, and what is damaged is named and never written over."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from faultnet.decision import load_costs
from faultnet.errors import StoreError
from faultnet.practice.cars import Ticket
from faultnet.practice.play import begun, moved
from faultnet.practice.progress import (
    Progress,
    held,
    load_progress,
    progress_file,
    save_progress,
    taken_up,
)
from faultnet.practice.review import Bill, Review, Stated, Turn
from faultnet.prior_set import load_catalogue
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.steps import GiveBack, Look, Mend, Prepare

SHOP = Shop(load_catalogue(), load_costs())
TICKET = Ticket("independent", "hard", 5)
BILL = Bill(30.0, 180.0, 0, 3, 0, False)
REVIEW = Review(
    TICKET, (("battery", "worn"),), BILL, BILL, BILL, 0.0, 0.0,
    (Turn(1, "a", "b", "c", 30.0),), (Stated("battery", 70.0, True),),
)  # fmt: skip


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "deep" / "me.json"


def some_progress(path: Path) -> Progress:
    played = moved(begun(TICKET, SHOP), Look("rest_voltage", at_once=True))
    played = moved(moved(played, Prepare("drive")), Mend("battery", "replace"), 35.5)
    return save_progress(path, Progress(held(played), (REVIEW, REVIEW)))


def test_all_of_it_comes_back_as_it_was(path: Path) -> None:
    kept = some_progress(path)
    assert load_progress(path) == kept
    assert kept.in_hand is not None
    again = taken_up(kept.in_hand, SHOP)
    assert held(again) == kept.in_hand
    assert again.job.minutes > 0.0
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert os.listdir(path.parent) == [path.name]


def test_every_damage_is_named_and_nothing_is_lost(path: Path) -> None:
    kept = some_progress(path)
    whole = path.read_bytes()
    damaged = [whole[: len(whole) // 2], b"", b"[]", b"\xff" + whole, whole.replace(b"35.5", b"95.5")]
    damaged += [whole[:k] + bytes([whole[k] ^ 1]) + whole[k + 1 :] for k in range(0, len(whole), 97)]
    for content in damaged:
        path.write_bytes(content)
        with pytest.raises(StoreError, match="damaged, and was left as it is"):
            load_progress(path)
        with pytest.raises(StoreError, match="damaged"):
            save_progress(path, kept)
        assert path.read_bytes() == content


def test_a_file_with_a_right_checksum_and_wrong_fields_is_damaged_too(path: Path) -> None:
    some_progress(path)
    from faultnet.practice.progress import _checksum

    whole = json.loads(path.read_bytes())
    for change in ({"cars": [{}]}, {"in_hand": {"ticket": {"course": "none"}}}, {"version": 2}):
        kept = {**whole["practice"], **change}
        path.write_text(json.dumps({"practice": kept, "sha256": _checksum(kept)}))
        with pytest.raises(StoreError, match="damaged"):
            load_progress(path)


def test_who_comes_second_overwrites_nothing(path: Path) -> None:
    first = some_progress(path)
    second = save_progress(path, replace(first, cars=(*first.cars, REVIEW)))
    with pytest.raises(StoreError, match="gone on with elsewhere"):
        save_progress(path, replace(first, in_hand=None))
    assert load_progress(path) == second


def test_a_car_that_became_another_is_said_to_be_so(path: Path) -> None:
    kept = some_progress(path)
    assert kept.in_hand is not None
    for changed in (replace(kept.in_hand, seen="other"), replace(kept.in_hand, ticket=Ticket("matched", "easy", 4))):
        with pytest.raises(StoreError, match="no longer the one that was begun"):
            taken_up(changed, SHOP)


def test_a_full_disk_leaves_what_was_there(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = some_progress(path)
    whole = path.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreError, match="no space left"):
        save_progress(path, replace(kept, in_hand=None))
    assert path.read_bytes() == whole
    assert os.listdir(path.parent) == [path.name]


def test_a_killed_program_loses_no_step(tmp_path: Path) -> None:
    """The line after which it is killed is on the disk; another program goes on from there."""
    environment = {**os.environ, "FAULTNET_PRACTICE": str(tmp_path)}
    command = [sys.executable, "-m", "faultnet", "practise", "--world", "independent", "--number", "7"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment, text=True) as run:
        assert run.stdin is not None
        assert run.stdout is not None
        run.stdin.write("crank_minimum\n")
        run.stdin.flush()
        while "Spent:" not in run.stdout.readline():
            pass
        run.kill()
    kept = load_progress(tmp_path / "me.json")
    assert kept.in_hand is not None
    assert [m.step for m in kept.in_hand.moves] == [Look("crank_minimum")]
    done = moved(taken_up(kept.in_hand, SHOP), GiveBack())
    assert done.job.minutes > 0.0


def test_names_of_players_are_names_of_files(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("FAULTNET_PRACTICE", str(tmp_path))
    assert progress_file("ann-2") == tmp_path / "ann-2.json"
    for name in ("", "../x", "a/b", "x" * 41):
        with pytest.raises(Exception, match="no name to keep progress under"):
            progress_file(name)
