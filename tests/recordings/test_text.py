"""Text logs: layouts, columns, units and times, read or asked for, never guessed."""

from __future__ import annotations

import gzip

import numpy as np
import pytest

from faultnet.errors import RecordingError
from faultnet.recordings import list_channels, read_recording
from faultnet.recordings.readers import text as text_module
from faultnet.recordings.readers.columns import choose_columns
from faultnet.recordings.readers.layout import find_layout

VOLTS = [12.6, 12.55, 9.8, 14.1]

SOUND = {
    "comma": "time_s,voltage_V\n0,12.6\n0.5,12.55\n1,9.8\n1.5,14.1\n",
    "semicolon and decimal comma": "Time (s);Battery voltage (V)\n0,0;12,6\n0,5;12,55\n1,0;9,8\n1,5;14,1\n",
    "tab": "t [s]\tU [V]\n0\t12.6\n0.5\t12.55\n1\t9.8\n1.5\t14.1\n",
    "blanks": "seconds volts\n0.0   12.6\n 0.5  12.55\n1.0 9.8\n1.5    14.1\n",
    "bar": "time_s|voltage_V\n0|12.6\n0.5|12.55\n1|9.8\n1.5|14.1\n",
    "other order": "volts;amps;time s\n12.6;1;0\n12.55;1;0.5\n9.8;150;1\n14.1;-20;1.5\n",
    "units row": "time,battery,current\nms,mV,A\n0,12600,1\n500,12550,1\n1000,9800,1\n1500,14100,1\n",
    "bracketed units row": "time;battery\n[ms];[mV]\n0;12600\n500;12550\n1000;9800\n1500;14100\n",
    "preamble": "Model;invented\nRate;2\n\n# made up\ntime s;volts\n0;12.6\n0.5;12.55\n1;9.8\n1.5;14.1\n",
    "commented names": "# time_s volts\n0 12.6\n0.5 12.55\n1 9.8\n1.5 14.1\n",
    "unit behind the number": "time;signal\n0 s;12.6 V\n0.5 s;12.55 V\n1 s;9.8 V\n1.5 s;14.1 V\n",
    "quoted": '"time s","volts"\n"0,0","12,6"\n"0,5","12,55"\n"1,0","9,8"\n"1,5","14,1"\n',
    "separator at the end": "time s;volts;\n0;12.6;\n0.5;12.55;\n1;9.8;\n1.5;14.1;\n",
    "carriage returns": "time s;volts\r\n0;12.6\r\n0.5;12.55\r\n1;9.8\r\n1.5;14.1\r\n",
    "old line ends": "time s;volts\r0;12.6\r0.5;12.55\r1;9.8\r1.5;14.1\r",
    "no last line end": "time s;volts\n0;12.6\n0.5;12.55\n1;9.8\n1.5;14.1",
    "exponents": "time s;volts\n0;1.26e1\n5e-1;1.255E+1\n1;9.8\n1.5;14.1\n",
    "time of day": "time,volts\n10:00:00.0,12.6\n10:00:00.5,12.55\n10:00:01.0,9.8\n10:00:01.5,14.1\n",
    "over midnight": "time,volts\n23:59:59.0,12.6\n23:59:59.5,12.55\n0:00:00.0,9.8\n0:00:00.5,14.1\n",
    "date and time": "time,volts\n2026-11-25 10:00:00,12.6\n2026-11-25T10:00:00.5,12.55\n"
    "2026-11-25 10:00:01,9.8\n2026-11-25 10:00:01.5,14.1\n",
    "day first": "time;volts\n31.12.2026 23:59:59,5;12,6\n01.01.2027 00:00:00,0;12,55\n"
    "01.01.2027 00:00:00,5;9,8\n01.01.2027 00:00:01,0;14,1\n",
    "two columns of date and time": "date;time;volts\n11/25/2026;23:59:59;12.6\n11/25/2026;23:59:59.5;12.55\n"
    "11/26/2026;0:00:00;9.8\n11/26/2026;0:00:00.5;14.1\n",
    "half past in letters": "time,volts\n11:59:59 AM,12.6\n11:59:59.5 AM,12.55\n12:00:00 PM,9.8\n12:00:00.5 PM,14.1\n",
    "time zone": "time,volts\n2026-11-25T10:00:00+01:00,12.6\n2026-11-25T10:00:00.5+01:00,12.55\n"
    "2026-11-25T09:00:01Z,9.8\n2026-11-25T09:00:01.5Z,14.1\n",
    "seconds since 1970": "timestamp s,volts\n1764064800.0,12.6\n1764064800.5,12.55\n"
    "1764064801.0,9.8\n1764064801.5,14.1\n",
}


