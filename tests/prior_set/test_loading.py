"""A prior set with something amiss is refused, naming the file, the entry, what stood there and what should."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from faultnet.errors import PriorsError
from faultnet.prior_set import load_catalogue, prior_sets
from faultnet.prior_set.load import FILES
from faultnet.shipped import shipped


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the shipped set that a test may spoil."""
    return Path(shutil.copytree(shipped("priors") / "standard", tmp_path / "mine"))


def spoil(folder: Path, file: str, old: str, new: str) -> None:
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")


def refusal(folder: Path) -> PriorsError:
    with pytest.raises(PriorsError) as caught:
        load_catalogue(folder=folder)
    return caught.value


def test_an_untouched_copy_equals_the_shipped_set(folder: Path) -> None:
    assert load_catalogue(folder=folder) == load_catalogue()


@pytest.mark.parametrize("file", FILES)
def test_a_missing_file_is_named(folder: Path, file: str) -> None:
    (folder / file).unlink()
    assert refusal(folder).where == file


@pytest.mark.parametrize("file", FILES)
def test_a_file_that_is_not_text_is_named(folder: Path, file: str) -> None:
    (folder / file).write_bytes(b"\xff\xfe\x00\x81")
    assert refusal(folder).where == file


@pytest.mark.parametrize("file", FILES)
def test_an_empty_file_is_named(folder: Path, file: str) -> None:
    (folder / file).write_text("", encoding="utf-8")
    assert file in str(refusal(folder).where)


def test_an_unknown_set_lists_the_known_ones() -> None:
    with pytest.raises(PriorsError, match="one of standard"):
        load_catalogue("standart")
    assert "standard" in prior_sets()


