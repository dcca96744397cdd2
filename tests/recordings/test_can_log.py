"""CAN logs: the formula of PID 42, modules apart, and round trips through python-can."""

from __future__ import annotations

import gzip
import io
import tempfile

import numpy as np
import pytest

from faultnet.errors import RecordingError
from faultnet.recordings import Trace, list_channels, read_recording
from faultnet.recordings.readers.can_log import decode_voltage, library_frames
from faultnet.recordings.synthetic.generate import can_library_bytes, candump_of


def trace(shift: float = 0.0) -> Trace:
    """A short module voltage, in whole millivolts."""
    time = np.arange(40) * 0.2 + shift
    return Trace(time, np.round(12.6 - 0.01 * np.arange(40), 3), "module")


@pytest.mark.parametrize(
    "frame, volts",
    [
        ("0441420000", 0.0),
        ("044142FFFF", 65.535),
        ("0441423138", 12.600),
        ("0441422D55AAAAAA", 11.605),
        ("06410D00423138", 12.600),
        ("0641423138050A", 12.600),
        ("07410C1AF8423138", 12.600),
    ],
)
def test_voltage_of_service_01_pid_42(frame: str, volts: float) -> None:
    """V = (256 A + B) / 1000: SAE J1979, service 01, PID 42 (secondary sources: a public forum and an ECU table)."""
    assert decode_voltage(0x7E8, bytes.fromhex(frame)) == pytest.approx(volts, abs=1e-12)


@pytest.mark.parametrize(
    "identifier, frame",
    [
        (0x7DF, "020142"),  # a question
        (0x7E0, "0441423138"),  # not the identifier of an answer
        (0x7E8, "0341423138"),  # too short a length for two bytes
        (0x7E8, "0441053138"),  # another PID whose value looks alike
        (0x7E8, "037F0112"),  # a refusal
        (0x7E8, "1014414231384300"),  # the first of several frames
        (0x7E8, "0441"),
        (0x7E8, ""),
    ],
)
def test_what_is_no_answer_gives_nothing(identifier: int, frame: str) -> None:
    assert decode_voltage(identifier, bytes.fromhex(frame)) is None


def test_long_identifiers_are_answers_too() -> None:
    """ISO 15765-4: answers on 18DAF1xx (from memory)."""
    assert decode_voltage(0x18DAF110, bytes.fromhex("0441423138")) == 12.6


@pytest.mark.parametrize("missing", [8, 50, 100])
def test_a_blf_log_that_was_cut_off_says_so(missing: int) -> None:
    """python-can reads what is there and says nothing."""
    content = can_library_bytes({0x7E8: trace()}, "blf")
    read = read_recording(content[:-missing])
    assert any("ends early" in repair for repair in read.repairs)
    assert read_recording(content).repairs == ()


@pytest.mark.parametrize("kind", ["asc", "blf", "trc", "can_csv"])
def test_round_trip_through_python_can(kind: str) -> None:
    """Written by python-can, found by content, read back to the millivolt."""
    read = read_recording(can_library_bytes({0x7E8: trace()}, kind))
    np.testing.assert_array_equal(read.volts, trace().volts)
    np.testing.assert_allclose(read.time, trace().time, atol=2e-3)
    assert read.name.endswith("module 7E8")


def test_candump_agrees_with_python_can() -> None:
    """The same frames through our own reader of candump text and through python-can's writer and reader."""
    ours = read_recording(candump_of({0x7E9: trace()}))
    theirs = read_recording(can_library_bytes({0x7E9: trace()}, "asc"))
    np.testing.assert_array_equal(ours.volts, theirs.volts)
    np.testing.assert_allclose(ours.time, theirs.time, atol=1e-5)


def test_the_console_form_of_candump() -> None:
    text = b" (010.100000)  can0  7E8   [8]  04 41 42 31 38 AA AA AA\n (010.300000)  can0  7E8   [5]  04 41 42 31 37\n"
    read = read_recording(text)
    assert read.volts.tolist() == [12.6, 12.599]
    assert read.time.tolist() == pytest.approx([0.0, 0.2])