@pytest.mark.parametrize("text", SOUND.values(), ids=SOUND.keys())
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_sound_layouts_give_the_same_samples(text: str, encoding: str) -> None:
    trace = read_recording(text.encode(encoding))
    assert trace.volts.tolist() == pytest.approx(VOLTS)
    assert trace.time.tolist() == pytest.approx([0.0, 0.5, 1.0, 1.5], abs=1e-6)


def test_a_volts_unit_that_was_inferred_is_said() -> None:
    trace = read_recording(b"time s;battery\n0;12600\n1;12590\n2;12600\n")
    assert trace.volts[0] == 12.6
    assert trace.repairs == ("the volts carry no unit; mV is the only one that fits their median, 12600",)


def test_each_number_is_read_in_the_unit_behind_it() -> None:
    trace = read_recording(b"time s;reading\n0;12.6 V\n0.5;980 mV\n1000 ms;12.5 V\n1.5;3 s\n2;12.4\n")
    assert trace.time.tolist() == pytest.approx([0.0, 0.5, 1.0, 2.0])
    assert trace.volts.tolist() == pytest.approx([12.6, 0.98, 12.5, 12.4])
    assert trace.repairs == (
        "2 numbers in another unit than the first of the column, read by the unit behind",
        "1 sample without a usable number left out",
    )


def test_a_column_that_begins_without_numbers_is_still_the_volts() -> None:
    begin = "".join(f"{0.1 * k:.1f};OL\n" for k in range(500))
    trace = read_recording(f"time s;volts V\n{begin}50.0;12.6\n50.1;12.5\n".encode())
    assert trace.volts.tolist() == [12.6, 12.5]
    assert trace.repairs == ("500 samples without a usable number left out",)
    with pytest.raises(RecordingError, match=r"no number in the first rows.*volts_unit"):
        read_recording(f"time s;battery\n{begin}50.0;12.6\n".encode())


def test_columns_behind_empty_ones_are_read_when_named() -> None:
    head = "Record Length,200,,0.0,12.6\nInterval,1E-1,,0.1,12.5\nScale,2.0,,0.2,12.6\n"
    rest = "".join(f",,,{0.1 * k:.1f},12.5\n" for k in range(3, 100))
    trace = read_recording((head + rest).encode(), time_column=4, volts_column=5, time_unit="s", volts_unit="V")
    assert trace.time.size == 100
    assert trace.volts[:3].tolist() == [12.6, 12.5, 12.6]


def test_commas_that_part_decimals_and_columns_are_named_as_the_likely_cause() -> None:
    with pytest.raises(RecordingError, match=r"rows of 4 cells under a line of 2.*another separator"):
        read_recording(b"time s,volts\n0,0,12,6\n0,5,12,5\n1,0,12,6\n")


def test_a_text_whose_first_word_is_date_is_no_can_log() -> None:
    trace = read_recording(b"date time,volts\n2026-11-25 10:00:00,12.6\n2026-11-25 10:00:01,12.5\n")
    assert trace.volts.tolist() == [12.6, 12.5]


@pytest.mark.parametrize("sign, said", [("-", "leads swapped"), ("2", "too much for a 12 V system")])
def test_volts_that_are_not_of_a_12_v_system_are_doubted_and_left_alone(sign: str, said: str) -> None:
    trace = read_recording(f"time s;volts V\n0;{sign}5.1\n1;{sign}5.2\n2;{sign}5.2\n".encode())
    assert trace.volts.tolist() == [float(f"{sign}5.1"), float(f"{sign}5.2"), float(f"{sign}5.2")]
    assert said in trace.repairs[0]


