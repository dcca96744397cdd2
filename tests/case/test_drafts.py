"""Drafts outlive a restart of the program, may be written over and let go, and are no part of a backup."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from faultnet.case.faults import CaseFileError
from faultnet.case.store.store import open_store
from faultnet.case.types import Battery, Car, Case

FIELDS = {"rating": "54o", "damp": True, "cylinders": 4, "causes": ["battery:worn"]}


def test_a_draft_is_there_again_after_a_restart_and_is_written_over(place: str) -> None:
    with open_store(place) as store:
        assert store.draft("new") == {}
        store.keep_draft("new", {**FIELDS, "standard": "EN"})
        store.keep_draft("other", {"note": "yard"})
    with open_store(place) as store:
        assert store.draft("new") == {**FIELDS, "standard": "EN"}
        store.keep_draft("new", {"rating": "540"})
        assert store.draft("new") == {"rating": "540"}
        store.keep_draft("new", {})
        assert store.draft("new") == {}
        assert store.draft("other") == {"note": "yard"}


def test_text_that_no_database_can_hold_is_refused(place: str) -> None:
    with open_store(place) as store, pytest.raises(CaseFileError, match="null character"):
        store.keep_draft("new", {"note": "a\0"})


def test_drafts_are_no_part_of_a_backup(place: str, tmp_path: Path) -> None:
    with open_store(place) as store:
        store.create_case(Case(Car(Battery(600.0))))
        store.keep_draft("new", {"note": "typed and not entered"})
        store.backup(tmp_path / "backup")
    lines = (tmp_path / "backup").read_text(encoding="utf-8").splitlines()
    assert "typed and not entered" not in "".join(lines)
    assert json.loads(lines[-1])["events"] == 1
