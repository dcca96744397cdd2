"""Where a step names a time, there is a timer for it: the page takes times from the data, not from sentences."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from faultnet.errors import PriorsError
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped

CATALOGUE = load_catalogue()
TIME = re.compile(
    r"(?:(\d+|one|two|five|ten|twelve|half an|some)[ -](seconds?|minutes?|hours?)|hours you note)", re.IGNORECASE
)
# What a step says of time and nobody waits for: a moment to read at, a proof of a second, a charge that takes its time.
NO_WAIT = (
    "Enter the voltage after one second",
    "until the current has stopped falling",
    "Crank for a second",
    "Let it settle",
)


@pytest.mark.parametrize("thing", [*CATALOGUE.tests, *CATALOGUE.acts], ids=lambda thing: thing.id)
def test_every_time_in_the_steps_has_its_timer(thing: object) -> None:
    steps = [step for step in thing.steps if not any(words in step for words in NO_WAIT)]  # type: ignore[attr-defined]
    timed = [step for step in steps if TIME.search(step)]
    assert bool(timed) <= bool(thing.timers), timed  # type: ignore[attr-defined]


def test_waits_and_cranking_are_as_the_cautions_say() -> None:
    """At most 15 s of cranking, then a minute or two (caution `long_cranking`); modules sleep after 40 minutes."""
    cranking = [timer for test in CATALOGUE.tests for timer in test.timers if timer.label == "Crank"]
    assert cranking
    assert all(timer.seconds <= 15.0 for timer in cranking)
    for test in CATALOGUE.tests:
        if any(timer.label == "Crank" for timer in test.timers):
            assert test.timers[-1].seconds >= 60.0
    assert CATALOGUE.waits["modules_asleep"].seconds == 2400.0
    assert CATALOGUE.waits["rested"].seconds == 3600.0


def test_every_caution_has_few_words_that_are_fewer() -> None:
    for name, text in CATALOGUE.cautions.items():
        short = CATALOGUE.cautions_in_short[name]
        assert 0 < len(short) <= 60
        assert len(short) < len(text)


@pytest.mark.parametrize(
    "file, old, new",
    [
        ("tests.toml", 'label = "Load held", seconds = 15', 'label = "Load held", seconds = 0'),
        ("tests.toml", 'label = "Load held", seconds = 15', 'label = "Load held"'),
        ("acts.toml", 'label = "Drive", seconds = 1800', 'label = "Drive", seconds = "half an hour"'),
        ("cautions.toml", "rested = {", "resting = {"),
        ("cautions.toml", 'eyes = "Eye protection."', 'eye = "Eye protection."'),
    ],
)
def test_a_timer_or_a_short_caution_that_is_amiss_is_refused(tmp_path: Path, file: str, old: str, new: str) -> None:
    folder = Path(shutil.copytree(shipped("priors") / "standard", tmp_path / "mine"))
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(PriorsError) as caught:
        load_catalogue(folder=folder)
    assert caught.value.where.startswith(file)
