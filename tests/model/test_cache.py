"""Networks kept on disk: the same when read back, and never trusted when damaged."""

from __future__ import annotations

import hmac
import json
import os
import re
import stat
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from zlib import crc32

import numpy as np
import pytest

from faultnet.cache import open_kept, own_key, seal
from faultnet.case.types import Battery, Conditions
from faultnet.inference.kept_orders import ORDERS_FILE, KeptOrders
from faultnet.model import cache
from faultnet.model.cache import network_for, setting_key
from faultnet.model.network import Network
from faultnet.model.setting import Setting
from tests.inference import demo


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FAULTNET_CACHE", str(tmp_path / "kept"))
    return tmp_path / "kept"


@pytest.fixture
def built(monkeypatch: pytest.MonkeyPatch) -> list[Setting]:
    """Every setting a network was built for; building itself is the one of the shared demo car."""
    calls: list[Setting] = []

    def build(setting: Setting) -> Network:
        calls.append(setting)
        return demo.network()

    monkeypatch.setattr("faultnet.model.build.build_network", build)
    return calls


def assert_equal(found: Network, expected: Network) -> None:
    assert list(found.nodes) == list(expected.nodes)
    for name, node in expected.nodes.items():
        assert found.nodes[name] == node
        np.testing.assert_array_equal(found.nodes[name].table, node.table)
    assert set(found.sound) == set(expected.sound)
    for name, shares in expected.sound.items():
        np.testing.assert_array_equal(found.sound[name], shares)


def test_a_network_read_back_is_the_one_built(folder: Path, built: list[Setting]) -> None:
    assert_equal(network_for(demo.setting()), demo.network())
    assert_equal(network_for(demo.setting()), demo.network())
    assert len(built) == 1
    assert {p.suffix for p in folder.iterdir()} == {".bin", ".json"}


