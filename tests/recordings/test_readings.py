"""Readings from events, and the picture."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from faultnet.case.file import case_from_json
from faultnet.case.plain import entry_fields
from faultnet.diagnosis.diagnose import work_through
from faultnet.diagnosis.evidence import check_reading
from faultnet.errors import RecordingError
from faultnet.prior_set import load_catalogue
from faultnet.recordings import (
    Charging,
    Decline,
    Rest,
    Start,
    Trace,
    draw_trace,
    entry_of,
    find_events,
    not_offered,
    read_recording,
    readings_from,
)
from faultnet.recordings.events.readings import Engine, Place
from faultnet.recordings.picture import steps_between
from faultnet.recordings.synthetic.generate import SEED, write_examples
from faultnet.recordings.synthetic.simulate import simulate_log

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
    assert rows["recorded_sustained"]["value"] == pytest.approx(11.0, abs=0.03)
    assert rows["charge_idle_voltage"]["value"] == pytest.approx(14.2)
    assert rows["cranking_speed"]["value"] == pytest.approx(210, abs=5)
    lowest = rows["recorded_lowest"]
    assert lowest["low"] <= lowest["value"] <= lowest["high"] + 0.01
    assert lowest["interval"] == pytest.approx(0.005)
    assert {row["offset"] for row in rows.values()} == {0.0}
    instruments = {name: row["instrument"] for name, row in rows.items()}
    assert (instruments["recorded_lowest"], instruments["recorded_sustained"]) == ("recorder", "recorder")


@pytest.mark.parametrize("engine, test", [("idle", "idle"), ("unloaded", "unloaded"), ("hot", "hot")])
def test_a_charging_level_is_taken_as_what_the_engine_did(engine: Engine, test: str) -> None:
    (row,) = readings_from([Charging(begin=0, end=9, interval=0.2, level=14.2, lowest=14, highest=14.3)], engine=engine)
    assert row["test"] == f"charge_{test}_voltage"
    assert "log cannot tell" in row["note"]
    assert entry_of(row, "charge_loaded_voltage").test == "charge_loaded_voltage"
    with pytest.raises(RecordingError, match="may not be taken"):
        entry_of(row, "rest_voltage")


def examples_and_places() -> list[tuple[str, str]]:
    """Every example in every place."""
    names = sorted(path.name for path in EXAMPLES.iterdir() if path.suffix != ".md")
    return [(name, place) for name in names for place in get_args(Place)]


@pytest.mark.parametrize("name, place", examples_and_places())
def test_every_reading_of_the_examples_is_one_the_catalogue_takes(name: str, place: Place) -> None:
    """Known test, plausible value, an instrument allowed for it and at that place; as every test it may be taken as."""
    catalogue = load_catalogue()
    events = find_events(read_example(EXAMPLES / name))
    rests = [event.level for event in events if isinstance(event, Rest)]
    compared = [None, rests[0] + 0.1] if place == "module" and rests else [None]
    for posts in compared:
        rows = readings_from(events, place, posts_at_rest=posts, catalogue=catalogue)
        assert rows or place == "module"
        for row in rows:
            for test in row["may_be"]:
                entry = entry_of(row, test)
                check_reading(catalogue, entry, name)
                assert entry.instrument in catalogue.test(test).instruments
                assert catalogue.instrument(str(entry.instrument)).place in ("-", row["place"])
                assert entry.value == pytest.approx(row["value"], abs=1e-4)
        starts = [event for event in events if isinstance(event, Start)]
        assert len(starts) == sum("low" in row for row in rows) or (not_offered(events, rows) and place == "module")


@pytest.mark.parametrize("name, place", [("scope.csv", "posts"), ("adapter.tsv", "module"), ("overnight.csv", "posts")])
def test_a_case_with_every_offered_reading_is_diagnosed(name: str, place: Place) -> None:
    """From file to beliefs: the readings written into a case file, read back, accepted, and each of them weighed."""
    catalogue = load_catalogue()
    events = find_events(read_example(EXAMPLES / name))
    rests = [event.level for event in events if isinstance(event, Rest)]
    rows = readings_from(events, place, posts_at_rest=rests[0] + 0.12 if place == "module" else None)
    assert rows
    entries = [entry_fields(entry_of(row)) for row in rows]
    visit = {"conditions": {"air_temperature": 15}, "entries": entries}
    head = {"format": "faultnet-case", "version": 1, "car": {"battery": {"rating": 640, "standard": "EN"}}}
    case = case_from_json(json.dumps({**head, "visits": [visit]}))
    assert [entry.value for entry in case.visits[0].entries] == [round(row["value"], 4) for row in rows]  # type: ignore[union-attr]
    worked = work_through(case, catalogue)
    assert {entry.test for entry in case.visits[0].entries} == {row["test"] for row in rows}  # type: ignore[union-attr]
    bare = work_through(replace(case, visits=(replace(case.visits[0], entries=()),)), catalogue)
    assert np.abs(worked.belief.posterior - bare.belief.posterior).max() > 1e-3


def test_what_has_no_instrument_at_the_module_is_not_offered_and_said() -> None:
    events = find_events(good_start())
    rows = readings_from(events, "module")
    assert {row["test"] for row in rows} == {"cranking_speed"}
    assert "adapters" in not_offered(events, rows)[0]
    assert not_offered(events, readings_from(events)) == ()


def test_a_night_and_a_long_crank_are_those_of_the_tests_and_no_others() -> None:
    night, nap = (Decline(begin=0, end=h * 3600, interval=60, first=12.6, last=12.4, slope=0) for h in (12, 3))
    assert [row["test"] for row in readings_from([night, nap])] == ["overnight_fall"]
    starts = [
        Start(
            begin=1, end=1 + length, interval=0.1, outcome="failed", rest_before=12.4, lowest=9, lowest_steady=9,
            lowest_time=1.1, sustained=10.5, sag=0.3,
        )
        for length in (4, 15, 30)
    ]  # fmt: skip
    assert [row["begin"] for start in starts for row in readings_from([start]) if row["test"] == "dead_crank_sag"] == [
        1
    ]


def test_every_row_has_what_a_likelihood_needs() -> None:
    for seed in range(6):
        events = find_events(simulate_log(np.random.default_rng(seed), 0.1).trace)
        for row in readings_from(events, "module", window=0.02):
            assert np.isfinite(row["value"])
            assert row["note"]
            assert row["window"] == 0.02
            assert row["begin"] <= row["end"]
            assert row["offset_spread"] >= 0


def test_the_module_is_corrected_when_the_posts_were_read_at_rest_and_wide_otherwise() -> None:
    start = Start(
        begin=40, end=41, interval=0.2, outcome="good", rest_before=12.4, lowest=9.6, lowest_steady=9.6,
        lowest_time=40.1, sustained=10.7,
    )  # fmt: skip
    events = [Rest(begin=0, end=30, interval=0.2, level=12.4, slope=0), start]
    (wide,) = (row for row in readings_from(events, "module") if "low" in row)
    close, comparison = readings_from(events, "module", posts_at_rest=12.62)
    assert (wide["offset"], wide["offset_spread"]) == (-0.15, 0.20)
    assert close["offset"] == pytest.approx(-0.22)
    assert close["offset_spread"] < wide["offset_spread"]
    assert wide["value"] == close["value"] == 9.6
    assert (comparison["test"], comparison["value"]) == ("module_offset_at_rest", pytest.approx(-0.22))


def test_a_comparison_without_a_rest_is_refused() -> None:
    with pytest.raises(RecordingError, match="cannot be compared"):
        readings_from([], "module", posts_at_rest=12.6)
    with pytest.raises(RecordingError, match="unknown place"):
        readings_from([], "boot")  # type: ignore[arg-type]
    with pytest.raises(RecordingError, match="unknown state of the engine"):
        readings_from([], engine="flying")  # type: ignore[arg-type]
    with pytest.raises(RecordingError, match="compared with posts"):
        readings_from([], "posts", posts_at_rest=12.6)


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
    assert "start 1: caught" in words
    assert "9.00 V" in words
    assert "charging 14.20 V" in words
    assert "time [s]" in words


def test_the_picture_shows_the_dip_at_its_height() -> None:
    """The band of the trace reaches down to the lowest sample: one column of pixels at 9.0 V, none below."""
    trace = good_start()
    path = next(node for node in parsed(draw_trace(trace)).iter() if node.get("stroke-linejoin"))
    heights = [float(point.split(" ")[1].rstrip("Z")) for point in str(path.get("d"))[1:].split("L")]
    margin = 0.08 * (14.2 - 9.0)
    bottom = 34.0 + 46.0 + (14.2 + margin - 9.0) / (14.2 - 9.0 + 2 * margin) * (320 - 34 - 46 - 40)
    assert max(heights) == pytest.approx(bottom, abs=0.06)


def test_labels_of_events_stand_above_the_line() -> None:
    trace = good_start()
    drawn = parsed(draw_trace(trace, find_events(trace)))
    path = next(node for node in drawn.iter() if node.get("stroke-linejoin"))
    top = min(float(point.split(" ")[1].rstrip("Z")) for point in str(path.get("d"))[1:].split("L"))
    labels = [node for node in drawn.iter() if node.get("font-size") == "11"]
    assert len(labels) >= 2
    assert all(float(str(node.get("y"))) < top for node in labels)


def test_a_single_low_sample_among_a_million_is_drawn() -> None:
    volts = np.full(1_000_000, 12.6)
    volts[[333_333, 500_000]] = 8.0, 15.0
    svg = draw_trace(Trace(np.arange(1_000_000) * 1e-4, volts, "spikes"))
    path = next(node for node in parsed(svg).iter() if node.get("stroke-linejoin"))
    heights = [float(point.split(" ")[1].rstrip("Z")) for point in str(path.get("d"))[1:].split("L")]
    per_volt = (320 - 34 - 46 - 40) / (7.0 * 1.16)
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


def test_a_part_keeps_the_numbers_of_the_starts() -> None:
    trace = read_example(EXAMPLES / "adapter_slow.csv.gz")
    events = find_events(trace)
    second = [event for event in events if isinstance(event, Start)][1]
    words = " ".join(parsed(draw_trace(trace, events, begin=second.begin - 1, end=second.end + 2)).itertext())
    assert "start 2: caught" in words
    assert "start 1" not in words
