"""ASAM MDF 4: round trips through asammdf."""

from __future__ import annotations

import builtins
import contextlib
import gzip
import tempfile
import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from faultnet.errors import MissingExtraError, RecordingError
from faultnet.recordings import Trace, list_channels, read_recording
from faultnet.recordings.readers import mdf as mdf_module
from faultnet.recordings.synthetic.generate import mdf_of


def trace(level: float = 12.6) -> Trace:
    """A short recording."""
    time = np.arange(500) * 0.002
    return Trace(time, level - 0.001 * np.arange(500), "bench")


@pytest.mark.parametrize("unit", ["V", "mV"])
def test_round_trip_through_asammdf(unit: str) -> None:
    read = read_recording(mdf_of({"U_battery": (trace(), unit)}))
    np.testing.assert_allclose(read.volts, trace().volts, atol=1e-12)
    np.testing.assert_allclose(read.time, trace().time, atol=1e-12)


def test_packed_once_more() -> None:
    read = read_recording(gzip.compress(mdf_of({"U_battery": (trace(), "V")})))
    assert read.volts.size == 500


def test_reading_in_pieces_gives_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mdf_module, "RECORDS", 64)
    read = read_recording(mdf_of({"U_battery": (trace(), "V")}))
    np.testing.assert_allclose(read.volts, trace().volts, atol=1e-12)


def test_several_voltages_are_asked_and_answered() -> None:
    content = mdf_of({"U_battery": (trace(), "V"), "U_module": (trace(12.4), "V"), "I_battery": (trace(1.0), "A")})
    assert [label.split(" ")[0] for label in list_channels(content)] == ["U_battery", "U_module", "I_battery"]
    with pytest.raises(RecordingError, match="several channels") as caught:
        read_recording(content)
    assert "channel" in str(caught.value.to_do)
    assert read_recording(content, channel="U_module").volts[0] == pytest.approx(12.4)
    with pytest.raises(RecordingError, match="no such voltage channel"):
        read_recording(content, channel="U_none")


def test_a_channel_without_a_unit_is_asked() -> None:
    content = mdf_of({"voltage": (trace(), "")})
    with pytest.raises(RecordingError, match="unit of the volts") as caught:
        read_recording(content)
    assert "volts_unit" in str(caught.value.to_do)
    assert read_recording(content, volts_unit="V").volts[0] == pytest.approx(12.6)


@pytest.mark.parametrize("keep", [30, 100, 500, 900])
def test_a_truncated_file_is_an_error_and_leaves_nothing_on_the_screen(
    keep: int, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(RecordingError, match=r"measurement file|channel"):
        read_recording(mdf_of({"U_battery": (trace(), "V")})[:keep])
    assert capsys.readouterr() == ("", "")


def test_a_channel_that_lost_its_name_leaves_nothing_on_the_screen(capsys: pytest.CaptureFixture[str]) -> None:
    """asammdf 8.8 prints such a channel while it is read."""
    content = mdf_of({"U_battery": (trace(), "V")}).replace(b"U_battery", bytes(9))
    with contextlib.suppress(RecordingError):
        read_recording(content)
    assert capsys.readouterr() == ("", "")


def test_without_asammdf_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name.startswith(("asammdf", "can")):
            raise ImportError(name)
        return real(name, *rest)

    content = mdf_of({"U_battery": (trace(), "V")})
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(MissingExtraError, match=r"faultnet\[mdf\]"):
        read_recording(content)
    with pytest.raises(MissingExtraError, match=r"faultnet\[can\]"):
        read_recording(b"LOGG" + bytes(200))


def test_a_file_too_large_for_memory_is_read_from_the_disk_and_leaves_nothing_there(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The same samples come out in pieces of 100 records, packed or not, and the temporary file is gone."""
    monkeypatch.setattr(mdf_module, "IN_MEMORY", 100)
    monkeypatch.setattr(mdf_module, "RECORDS", 100)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    content = mdf_of({"U_battery": (trace(), "V")})
    for source in (content, gzip.compress(content)):
        np.testing.assert_allclose(read_recording(source).volts, trace().volts, atol=1e-12)
    with pytest.raises(RecordingError):
        read_recording(content[: len(content) // 2])
    assert list(tmp_path.iterdir()) == []


def test_a_damaged_file_is_named_with_its_version_and_in_words() -> None:
    with pytest.raises(RecordingError, match=r"version 3\.30, damaged, cut off or of a kind not known here"):
        read_recording(b"MDF     3.30    " + bytes(200))


def test_a_record_of_a_claimed_gigabyte_is_refused_before_room_is_made_for_it() -> None:
    """Bytes 96 to 100 of a channel group's block are the length of its records (ASAM MDF 4.1, from memory)."""
    trace = Trace(np.arange(20) * 0.1, np.full(20, 12.6), "seed")
    content = bytearray(mdf_of({"U_battery": (trace, "V")}))
    place = content.rindex(b"##CG") + 96
    assert content[place : place + 4] == (16).to_bytes(4, "little")
    content[place : place + 4] = (2**30).to_bytes(4, "little")
    tracemalloc.start()
    with pytest.raises(RecordingError, match="damaged"):
        read_recording(bytes(content))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 100e6


@pytest.mark.parametrize("kind", [b"##CG", b"##CN", b"##DG", b"##FH"])
def test_blocks_that_lead_in_a_circle_are_refused(kind: bytes) -> None:
    """Bytes 24 to 32 of a block link to the next of its list (ASAM MDF 4.1, from memory); asammdf follows them on."""
    trace = Trace(np.arange(20) * 0.1, np.full(20, 12.6), "seed")
    content = bytearray(mdf_of({"U_battery": (trace, "V")}))
    place = content.index(kind)
    content[place + 24 : place + 32] = place.to_bytes(8, "little")
    with pytest.raises(RecordingError, match=r"version 4\.\d+, damaged"):
        read_recording(bytes(content))
