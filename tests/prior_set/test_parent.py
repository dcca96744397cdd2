"""A set that names a parent holds only what differs: loading, prices, comparing, tuning and versions work with it."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultnet.decision.costs import load_costs
from faultnet.errors import PriorsError
from faultnet.learning.result import Change, Options, Tuned
from faultnet.learning.versions.versions import accept, compare
from faultnet.learning.versions.write import applied
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.sets import PLACE

HEAD = 'name = "ours"\nversion = "1"\nparent = "{}"\n'
SPREADS = "name,value,unit,source,mark,note\n"
BRUSH = 'brush_drop_mean,1.4,V,"estimate, no source",estimate,\n'


@pytest.fixture
def small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A set of the user's own that changes one number."""
    monkeypatch.setenv(PLACE, str(tmp_path))
    folder = tmp_path / "ours" / "1"
    folder.mkdir(parents=True)
    (folder / "prior_set.toml").write_text(HEAD.format("standard"))
    (folder / "spreads.csv").write_text(SPREADS + BRUSH)
    return folder


def test_it_holds_only_what_differs(small: Path) -> None:
    ours, standard = load_catalogue("ours@1"), load_catalogue()
    assert (ours.name, ours.version, ours.number("brush_drop_mean")) == ("ours", "1", 1.4)
    assert {k: v for k, v in ours.spreads.items() if v != standard.spreads[k]}.keys() == {"brush_drop_mean"}
    assert (ours.tests, ours.effects, ours.base_rates) == (standard.tests, standard.effects, standard.base_rates)
    assert ours.provenance == standard.provenance
    assert ours.notes == ()
    found = compare("standard", "ours@1")
    assert [(d.table, d.key, d.first, d.second) for d in found] == [("spreads", ("brush_drop_mean",), 1.0, 1.4)]


def test_its_fingerprint_is_of_itself_and_its_parent(small: Path) -> None:
    one = load_catalogue(folder=small).fingerprint
    child = small.parent / "2"
    child.mkdir()
    (child / "prior_set.toml").write_text(HEAD.format("ours@1"))
    grandchild = load_catalogue("ours@2")
    assert grandchild.number("brush_drop_mean") == 1.4
    (small / "spreads.csv").write_text(SPREADS + BRUSH.replace("1.4", "1.25"))
    assert load_catalogue("ours@2").number("brush_drop_mean") == 1.25
    assert (
        len({one, load_catalogue(folder=small).fingerprint, grandchild.fingerprint, load_catalogue().fingerprint}) == 4
    )
    assert load_catalogue("ours@2").fingerprint != grandchild.fingerprint


def test_another_price_is_one_row(small: Path) -> None:
    (small / "costs.csv").write_text(
        'kind,name,value,unit,source,mark,note\npart,belt,99,money,"our supplier",practice,\n'
    )
    ours, standard = load_costs("ours@1"), load_costs()
    assert {k: v for k, v in ours.part.items() if v != standard.part[k]} == {"belt": 99.0}
    assert ours.labour == standard.labour


def test_an_entry_of_a_toml_file_is_replaced_whole(small: Path) -> None:
    (small / "cautions.toml").write_text('[cautions]\nacid = "Acid burns holes."\n')
    ours, standard = load_catalogue("ours@1"), load_catalogue()
    assert ours.cautions == standard.cautions | {"acid": "Acid burns holes."}
    (small / "tests.toml").write_text('[[test]]\nid = "rest_voltage"\n')
    with pytest.raises(PriorsError, match=r"tests\.toml, test 'rest_voltage'"):
        load_catalogue("ours@1")


def test_a_row_amiss_in_the_parent_is_placed_there(small: Path) -> None:
    (small / "spreads.csv").write_text(SPREADS + BRUSH.replace("_mean", "_meen"))
    child = small.parent / "2"
    child.mkdir()
    (child / "prior_set.toml").write_text(HEAD.format("ours@1"))
    with pytest.raises(PriorsError, match="line 2 of its parent '1'"):
        load_catalogue("ours@2")


@pytest.mark.parametrize("parent, said", [("../x", "'parent'"), ("in_use", "'parent'"), ("nowhere", "no such")])
def test_a_parent_that_cannot_be_found_is_refused(small: Path, parent: str, said: str) -> None:
    (small / "prior_set.toml").write_text(HEAD.format(parent))
    with pytest.raises(PriorsError, match=said):
        load_catalogue("ours@1")


def test_a_set_cannot_be_its_own_parent(small: Path) -> None:
    (small / "prior_set.toml").write_text(HEAD.format("ours@1"))
    with pytest.raises(PriorsError, match="its own parent"):
        load_catalogue("ours@1")


def tuned(*changes: Change) -> Tuned:
    return Tuned("ours@1", Options(), 40, 3, (-1.0, -0.5), changes)


def test_tuning_it_writes_only_the_rows_that_differ(small: Path) -> None:
    change = Change("on_rates", ("drain", "stays_awake", "any"), 0.35, 0.5, 0.4, 0.6, 20.0, "-")
    version = accept(tuned(change), "ours@1", "hot", "history.csv", "0" * 64)
    ours = load_catalogue(f"hot@{version}")
    assert ours.on_rate("drain", "stays_awake") == 0.5
    assert ours.number("brush_drop_mean") == 1.4
    folder = small.parents[1] / "hot" / version
    assert len((folder / "on_rates.csv").read_text().splitlines()) == 2
    assert [d.key for d in compare("ours@1", f"hot@{version}")] == [("drain", "stays_awake", "any")]
    again = applied(tuned(change), folder, small.parents[1] / "again", "again", "1", "history.csv", "0" * 64)
    assert len((again / "on_rates.csv").read_text().splitlines()) == 2
