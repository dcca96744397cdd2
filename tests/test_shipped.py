"""Where shipped data are found: inside the package after an install, at the top in a checkout."""

from __future__ import annotations

from pathlib import Path

import pytest

import faultnet.shipped
from faultnet.errors import FaultnetError
from faultnet.shipped import places, shipped


def test_a_checkout_has_the_standard_prior_set() -> None:
    assert (shipped("priors") / "standard" / "prior_set.toml").is_file()


def test_an_installed_copy_is_preferred_to_a_checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    module = tmp_path / "faultnet" / "shipped.py"
    checkout, installed = tmp_path / "cases", tmp_path / "faultnet" / "_shipped" / "cases"
    checkout.mkdir()
    (tmp_path / "faultnet").mkdir()
    monkeypatch.setattr(faultnet.shipped, "__file__", str(module))
    assert shipped("cases") == checkout
    installed.mkdir(parents=True)
    assert shipped("cases") == installed


def test_a_missing_folder_names_both_places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(faultnet.shipped, "__file__", str(tmp_path / "faultnet" / "shipped.py"))
    with pytest.raises(FaultnetError) as caught:
        shipped("ui")
    assert all(str(place) in str(caught.value) for place in places("ui"))
    assert caught.value.to_do is not None


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(FaultnetError, match="priors, cases, ui"):
        shipped("prior")  # type: ignore[arg-type]
