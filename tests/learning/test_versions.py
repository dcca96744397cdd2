"""Prior sets in versions: written whole, read by the loader, compared, and taken back to the letter."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from faultnet.cli.commands import app
from faultnet.decision.costs import load_costs
from faultnet.errors import PriorsError
from faultnet.learning.result import Change, Options, Score, Tuned
from faultnet.learning.versions.versions import Difference, accept, compare, numbers_of, take_back, use, versions
from faultnet.learning.versions.write import applied
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.records import FORMAT
from faultnet.prior_set.sets import IN_USE, LOG, damaged_lines, set_folder, standing

SHA = "ab" * 32


def tuned(new: float = 0.04, **more: Any) -> Tuned:
    """A small result made by hand: a base rate of all cars and of a new group, an answer, a chance, two offsets."""
    rows = (
        Change("base_rates", ("belt", "slips", "all"), 0.009, new, new / 2, new * 2, 500.0, "-", 1500.0),
        Change("base_rates", ("belt", "lost", "all"), 0.002, 0.003, 0.001, 0.005, 500.0, "-", 1500.0),
        Change("base_rates", ("belt", "slips", "climate=hot"), 0.009, 2 * new, new, 3 * new, 300.0, "-", 1300.0),
        Change("base_rates", ("belt", "lost", "climate=hot"), 0.002, 0.004, 0.001, 0.006, 300.0, "-", 1300.0),
        Change("symptoms", ("battery_label", "otherwise", "as_required"), 0.97, 0.9, 0.88, 0.92, 400.0, "-", 500.0),
        Change("symptoms", ("battery_label", "otherwise", "smaller"), 0.03, 0.1, 0.08, 0.12, 400, "-", 500),
        Change("on_rates", ("drain", "stays_awake", "any"), 0.35, 0.5, 0.4, 0.6, 40.0, "-", 60.0),
        Change("spreads", ("module_offset_mean",), -0.1, -0.2, -0.25, -0.15, 20.0, "V", 40.0),
        Change("instruments", ("socket_adapter_2hz", "offset"), -0.1, -0.2, -0.25, -0.15, 20.0, "V", 40.0),
    )  # fmt: skip
    score = Score(0.2, 0.03, ((0.1, 0.1, 100),), 50)
    return Tuned("standard 1.0.0", Options(strength=0.5), 500, 4, (-2.0, -1.0), rows, score, score, **more)


def hashes(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FAULTNET_PRIORS", str(tmp_path / "priors"))
    return tmp_path / "priors"


def test_what_is_accepted_is_in_use_and_passes_the_loader(place: Path) -> None:
    assert set_folder(IN_USE) == set_folder("standard")
    assert accept(tuned(), "standard", "wet_town", "history.csv", SHA) == "1"
    assert set_folder(IN_USE) == set_folder("wet_town") == set_folder("wet_town@1") == place / "wet_town" / "1"
    now = load_catalogue(IN_USE)
    assert (now.name, now.version) == ("wet_town", "1")
    assert now.rate("belt", "slips") == pytest.approx((60.0, 1500.0))
    assert now.rate("belt", "slips", climate="hot") == pytest.approx((104.0, 1300.0))
    assert now.rate("belt", "slips", climate="cold") == pytest.approx((60.0, 1500.0))
    assert now.symptoms["battery_label"].otherwise == pytest.approx((450.0, 50.0))
    assert now.on_rate("drain", "stays_awake") == 0.5
    assert now.number("module_offset_mean") == now.instrument("socket_adapter_2hz").offset == -0.2
    assert load_costs(IN_USE) == load_costs("standard")


def test_a_number_that_an_older_set_lacks_can_be_tuned_in_it(tmp_path: Path) -> None:
    """It reads the shipped set's; the new set then has a row of its own."""
    older = shutil.copytree(set_folder("standard"), tmp_path / "older")
    head = (older / "prior_set.toml").read_text(encoding="utf-8")
    (older / "prior_set.toml").write_text(head.replace(f"format = {FORMAT}\n", "format = 2\n"), encoding="utf-8")
    lines = (older / "spreads.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith(("drop_spread,", "wrong_by_opinion,"))]
    (older / "spreads.csv").write_text("".join(kept), encoding="utf-8")
    change = Change("spreads", ("drop_spread",), 0.004, 0.006, 0.005, 0.007, 60.0, "V", 80.0)
    found = applied(
        Tuned("older", Options(), 60, 1, (0.0, 1.0), (change,)), older, tmp_path / "new", "n", "1", "h", SHA
    )
    now = load_catalogue(folder=found)
    assert now.number("drop_spread") == 0.006
    assert now.number("wrong_by_opinion") == load_catalogue().number("wrong_by_opinion")


def test_nothing_but_the_tuned_numbers_changes() -> None:
    accept(tuned(), "standard", "wet_town", "history.csv", SHA)
    changed = {(d.table, *d.key): d for d in compare("standard", "wet_town")}
    wanted = {(c.table, *c.key) for c in tuned().changes}
    assert set(changed) == wanted
    for change in tuned().changes:
        found = changed[change.table, *change.key]
        assert found.second == pytest.approx(change.new, abs=1e-9)
        assert (found.first is None) == (change.key[-1] == "climate=hot")
    assert len(numbers_of(load_catalogue())) > 1000
    assert all(isinstance(d, Difference) for d in changed.values())


def test_where_the_numbers_come_from_is_written_down(place: Path) -> None:
    accept(tuned(), "standard", "wet_town", "history.csv", SHA)
    head = tomllib.loads((place / "wet_town" / "1" / "prior_set.toml").read_text(encoding="utf-8"))
    about = head["tuned"]
    assert (about["from"], about["history"], about["history_sha256"]) == ("standard 1.0.0", "history.csv", SHA)
    assert (about["strength"], about["cases"], about["new_log_loss"]) == (0.5, 500, 0.2)
    assert about["from_fingerprint"] == load_catalogue("standard").fingerprint
    row = load_catalogue("wet_town").base_rates["belt", "slips"]["all"]
    assert SHA[:12] in row.source
    assert load_catalogue("standard").base_rates["belt", "slips"]["all"].source in row.source
    assert row.note.startswith("was 0.009, now 0.04")


def test_taking_back_restores_what_was_in_use_and_deletes_nothing(place: Path) -> None:
    before = hashes(set_folder(IN_USE))
    accept(tuned(0.04), "standard", "wet_town", "a.csv", SHA)
    first = hashes(set_folder(IN_USE))
    assert accept(tuned(0.05), "wet_town", "wet_town", "b.csv", SHA) == "2"
    assert set_folder("wet_town") == place / "wet_town" / "2"
    assert take_back() == ("wet_town", "2")
    assert hashes(set_folder(IN_USE)) == first == hashes(set_folder("wet_town"))
    assert take_back() == ("wet_town", "1")
    assert hashes(set_folder(IN_USE)) == before
    assert (place / "wet_town" / "2" / "prior_set.toml").is_file()
    assert [(v.label, v.state) for v in versions()] == [
        ("standard", "in use"), ("wet_town@1", "taken back"), ("wet_town@2", "taken back"),
    ]  # fmt: skip
    with pytest.raises(PriorsError, match="no accepted prior set"):
        take_back()
    assert use("wet_town@2") == ("wet_town", "2")
    assert set_folder(IN_USE) == place / "wet_town" / "2"
    assert accept(tuned(), "standard", "wet_town", "c.csv", SHA) == "3"


def test_a_set_that_cannot_be_loaded_is_not_kept(place: Path) -> None:
    with pytest.raises(PriorsError, match="leave no sound car"):
        accept(tuned(0.499), "standard", "wet_town", "a.csv", SHA)  # 99.8 % of hot cars, and the lost belts besides
    assert standing() == ()
    assert set_folder(IN_USE) == set_folder("standard")
    assert not list((place / "wet_town").iterdir())
    assert not list(place.glob(".new_*"))


@pytest.mark.parametrize("name", ["standard", "in_use", "Wet Town", "../wet", "wet@1", ""])
def test_names_that_would_confuse_are_refused(name: str) -> None:
    with pytest.raises(PriorsError, match="cannot have this name"):
        accept(tuned(), "standard", name, "a.csv", SHA)


def test_unknown_sets_are_said_in_words(place: Path) -> None:
    accept(tuned(), "standard", "wet_town", "a.csv", SHA)
    with pytest.raises(PriorsError, match="wet_town@1"):
        set_folder("dry_town")
    for name in ("wet_town@7", "standard@1"):
        with pytest.raises(PriorsError):
            use(name)


KILLED = """
import os, sys
from tests.learning.test_versions import SHA, tuned
from faultnet.learning.versions import versions as module
def end(*_, **__):
    os._exit(9)
if sys.argv[1] == "line":
    real = module.json.dumps
    def half(step):
        with (module.user_priors() / module.LOG).open("ab") as file:
            file.write(real(step).encode()[:30])
        end()
    module.json = type("json", (), {"dumps": staticmethod(half)})
elif sys.argv[1] == "rename":
    module.os.rename = end
else:
    setattr(module, sys.argv[1], end)
module.accept(tuned(0.05), "standard", "wet_town", "b.csv", SHA)
"""


@pytest.mark.parametrize("moment, state", [("applied", None), ("rename", None), ("_note", "never accepted"),
                                           ("line", "never accepted")])  # fmt: skip
def test_an_acceptance_that_is_killed_changes_nothing(place: Path, moment: str, state: str | None) -> None:
    """The program ends at that moment without tidying up, as with signal 9."""
    accept(tuned(), "standard", "wet_town", "a.csv", SHA)
    good = hashes(set_folder(IN_USE))
    root = Path(__file__).parents[2]
    environment = {**os.environ, "PYTHONPATH": str(root)}
    assert (
        subprocess.run([sys.executable, "-c", KILLED, moment], cwd=root, env=environment, check=False).returncode == 9
    )
    assert set_folder(IN_USE) == place / "wet_town" / "1"
    assert hashes(set_folder(IN_USE)) == good
    found = {v.label: v.state for v in versions()}
    assert found == {"standard": "shipped", "wet_town@1": "in use", **({"wet_town@2": state} if state else {})}
    leftovers = list(place.glob(".new_*"))
    assert bool(leftovers) == (moment in ("applied", "rename"))
    for folder in leftovers:
        os.utime(folder, (0.0, 0.0))
    after = accept(tuned(), "standard", "wet_town", "c.csv", SHA)
    assert after == ("3" if state else "2")
    assert not list(place.glob(".new_*"))
    assert set_folder(IN_USE) == place / "wet_town" / after
    assert use("wet_town@2") == ("wet_town", "2")
    assert len(damaged_lines()) == (moment == "line")


def test_half_a_line_is_named_with_its_folder_and_stops_nothing(place: Path) -> None:
    accept(tuned(), "standard", "wet_town", "a.csv", SHA)
    for half in (
        '{"did": "acc',
        '{"did": "accepted"}\n',
        "[" * 5000 + "\n",
        "\ufffd\n",
        "7\n",
        '{"did": "x", "name": 1}',
    ):
        with (place / LOG).open("a", encoding="utf-8") as file:
            file.write(half)
        assert set_folder(IN_USE) == place / "wet_town" / "1"
        assert diagnoses_with("wet_town") == 0
    (first, *_) = damaged_lines()
    assert first.startswith(f"line 2 of {place / LOG} cannot be read")
    accept(tuned(), "standard", "wet_town", "b.csv", SHA)
    assert set_folder(IN_USE) == place / "wet_town" / "2"
    result = CliRunner().invoke(app, ["priors", "list"], catch_exceptions=False)
    assert "in use" in result.stdout
    assert str(place / LOG) in result.stderr


def diagnoses_with(name: str) -> int:
    result = CliRunner().invoke(app, ["validate", "demo:shorted_cell"], catch_exceptions=False)
    assert "cannot be read and is passed over" in result.stderr
    assert load_catalogue(IN_USE).name == name
    return int(result.exit_code)


def test_a_set_that_cannot_be_read_does_not_break_the_list(place: Path) -> None:
    accept(tuned(), "standard", "wet_town", "a.csv", SHA)
    accept(tuned(), "standard", "wet_town", "b.csv", SHA)
    (place / "wet_town" / "1" / "base_rates.csv").write_text("x", encoding="utf-8")
    states = {v.label: v.state for v in versions()}
    assert states == {"standard": "shipped", "wet_town@1": "damaged", "wet_town@2": "in use"}


def test_a_folder_that_cannot_be_written_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("not a folder", encoding="utf-8")
    monkeypatch.setenv("FAULTNET_PRIORS", str(blocked / "priors"))
    with pytest.raises(PriorsError, match="not a directory"):
        accept(tuned(), "standard", "wet_town", "a.csv", SHA)
    assert blocked.read_text(encoding="utf-8") == "not a folder"


def test_the_list_is_plain_json_lines(place: Path) -> None:
    accept(tuned(), "standard", "wet_town", "a.csv", SHA)
    take_back()
    lines = [json.loads(line) for line in (place / LOG).read_text(encoding="utf-8").splitlines()]
    assert [(line["did"], line["name"], line["version"]) for line in lines] == [
        ("accepted", "wet_town", "1"), ("taken_back", "wet_town", "1"),
    ]  # fmt: skip