UNCLEAR = {
    "time unit": (b"time;volts\n0;12.6\n0.1;12.5\n", "time_unit"),
    "no names": (b"0;12.6\n0.1;12.5\n", "time_column"),
    "two volts": (b"time s;front V;rear V\n0;12.6;12.5\n1;12.6;12.5\n", "volts_column"),
    "two times": (b"time s;time ms;volts\n0;0;12.6\n1;1000;12.5\n", "time_column"),
    "no time": (b"volts\n12.6\n12.5\n", "interval"),
    "volts unit": (b"time s;battery\n0;126\n1;125\n", "volts_unit"),
    "thousands": (b"time s;battery mV\n1,000;12,600\n2,000;12,590\n", "decimal"),
    "day or month": (b"time;volts\n01/02/2026 10:00:00;12.6\n02/02/2026 10:00:00;12.5\n", "day_first"),
    "two parts": (b"time;volts\n10:00;12.6\n10:01;12.5\n", "h:m"),
}


@pytest.mark.parametrize("content, option", UNCLEAR.values(), ids=UNCLEAR.keys())
def test_what_is_unclear_is_asked_by_the_name_of_the_option(content: bytes, option: str) -> None:
    with pytest.raises(RecordingError) as caught:
        read_recording(content)
    assert option in str(caught.value.to_do)


ANSWERED = [
    (UNCLEAR["time unit"][0], {"time_unit": "ms"}, [0.0, 1e-4]),
    (UNCLEAR["no names"][0], {"time_column": 1, "volts_column": "2", "time_unit": "s"}, [0.0, 0.1]),
    (UNCLEAR["two volts"][0], {"volts_column": "rear V"}, [0.0, 1.0]),
    (UNCLEAR["two times"][0], {"time_column": "TIME MS"}, [0.0, 1.0]),
    (UNCLEAR["no time"][0], {"interval": 0.25}, [0.0, 0.25]),
    (UNCLEAR["thousands"][0], {"decimal": ",", "volts_unit": "V"}, [0.0, 1.0]),
    (UNCLEAR["day or month"][0], {"time_unit": "day_first"}, [0.0, 86400.0]),
    (UNCLEAR["day or month"][0], {"time_unit": "month_first"}, [0.0, 31 * 86400.0]),
    (UNCLEAR["two parts"][0], {"time_unit": "h:m"}, [0.0, 60.0]),
    (UNCLEAR["two parts"][0], {"time_unit": "m:s"}, [0.0, 1.0]),
]


@pytest.mark.parametrize("content, options, times", ANSWERED)
def test_the_option_settles_it(content: bytes, options: dict[str, object], times: list[float]) -> None:
    trace = read_recording(content, **options)  # type: ignore[arg-type]
    assert trace.time.tolist() == pytest.approx(times)


@pytest.mark.parametrize(
    "options",
    [{"volts_column": "nothing"}, {"volts_column": 9}, {"decimal": "'"}, {"separator": "ab"}, {"interval": -1.0}],
)
def test_options_that_cannot_be_meant_are_refused(options: dict[str, object]) -> None:
    with pytest.raises(RecordingError):
        read_recording(SOUND["comma"].encode(), **options)  # type: ignore[arg-type]


def test_damage_is_counted_and_the_rest_kept() -> None:
    rows = [f"{k / 10};12.{k % 10}" for k in range(50)]
    rows[3] = "0.3;oops"
    rows[4] = "0.4;1;2;3"
    rows[7] = "0.7;OL"
    rows[9] = "0.9"
    trace = read_recording(("time s;voltage V\n" + "\n".join(rows)).encode())
    assert trace.time.size == 46
    assert trace.repairs == (
        "1 row with another number of cells than the rest left out",
        "3 samples without a usable number left out",
    )


def test_damage_before_the_longest_run_does_not_lose_the_names_or_the_rows() -> None:
    rows = [f"{k / 10};12.{k % 10}" for k in range(50)]
    rows[5] = "0.5;12#6"
    trace = read_recording(("time s;voltage V\n" + "\n".join(rows)).encode())
    assert trace.time.size == 49
    assert trace.time[0] == 0.0
    assert "1 sample without a usable number left out" in trace.repairs