def halved(data: bytes) -> bytes:
    return data[: len(data) // 2]


def emptied(data: bytes) -> bytes:
    return b""


def scrawled(data: bytes) -> bytes:
    middle = len(data) // 2
    return data[:middle] + b"\xff" * 64 + data[middle + 64 :]


def swapped(data: bytes) -> bytes:
    """Two probabilities exchanged: every number is still one that could be."""
    assert data[:8] != data[8:16]
    return data[8:16] + data[:8] + data[16:]


def other_json(data: bytes) -> bytes:
    return b"[]"


def null_json(data: bytes) -> bytes:
    return b"null"


def bad_shape(data: bytes) -> bytes:
    changed = re.sub(rb'(shape": \[)', rb"\g<1>7, ", data, count=1)
    assert changed != data
    return changed


def deep(data: bytes) -> bytes:
    """Lists in lists in lists, two hundred thousand deep."""
    return data[: data.index(b"\n") + 1] + b"[" * 200_000


@pytest.mark.parametrize(
    "suffix, damage",
    [
        (".bin", halved), (".bin", emptied), (".bin", scrawled), (".bin", swapped),
        (".json", halved), (".json", emptied), (".json", scrawled), (".json", other_json), (".json", null_json),
        (".json", bad_shape), (".json", deep),
    ],
)  # fmt: skip
def test_a_damaged_file_only_costs_time(
    folder: Path, built: list[Setting], suffix: str, damage: Callable[[bytes], bytes]
) -> None:
    network_for(demo.setting())
    kept = folder / f"{setting_key(demo.setting())}{suffix}"
    kept.write_bytes(damage(kept.read_bytes()))
    assert_equal(network_for(demo.setting()), demo.network())
    assert len(built) == 2
    assert_equal(network_for(demo.setting()), demo.network())
    assert len(built) == 2


def changed_by_another(folder: Path, key: str) -> None:
    """Put two probabilities in each other's place, and all sums right that anybody can work out."""
    flat, described = folder / f"{key}.bin", folder / f"{key}.json"
    data, (_, nodes) = swapped(flat.read_bytes()), described.read_bytes().split(b"\n", 1)
    mac = hmac.new(b"another key", digestmod="sha256")
    for part in (key.encode(), data, nodes):
        mac.update(len(part).to_bytes(8, "little") + part)
    flat.write_bytes(data)
    described.write_bytes(mac.hexdigest().encode() + b"\n" + nodes)


def test_whoever_writes_into_the_folder_cannot_change_a_network(folder: Path, built: list[Setting]) -> None:
    network_for(demo.setting())
    changed_by_another(folder, setting_key(demo.setting()))
    assert_equal(network_for(demo.setting()), demo.network())
    assert len(built) == 2


def test_sums_of_an_earlier_form_do_not_vouch_for_a_network(folder: Path, built: list[Setting]) -> None:
    """Check sums that anybody can work out: what was taken for a network until this form."""
    network_for(demo.setting())
    flat, described = (folder / f"{setting_key(demo.setting())}{suffix}" for suffix in (".bin", ".json"))
    data, nodes = swapped(flat.read_bytes()), described.read_bytes().split(b"\n", 1)[1].decode()
    flat.write_bytes(data)
    described.write_text(json.dumps({"nodes": nodes, "sums": [crc32(data), crc32(nodes.encode())]}))
    assert_equal(network_for(demo.setting()), demo.network())
    assert len(built) == 2


def test_a_network_of_another_car_is_not_taken_for_this_one(folder: Path, built: list[Setting]) -> None:
    """Both files are ours and whole; only their names were exchanged."""
    other = demo.setting(demo.FROSTY)
    network_for(other)
    for suffix in (".bin", ".json"):
        (folder / f"{setting_key(other)}{suffix}").rename(folder / f"{setting_key(demo.setting())}{suffix}")
    network_for(demo.setting())
    assert len(built) == 2


def test_a_file_that_others_can_change_is_copied_before_it_is_checked(folder: Path, built: list[Setting]) -> None:
    network_for(demo.setting())
    flat = folder / f"{setting_key(demo.setting())}.bin"
    assert network_for(demo.setting()).mapped is not None
    flat.chmod(0o666)
    taken = network_for(demo.setting())
    assert len(built) == 1
    assert taken.mapped is None
    flat.write_bytes(b"\0" * flat.stat().st_size)
    assert_equal(taken, demo.network())


def test_the_key_is_drawn_once_and_only_its_owner_reads_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "deep" / "cache.key"
    monkeypatch.setenv("FAULTNET_KEY", str(place))
    first = seal("a", b"b")
    assert stat.S_IMODE(place.stat().st_mode) == 0o600
    assert [p.name for p in place.parent.iterdir()] == ["cache.key"]
    own_key.cache_clear()
    assert seal("a", b"b") == first
    assert seal("a", b"c") != first != seal("b", b"b")
    place.chmod(0o644)  # somebody may have read it
    own_key.cache_clear()
    assert seal("a", b"b") != first
    assert stat.S_IMODE(place.stat().st_mode) == 0o600
    place.write_bytes(b"short")
    own_key.cache_clear()
    assert len(own_key(place)) == 32 == place.stat().st_size


def test_without_a_place_for_the_key_a_process_has_its_own(tmp_path: Path) -> None:
    (tmp_path / "a_file").write_text("not a folder")
    place = tmp_path / "a_file" / "cache.key"
    assert len(own_key(place)) == 32
    kept = own_key(place)
    own_key.cache_clear()
    assert own_key(place) != kept


def test_a_missing_half_only_costs_time(folder: Path, built: list[Setting]) -> None:
    network_for(demo.setting())
    (folder / f"{setting_key(demo.setting())}.json").unlink()
    assert_equal(network_for(demo.setting()), demo.network())
    assert len(built) == 2


def test_a_place_that_cannot_be_written_only_costs_time(
    tmp_path: Path, built: list[Setting], monkeypatch: pytest.MonkeyPatch
) -> None:
    occupied = tmp_path / "a_file"
    occupied.write_text("not a folder")
    monkeypatch.setenv("FAULTNET_CACHE", str(occupied))
    assert_equal(network_for(demo.setting()), demo.network())
    assert len(built) == 1


def test_where_nothing_can_be_kept_the_numbers_lie_in_memory_as_in_the_file(
    folder: Path, tmp_path: Path, built: list[Setting], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else products add up in another order, and the last bit of an answer depends on the folder."""
    kept = network_for(demo.setting())
    monkeypatch.setenv("FAULTNET_CACHE", str(tmp_path / "none" / "below"))
    (tmp_path / "none").write_text("not a folder")
    alone = network_for(demo.setting())
    assert_equal(alone, kept)
    for name, node in kept.nodes.items():
        assert alone.nodes[name].table.strides == node.table.strides
        assert alone.nodes[name].table.dtype == node.table.dtype


def put_a_pipe(path: Path) -> None:
    os.mkfifo(path)


def put_a_device(path: Path) -> None:
    path.symlink_to("/dev/zero")


def put_a_folder(path: Path) -> None:
    path.mkdir()


@pytest.mark.parametrize("put", [put_a_pipe, put_a_device, put_a_folder])
def test_what_is_no_file_is_not_waited_for(
    folder: Path, built: list[Setting], put: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    network_for(demo.setting())
    monkeypatch.setattr(cache, "KEPT", 0)
    for path in list(folder.iterdir()):
        path.unlink()
        put(path)
    assert_equal(network_for(demo.setting()), demo.network())
    assert len(built) == 2
    assert len(KeptOrders(folder / "none")) == 0
    put(folder / ORDERS_FILE)
    KeptOrders(folder / ORDERS_FILE).keep("a", ((0, 1),))
    assert len(KeptOrders(folder / ORDERS_FILE)) == 0


def test_a_pipe_that_somebody_feeds_is_no_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    feeding = os.open(tmp_path / "pipe", os.O_RDWR)
    try:
        os.write(feeding, b"anything")
        for adding in (False, True):
            with pytest.raises(FileNotFoundError):
                open_kept(tmp_path / "pipe", adding=adding)
    finally:
        os.close(feeding)


def test_what_is_kept_goes_into_no_file_elsewhere(folder: Path, tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.write_text("mine")
    folder.mkdir()
    (folder / ORDERS_FILE).symlink_to(mine)
    KeptOrders(folder / ORDERS_FILE).keep("a", ((0, 1),))
    assert mine.read_text() == "mine"
    (folder / ORDERS_FILE).unlink()
    KeptOrders(folder / ORDERS_FILE).keep("a", ((0, 1),))
    assert KeptOrders(folder / ORDERS_FILE).get("a") == ((0, 1),)


def test_only_the_newest_are_kept(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "KEPT", 2)
    small = Network({c: demo.network().nodes[c] for c in demo.network().components})
    monkeypatch.setattr("faultnet.model.build.build_network", lambda setting: small)
    for degrees in (0.0, 5.0, 10.0, 15.0):
        network_for(demo.setting(Conditions(air_temperature=degrees)))
    assert len(list(folder.glob("*.bin"))) == 2
    assert len(list(folder.glob("*.json"))) == 2


def test_a_file_that_another_process_has_just_removed_is_no_trouble(
    folder: Path, built: list[Setting], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A link to nowhere is listed, and gone when it is looked at."""
    folder.mkdir()
    (folder / "gone.bin").symlink_to(folder / "nowhere")
    assert_equal(network_for(demo.setting()), demo.network())
    assert len(list(folder.glob("*.json"))) == 1


def test_the_key_follows_what_the_tables_hang_on_and_nothing_else() -> None:
    plain = demo.setting()
    older = Setting(replace(demo.CAR, battery=Battery(600.0, age=6.0)), demo.MILD, demo.catalogue())
    renamed = Setting(replace(demo.CAR, label="another name"), demo.MILD, demo.catalogue())
    assert setting_key(plain) == setting_key(demo.setting())
    assert setting_key(plain) == setting_key(renamed)
    assert setting_key(plain) != setting_key(older)
    assert setting_key(plain) != setting_key(demo.setting(demo.FROSTY))


def test_the_description_holds_no_table(folder: Path, built: list[Setting]) -> None:
    network_for(demo.setting())
    assert (folder / f"{setting_key(demo.setting())}.json").stat().st_size < 200_000
