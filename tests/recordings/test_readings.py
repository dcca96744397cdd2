"""Readings from events, and the picture."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest

from faultnet.errors import RecordingError
from faultnet.recordings import Rest, Start, Trace, draw_trace, find_events, read_recording, readings_from
from faultnet.recordings.generate import SEED, write_examples
from faultnet.recordings.picture import steps_between
from faultnet.recordings.simulation import simulate_log

EXAMPLES = Path(__file__).parents[2] / "cases" / "recordings"


def good_start() -> Trace:
    """Rest, a start with a first dip and ripple, charging."""
    time = np.arange(0, 20, 0.005)
    crank = (time >= 5) & (time < 6.2)
    volts = np.where(time < 5, 12.6, 14.2)
    volts = np.where(crank, 11.0 + 0.2 * np.sin(2 * np.pi * 7 * time), volts)
    return Trace(time, np.where((time >= 5) & (time < 5.03), 9.0, volts), "good start")


def test_readings_of_a_good_start() -> None:
    rows = {row["test"]: row for row in readings_from(find_events(good_start()))}
    assert rows["rest_voltage"]["value"] == pytest.approx(12.6)
    assert rows["recorded_lowest"]["value"] == pytest.approx(9.0)
    assert rows["crank_sustained"]["value"] == pytest.approx(11.0, abs=0.03)
    assert rows["charge_running_voltage"]["value"] == pytest.approx(14.2)
    assert rows["cranking_speed"]["value"] == pytest.approx(210, abs=5)
    lowest = rows["recorded_lowest"]
    assert lowest["low"] <= lowest["value"] <= lowest["high"] + 0.01
    assert lowest["interval"] == pytest.approx(0.005)
    assert {row["instrument"] for row in rows.values()} == {"recorder"}
    assert {row["offset"] for row in rows.values()} == {0.0}


def test_every_row_has_what_a_likelihood_needs() -> None:
    for seed in range(6):
        events = find_events(simulate_log(np.random.default_rng(seed), 0.05).trace)
        for row in readings_from(events, "module", window=0.02):
            assert np.isfinite(row["value"])
            assert row["note"]
            assert row["window"] == 0.02
            assert row["begin"] <= row["end"]
            assert row["offset_spread"] >= 0


def test_the_module_is_corrected_when_the_posts_were_read_at_rest_and_wide_otherwise() -> None:
    events = [Rest(begin=0, end=30, interval=0.2, level=12.4, slope=0)]
    (wide,) = readings_from(events, "module")
    (compared,) = readings_from(events, "module", posts_at_rest=12.62)
    assert (wide["offset"], wide["offset_spread"]) == (-0.15, 0.10)
    assert compared["offset"] == pytest.approx(-0.22)
    assert compared["offset_spread"] < wide["offset_spread"]
    assert wide["value"] == compared["value"] == 12.4


def test_a_comparison_without_a_rest_is_refused() -> None:
    with pytest.raises(RecordingError, match="cannot be compared"):
        readings_from([], "module", posts_at_rest=12.6)
    with pytest.raises(RecordingError, match="unknown place"):
        readings_from([], "boot")  # type: ignore[arg-type]


def test_a_tried_start_gives_no_sustained_level() -> None:
    tried = Start(
        begin=1, end=1.2, interval=0.01, outcome="tried", rest_before=12.4, lowest=7.6, lowest_steady=7.6,
        lowest_time=1.1, sustained=7.7,
    )  # fmt: skip
    assert [row["test"] for row in readings_from([tried])] == ["recorded_lowest"]


def parsed(svg: str) -> ElementTree.Element:
    """The picture as XML, which fails on anything malformed."""
    return ElementTree.fromstring(svg)


def test_the_picture_marks_what_was_found() -> None:
    trace = good_start()
    svg = draw_trace(trace, find_events(trace))
    words = " ".join(parsed(svg).itertext())
    assert "start 1: good" in words
    assert "9.00 V" in words
    assert "charging 14.20 V" in words
    assert "time [s]" in words


def test_the_picture_shows_the_dip_at_its_height() -> None:
    """The band of the trace reaches down to the lowest sample: one column of pixels at 9.0 V, none below."""
    trace = good_start()
    path = next(node for node in parsed(draw_trace(trace)).iter() if node.get("stroke-linejoin"))
    heights = [float(point.split(" ")[1].rstrip("Z")) for point in str(path.get("d"))[1:].split("L")]
    margin = 0.08 * (14.2 - 9.0)
    bottom = 34.0 + (14.2 + margin - 9.0) / (14.2 - 9.0 + 2 * margin) * (320 - 34 - 40)
    assert max(heights) == pytest.approx(bottom, abs=0.06)


def test_a_single_low_sample_among_a_million_is_drawn() -> None:
    volts = np.full(1_000_000, 12.6)
    volts[[333_333, 500_000]] = 8.0, 15.0
    svg = draw_trace(Trace(np.arange(1_000_000) * 1e-4, volts, "spikes"))
    path = next(node for node in parsed(svg).iter() if node.get("stroke-linejoin"))
    heights = [float(point.split(" ")[1].rstrip("Z")) for point in str(path.get("d"))[1:].split("L")]
    per_volt = (320 - 34 - 40) / (7.0 * 1.16)
    assert max(heights) - min(heights) == pytest.approx(7.0 * per_volt, abs=0.2)


def test_a_name_cannot_break_the_picture() -> None:
    trace = Trace(np.arange(3.0), np.array([12.0, 12.5, 12.1]), "<script>&\"'.csv")
    assert parsed(draw_trace(trace)) is not None


def test_a_part_of_the_trace_can_be_shown() -> None:
    trace = good_start()
    label = parsed(draw_trace(trace, begin=4.0, end=7.0)).get("aria-label")
    assert "over 3.0 s" in str(label)
    with pytest.raises(RecordingError):
        draw_trace(trace, begin=100.0)
    with pytest.raises(RecordingError):
        draw_trace(trace, width=10)


def test_a_million_samples_make_a_small_picture() -> None:
    trace = Trace(np.arange(1_000_000) * 1e-4, 12.6 + 0.01 * np.sin(np.arange(1_000_000)), "long")
    svg = draw_trace(trace, find_events(trace))
    assert parsed(svg) is not None
    assert len(svg) < 60_000


@pytest.mark.parametrize("least, most", [(0.0, 1.0), (7.8, 14.6), (0.0, 36000.0), (12.59, 12.61), (-0.3, 0.3)])
def test_marks_of_an_axis_lie_inside_and_are_evenly_spaced(least: float, most: float) -> None:
    marks = steps_between(least, most, 6)
    assert 2 <= len(marks) <= 13
    assert least - 1e-9 <= min(marks)
    assert max(marks) <= most + 1e-9
    np.testing.assert_allclose(np.diff(marks), marks[1] - marks[0])


def read_example(path: Path) -> Trace:
    """Read one example, choosing a module where there are two."""
    return read_recording(path, channel="7E8" if path.name == "modules.log" else None)


def test_the_examples_are_what_the_generator_writes(tmp_path: Path) -> None:
    written = write_examples(tmp_path, SEED)
    assert {path.name for path in written} == {path.name for path in EXAMPLES.iterdir()}
    for path in written:
        if path.suffix == ".md":
            assert path.read_text(encoding="utf-8") == (EXAMPLES / path.name).read_text(encoding="utf-8")
            continue
        ours, theirs = read_example(path), read_example(EXAMPLES / path.name)
        np.testing.assert_array_equal(ours.volts, theirs.volts)
        np.testing.assert_allclose(ours.time, theirs.time, atol=1e-9)


def test_the_same_recording_in_every_format_gives_the_same_events() -> None:
    names = ("adapter.tsv", "modules.log", "module.asc", "module.blf", "module.trc", "module_can.csv")
    found = [
        [(event.kind, round(event.begin, 1)) for event in find_events(read_example(EXAMPLES / name))] for name in names
    ]
    assert all(events == found[0] for events in found)
    assert ("start", found[0][1][1]) in found[0]


def test_no_example_needed_a_repair() -> None:
    for path in EXAMPLES.iterdir():
        if path.suffix != ".md":
            assert read_example(path).repairs == ()