def test_modules_are_kept_apart() -> None:
    second = Trace(trace().time + 0.05, trace().volts - 0.2, "second")
    content = candump_of({0x7E8: trace(), 0x7EA: second})
    assert list_channels(content) == ("7E8", "7EA")
    with pytest.raises(RecordingError, match="several modules") as caught:
        read_recording(content)
    assert "channel" in str(caught.value.to_do)
    np.testing.assert_array_equal(read_recording(content, channel="7E8").volts, trace().volts)
    np.testing.assert_allclose(read_recording(content, channel="0x7ea").volts, second.volts, atol=5e-4)
    with pytest.raises(RecordingError, match="no such module"):
        read_recording(content, channel="7EF")


def test_a_log_without_answers_says_what_to_record() -> None:
    with pytest.raises(RecordingError, match="no module voltage"):
        read_recording(b"(1.0) can0 7DF#020142\n(1.1) can0 123#00\n")


def test_lines_that_are_no_frame_are_counted() -> None:
    content = candump_of({0x7E8: trace()}).replace(b"can0 7E8#044142310A000000\n", b"garbage\n")
    lines = content.split(b"\n")
    lines[5] = b"# hand-written remark"
    read = read_recording(b"\n".join(lines))
    assert any("no CAN frame" in repair for repair in read.repairs)
    assert read.volts.size == 39


def test_a_damaged_log_keeps_what_came_before() -> None:
    content = can_library_bytes({0x7E8: trace()}, "can_csv")
    lines = content.split(b"\n")
    lines[20] = b"1700000004.0,0x7e8,0,0,0,8,not base 64"
    read = read_recording(b"\n".join(lines))
    np.testing.assert_array_equal(read.volts, trace().volts[:19])
    assert any("damaged after 19 frames" in repair for repair in read.repairs)


def test_an_object_without_a_length_does_not_hang() -> None:
    """python-can 4.6 reads a BLF object of length 0 for ever; the log is refused before."""
    content = can_library_bytes({0x7E8: trace()}, "blf")
    at = content.index(b"LOBJ")
    broken = content[: at + 8] + bytes(4) + content[at + 12 :]
    with pytest.raises(RecordingError, match="cannot be read"):
        read_recording(broken)


@pytest.mark.parametrize("kind", ["asc", "blf", "trc", "can_csv"])
def test_a_log_is_read_frame_by_frame_packed_or_not(kind: str) -> None:
    """After the first frame hardly more of the log than a portion has been taken; all come out in the end."""
    long = Trace(np.arange(20_000) * 0.01, np.round(12.6 - 1e-5 * np.arange(20_000), 3), "long")
    content = can_library_bytes({0x7E8: long}, kind)
    stream = io.BytesIO(gzip.compress(content))
    frames = library_frames(stream, kind, [])
    next(frames)
    if kind != "blf":  # whose objects are walked over beforehand
        assert stream.tell() < len(stream.getvalue()) / 2
    assert 1 + sum(1 for _ in frames) == 20_000
    np.testing.assert_array_equal(read_recording(gzip.compress(content)).volts, long.volts)


@pytest.mark.parametrize("length", [0, 15, 0xFFFFFFFF])
def test_an_object_whose_length_cannot_be_is_refused(length: int) -> None:
    """A container without a length would be read for ever, one of 4 GB would be waited for."""
    content = bytearray(can_library_bytes({0x7E8: trace()}, "blf"))
    place = content.index(b"LOBJ")
    content[place + 8 : place + 12] = length.to_bytes(4, "little")
    with pytest.raises(RecordingError, match="cannot be read"):
        read_recording(bytes(content))


def test_many_modules_are_counted_and_only_the_wanted_one_is_kept() -> None:
    second = Trace(trace().time + 0.05, trace().volts - 0.2, "second")
    with pytest.raises(RecordingError) as caught:
        read_recording(candump_of({0x7E8: trace(), 0x7EA: second}), channel="7EF")
    assert "7E8 (40 values), 7EA (40 values)" in str(caught.value)


@pytest.mark.parametrize("kind", ["asc", "blf", "trc", "can_csv"])
def test_what_a_library_writes_does_not_name_the_folder_it_was_written_in(kind: str) -> None:
    assert tempfile.gettempdir().encode() not in can_library_bytes({0x7E8: trace()}, kind)
