"""A shop's own money and prices: one file, which the front end writes and the command line reads."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from faultnet.decision import load_costs
from faultnet.decision.shop import ShopPrices, load_shop_prices
from faultnet.errors import FaultnetError, PriorsError


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "settings.json"
    monkeypatch.setenv("FAULTNET_SETTINGS", str(path))
    return path


def test_without_a_file_the_shipped_prices_hold_and_no_money_is_named(file: Path) -> None:
    assert load_shop_prices() == ShopPrices()
    assert ShopPrices().of(load_costs()) == load_costs()
    assert load_costs().currency == ""


def test_the_file_sets_currency_rate_and_parts(file: Path) -> None:
    file.write_text('{"tools": ["torch"], "currency": "EUR", "hourly_rate": 90, "parts": {"battery": 99.5}}')
    ours, shipped = load_shop_prices().of(load_costs()), load_costs()
    assert (ours.currency, ours.hourly_rate, ours.part["battery"]) == ("EUR", 90.0, 99.5)
    assert {k for k, v in ours.part.items() if v != shipped.part[k]} == {"battery"}
    assert ours.repair("battery") == pytest.approx(99.5 + 90.0 * 25.0 / 60.0)
    assert ours.minutes("battery") == 4.0 + 20.0 + 5.0, "cover off, replaced, proven (costs.csv)"


@pytest.mark.parametrize(
    "text, got",
    [
        ("{", "Expecting"),
        ("[1]", "[1]"),
        ('{"hourly_rate": -1}', "hourly_rate -1"),
        ('{"hourly_rate": true}', "hourly_rate True"),
        ('{"hourly_rate": NaN}', "hourly_rate nan"),
        ('{"parts": {"battery": "dear"}}', "parts, battery 'dear'"),
        ('{"parts": [1]}', "parts [1]"),
        ('{"currency": 5}', "currency 5"),
        ('{"currency": "thirteen signs"}', "currency"),
    ],
)
def test_what_is_amiss_is_named(file: Path, text: str, got: str) -> None:
    file.write_text(text)
    with pytest.raises(FaultnetError) as caught:
        load_shop_prices()
    assert caught.value.where == str(file)
    assert got in str(caught.value.got)
    assert caught.value.expected
    assert caught.value.to_do


@pytest.mark.parametrize("parts, said", [({"gearbox": 5.0}, "gearbox"), ({"battery": math.inf}, "battery")])
def test_a_part_that_is_not_known_has_no_price(parts: dict[str, float], said: str) -> None:
    with pytest.raises(PriorsError, match=said):
        load_costs().with_shop(parts=parts)


def test_the_front_end_writes_what_the_command_line_reads(file: Path) -> None:
    import sys

    sys.path.insert(0, str(Path(__file__).parents[2] / "ui"))
    from workbench.settings import Settings, load_settings, save_settings

    chosen = Settings(("torch",), "degF", 75.0, "CHF", (("battery", 140.0), ("belt", 30.0)))
    save_settings(chosen)
    assert load_settings() == chosen
    assert load_shop_prices() == ShopPrices("CHF", 75.0, {"battery": 140.0, "belt": 30.0})
    file.write_text('{"tools": ["socket adapter", "torch"], "currency": "CHF"}')
    assert load_settings().tools == ("scan-tool adapter", "torch"), "a tool of an older file under its name of today"