@pytest.mark.parametrize(
    "file, old, new, where, said",
    [
        # cells
        (
            "base_rates.csv",
            "battery,sulphated,all,46,",
            "battery,sulphated,all,4x6,",
            "base_rates.csv, line 2",
            "'4x6'",
        ),
        (
            "base_rates.csv",
            "battery,sulphated,all,46,",
            "battery,sulphated,all,nan,",
            "base_rates.csv, line 2",
            "finite",
        ),
        ("base_rates.csv", "battery,sulphated,all,46,", "battery,sulphated,all,-4,", "base_rates.csv, line 2", "from"),
        ("base_rates.csv", "battery,sulphated,all,46,", "battery,sulphated,all,0,", "base_rates.csv, line 2", "0.001"),
        ("base_rates.csv", ",estimate,", ",guess,", "base_rates.csv, line 2", "published, secondary"),
        (
            "base_rates.csv",
            "battery,sulphated,all,46,1000",
            "battery,sulphated,all,46",
            "base_rates.csv, line 2",
            "9 cells",
        ),
        ("effects.csv", "component,mode,", "mode,component,", "effects.csv", "component, mode, parameter"),
        ("effects.csv", "lognormal,1.05,0.12", "lognormal,-1.05,0.12", "effects.csv, line 2", "centre"),
        ("effects.csv", "lognormal,1.05,0.12", "lognormal,1.05,0", "effects.csv, line 2", "spread"),
        ("effects.csv", "lognormal,1.05,0.12", "uniform,1.05,0.12", "effects.csv, line 2", "high end"),
        ("effects.csv", "lognormal,1.05,0.12", "gamma,1.05,0.12", "effects.csv, line 2", "'gamma'"),
        ("on_rates.csv", "broken_link,any,0.3", "broken_link,any,1.0", "on_rates.csv, line 2", "0.999"),
        ("on_rates.csv", "broken_link,heat,", "broken_link,wind,", "on_rates.csv", "vibration, heat"),
        ("spreads.csv", "roughly_factor,3,-,", "roughly_factor,3,-,,", "spreads.csv, line 2", "6 cells"),
        ("spreads.csv", "\ndeep_discharge_loss,", "\nroughly_factor,", "spreads.csv, line 3", "twice"),
        ("spreads.csv", '"estimate, no source"', '""', "spreads.csv, line 2", "'source'"),
        ("instruments.csv", "\nmultimeter,", "\nMulti meter,", "instruments.csv, line 2", "small letters"),
        ("instruments.csv", "\nbetter_multimeter,", "\nmultimeter,", "instruments.csv", "twice"),
        (
            "symptoms.csv",
            "when_it_fails,otherwise,cold,12",
            "when_it_fails,otherwise,cold,0",
            "line 2",
            "0.001",
        ),
        (
            "symptoms.csv",
            "when_it_fails,otherwise,cold,",
            "no_such_test,otherwise,cold,",
            "line 2",
            "no_such_test",
        ),
        ("symptoms.csv", "otherwise,cold,", "otherwise,burns,", "when_it_fails", "cold, hot"),
        ("symptoms.csv", "battery:sulphated,cold", "battery,cold", "symptoms.csv", "battery"),
        # toml
        ("tests.toml", 'kind = "choice"', 'kind = "choise"', "tests.toml, test 'how_it_turns_over'", "number, choice"),
        ("tests.toml", 'kind = "choice"', "kind = ", "tests.toml", "not a TOML file"),
        ("tests.toml", "minutes = 1\n", "minutes = -1\n", "tests.toml, test 'how_it_turns_over'", "minutes"),
        ("tests.toml", 'unit = "V"', 'unit = "volts"', "tests.toml, test 'rest_voltage'", "'volts'"),
        (
            "tests.toml",
            "plausible = [0.0, 15.0]",
            "plausible = [15.0, 0.0]",
            "test 'rest_voltage'",
            "lower number first",
        ),
        ("tests.toml", 'group = "ask"', 'group = "asking"', "test 'how_it_turns_over'", "ask, look"),
        ("tests.toml", 'id = "smell"', 'id = "jump_start"', "tests.toml", "used once"),
        ("tests.toml", '"neutral_brake"', '"neutral_break"', "test 'how_it_turns_over', cautions", "neutral_break"),
        ("tests.toml", 'needs = ["starter_cranks"]', 'needs = ["cranks"]', "needs", "cranks"),
        ("tests.toml", 'instruments = ["question", "ear"]', 'instruments = ["nose"]', "instruments", "nose"),
        ("tests.toml", 'instruments = ["multimeter", "bet', 'instruments = ["hand", "bet', "'rest_voltage'", "hand"),
        ("tests.toml", 'combine = "worst"', 'combine = "best"', "test 'left_something_on'", "worst, average"),
        ("tests.toml", 'quantity = "crank_behaviour"', 'quantity = "table"', "'how_it_turns_over'", "symptoms.csv"),
        ("prior_set.toml", 'estimate = "an', 'guess = "an', "prior_set.toml", "marks"),
        ("prior_set.toml", 'version = "1.11.0"', "version = 1", "prior_set.toml", "version"),
        ("cautions.toml", '"high_voltage"]', '"voltage"]', "cautions.toml, general", "voltage"),
        ("cautions.toml", "[preconditions]", "[before]", "cautions.toml", "preconditions"),
        (
            "components.toml",
            'brought_on = ["vibration", "heat"]',
            'brought_on = ["wind"]',
            "mode 'broken_link'",
            "wind",
        ),
        ("tests.toml", "plausible = [0.0, 15.0]", "plausible = [0.0]", "test 'rest_voltage'", "two numbers"),
        ("tests.toml", 'tools = ["voltmeter"]', 'tools = "voltmeter"', "test 'rest_voltage'", "a list of texts"),
        ("tests.toml", 'fails_after_minutes = "jump', 'fails = "jump', "'after_booster'", "some of its choices"),
        # across files
        (
            "tests.toml",
            'a_drive = "jump_start=starts_flat_again"',
            'a_drive = "jump_start=flat"',
            "'after_booster'",
            "another test",
        ),
        ("tests.toml", '["jump_start=starts_flat', '["jump_start=flat', "'after_booster'", "an act's outcome"),
        ("tests.toml", '"jump_start=cured"', '"jump_start=mended"', "'after_booster'", "an act's outcome"),
        ("tests.toml", '"jump_start=cured"', '"jump_start"', "'after_booster'", '"act=outcome"'),
        ("components.toml", 'id = "worn"', 'id = "worn"\nbrought_on = ["cold"]', "battery:worn", "comes and goes"),
        ("tests.toml", "steps = [", "steps = []\nleft_out = [", "'how_it_turns_over'", "needs steps"),
        ("components.toml", 'id = "worn"', 'id = "tired"', "base_rates.csv, battery:tired", "'all' is missing"),
        ("components.toml", 'repair = "tighten_joint"', 'repair = "remove_drain"', "'positive_joint'", "remove_drain"),
        (
            "components.toml",
            "comes_and_goes = true",
            "comes_and_goes = false",
            "on_rates.csv, battery:broken_link",
            "any",
        ),
        (
            "components.toml",
            'brought_on = ["vibration", "heat"]',
            'brought_on = ["heat"]',
            "battery:broken_link",
            "heat",
        ),
        ("components.toml", 'id = "sound"', 'id = "fine"', "component 'battery'", "sound mode"),
        ("acts.toml", 'components = ["drain"]', 'components = ["drane"]', "'drain'", "repair"),
        (
            "acts.toml",
            'cautions = ["frozen", "hydrogen", "eyes", "charger_off",',
            'cautions = ["gas",',
            "act 'charge'",
            "gas",
        ),
        ("base_rates.csv", "climate=cold", "climate=icy", "base_rates.csv, battery:sulphated", "climate=icy"),
        (
            "base_rates.csv",
            "battery,undersized,all,8,1000",
            "battery,undersized,all,8,900",
            "battery",
            "different numbers",
        ),
        ("base_rates.csv", "use,left_on,all,70", "use,left_on,all,950", "base_rates.csv, use", "no sound car"),
        ("base_rates.csv", "use,left_on,", "use,left_out,", "base_rates.csv, use:left_on", "'all' is missing"),
        ("effects.csv", "drain,heavy,current", "drain,huge,current", "effects.csv, drain, current", "heavy"),
        (
            "effects.csv",
            "drain,heavy,current,lognormal,1.5,0.9,A",
            "drain,heavy,current,lognormal,1.5,0.9,V",
            "effects.csv, line ",
            "unit",
        ),
        (
            "symptoms.csv",
            "battery:sulphated,cold",
            "battery:stalls,cold",
            "'when_it_fails'",
            "stalls",
        ),
    ],
)
def test_what_is_amiss_is_named(folder: Path, file: str, old: str, new: str, where: str, said: str) -> None:
    spoil(folder, file, old, new)
    error = refusal(folder)
    assert where in str(error.where)
    assert said in str(error)