def test_a_shifted_row_is_not_read_as_another_column() -> None:
    """Two rows whose separators add up must not pass as two sound rows."""
    text = "time s,voltage V\n0.0,12.6\n1,0,12.5\n2.0\n3.0,12.4\n"
    trace = read_recording(text.encode())
    assert trace.volts.tolist() == [12.6, 12.4]


@pytest.mark.parametrize("content", [b"", b"\n\n\n", b"hello\nworld\n", bytes(range(256)) * 9, b"time s;volts\n"])
def test_no_data_is_an_error_with_something_to_do(content: bytes) -> None:
    with pytest.raises(RecordingError) as caught:
        read_recording(content)
    assert caught.value.to_do


def test_a_missing_file_is_an_error_without_a_traceback() -> None:
    with pytest.raises(RecordingError, match="cannot be opened"):
        read_recording("no/such/file.csv")


def test_the_fast_way_and_the_careful_way_give_the_same() -> None:
    rng = np.random.default_rng(2)
    lines = [f"{k * 0.01:.2f};{v:.3f}" for k, v in enumerate(rng.normal(12.6, 1.0, 500))]
    layout = find_layout(["time_s;voltage_V", *lines])
    columns = choose_columns(layout)
    body = "\n".join(lines) + "\n"
    assert text_module._even(body, layout)
    fast = text_module._parse_even(body, layout, columns)
    careful = text_module._parse_rows(body, layout, columns, text_module.TextCount())
    np.testing.assert_array_equal(fast[0], careful[0])
    np.testing.assert_array_equal(fast[1], careful[1])


def test_long_files_take_the_fast_way(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object) -> None:
        raise AssertionError("the careful way was taken for sound rows")

    monkeypatch.setattr(text_module, "_parse_rows", never)
    assert read_recording(SOUND["comma"].encode()).volts.tolist() == VOLTS


@pytest.mark.parametrize("size", [7, 64, 1000])
def test_blocks_may_end_anywhere(size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same samples come out whatever the block size, line ends and packing."""
    import faultnet.recordings.readers.sources as sources

    monkeypatch.setattr(sources.read_blocks, "__defaults__", (size, sources.CONTENT))
    text = "time s;volts\r\n" + "".join(f"{k / 10:.1f};{12 + k / 1000:.3f}\r\n" for k in range(300))
    for content in (text.encode(), gzip.compress(text.encode())):
        trace = read_recording(content)
        assert trace.volts.tolist() == pytest.approx([12 + k / 1000 for k in range(300)])


def test_a_truncated_gzip_keeps_what_came_before_and_says_so() -> None:
    rng = np.random.default_rng(0)
    text = "time s;volts\n" + "".join(f"{k / 10:.1f};{v:.6f}\n" for k, v in enumerate(rng.normal(12, 1, 5000)))
    packed = gzip.compress(text.encode())
    whole, half = read_recording(packed), read_recording(packed[: len(packed) // 2])
    assert 2000 < half.time.size < whole.time.size
    np.testing.assert_array_equal(half.volts[:-1], whole.volts[: half.volts.size - 1])
    assert any("ends early" in repair for repair in half.repairs)


def test_a_damaged_gzip_keeps_what_came_before_and_says_so() -> None:
    rng = np.random.default_rng(0)
    text = "time s;volts\n" + "".join(f"{k / 10:.1f};{v:.6f}\n" for k, v in enumerate(rng.normal(12, 1, 5000)))
    packed = bytearray(gzip.compress(text.encode()))
    packed[-8] ^= 1  # the check sum: the content may be whole, and nothing says that it is
    most = read_recording(bytes(packed))
    assert most.time.size > 4500
    np.testing.assert_array_equal(most.volts[:4500], read_recording(text.encode()).volts[:4500])
    assert any("gzip stream is damaged" in repair for repair in most.repairs)


def test_columns_can_be_listed() -> None:
    assert list_channels(SOUND["other order"].encode()) == ("volts", "amps", "time s")


def test_blank_lines_are_no_loss() -> None:
    trace = read_recording(b"time s;volts\n0;12.6\n\n1;12.5\n\n\n2;12.4\n\n")
    assert trace.volts.tolist() == [12.6, 12.5, 12.4]
    assert trace.repairs == ()