def test_rows_of_an_unknown_component_are_refused(folder: Path) -> None:
    with (folder / "effects.csv").open("a", encoding="utf-8") as table:
        table.write("radio,loud,current,lognormal,1,0.5,A,somewhere,estimate,\n")
    assert "radio" in str(refusal(folder))


def test_too_many_parents_are_refused(folder: Path) -> None:
    with (folder / "symptoms.csv").open("a", encoding="utf-8") as table:
        for choice in ("runs_and_restarts", "fails_after_a_drive", "fails_after_minutes", "died_as_leads_came_off"):
            table.write(f"after_booster,drain:heavy,{choice},25,cases,somewhere,estimate,\n")
    assert "at most 9" in str(refusal(folder))


def test_a_table_without_its_leak_is_refused(folder: Path) -> None:
    path = folder / "symptoms.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(line for line in lines if not line.startswith("smell,otherwise")), encoding="utf-8")
    assert "'otherwise'" in str(refusal(folder))


@pytest.mark.parametrize(
    "cause, said", [("engine_running:stalls", "causes that are no fault mode"), ("engine_running", "component:mode")]
)
def test_a_symptom_row_names_a_fault_mode(folder: Path, cause: str, said: str) -> None:
    path = folder / "symptoms.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("engine_running:no_fire", cause), encoding="utf-8")
    assert said in str(refusal(folder))


@pytest.mark.parametrize(
    "file, entry, said",
    [
        (
            "acts.toml",
            "[[act]]\nid = 'x'\nlabel = 'x'\nkind = 'wait'\nminutes = 1\neffect = 'x'\nexplanation = 'x'\n",
            "steps",
        ),
        ("components.toml", "[[component]]\nid = 'x'\nlabel = 'x'\nexplanation = 'x'\n", "sound mode first"),
        ("components.toml", "[[component]]\nlabel = 'x'\n", "'id' cannot be used"),
    ],
)
def test_an_entry_that_lacks_something_is_refused(folder: Path, file: str, entry: str, said: str) -> None:
    with (folder / file).open("a", encoding="utf-8") as table:
        table.write("\n" + entry)
    assert said in str(refusal(folder))


def test_choices_must_be_more_than_one(folder: Path) -> None:
    spoil(folder, "tests.toml", 'clear = "clear or yellow"\n', "")
    spoil(folder, "tests.toml", 'dark = "dark"\n', "")
    assert "at least two choices" in str(refusal(folder))


def test_a_set_is_read_once_until_a_file_changes(folder: Path) -> None:
    first = load_catalogue(folder=folder)
    assert load_catalogue(folder=folder) is first
    spoil(folder, "spreads.csv", "eye_cells,6,", "eye_cells,8,")
    os.utime(folder / "spreads.csv", ns=(1, 1))
    assert load_catalogue(folder=folder).number("eye_cells") == 8.0


def test_a_tuned_rate_is_used(folder: Path) -> None:
    spoil(folder, "base_rates.csv", "use,left_on,all,70,", "use,left_on,all,90,")
    assert load_catalogue(folder=folder).rate("use", "left_on") == (90.0, 1000.0)
    assert load_catalogue(folder=folder).rate("use", "normal")[0] == 1000.0 - 55.0 - 45.0 - 90.0


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_file_with_a_bite_taken_out_never_ends_in_a_traceback(folder: Path, data: st.DataObject) -> None:
    """Whatever piece is missing: either the set still reads, or a PriorsError says what is wrong."""
    file = folder / data.draw(st.sampled_from(FILES))
    whole = file.read_bytes()
    start = data.draw(st.integers(0, len(whole) - 1))
    length = data.draw(st.integers(1, 400))
    file.write_bytes(whole[:start] + whole[start + length :])
    error = trouble(folder)
    file.write_bytes(whole)
    assert error is None or error.where


def trouble(folder: Path) -> PriorsError | None:
    """What the loader says about a set; anything but a PriorsError surfaces."""
    try:
        load_catalogue(folder=folder)
    except PriorsError as error:
        return error
    return None
