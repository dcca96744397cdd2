"""The command line: shapes of the answers, exit statuses, one clear message, nothing heavy imported without need."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jsonschema
import pytest

import faultnet
from faultnet.cli import main
from faultnet.cli.commands import app
from faultnet.diagnosis.diagnose import MAX_FAULTS
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped

HEAVY = ("numpy", "pydantic", "pandas", "rich", "networkx", "pgmpy", "scipy", "sqlalchemy", "streamlit")
TOO_HEAVY_FOR_AN_ANSWER = ("pandas", "pgmpy", "scipy", "sqlalchemy", "streamlit", "matplotlib")
CAR = {"battery": {"rating": 600}}
COMMANDS = (
    "diagnose",
    "plan",
    "sheet",
    "tools",
    "validate",
    "catalogue",
    "log",
    "export",
    "trial",
    "practise",
    "tune",
    "schema",
    "serve",
)


class Ran:
    """What one run of the command left behind."""

    def __init__(self, status: int, out: str, err: str) -> None:
        self.status, self.out, self.err = status, out, err

    @property
    def json(self) -> Any:
        assert self.status == 0, self.err
        return json.loads(self.out)


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    def run(*arguments: str, typed: str | bytes | None = None) -> Ran:
        if typed is not None:
            given = typed.encode() if isinstance(typed, str) else typed
            monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(given)))
        with pytest.raises(SystemExit) as left:
            main(arguments)
        written = capsys.readouterr()
        return Ran(int(left.value.code or 0), written.out, written.err)

    return run


def case_text(*entries: dict[str, Any], **more: Any) -> str:
    tree = {"format": "faultnet-case", "version": 1, "car": CAR, "visits": [{"entries": list(entries)}], **more}
    return json.dumps(tree)


def own_process(*arguments: str, typed: str = "", **environment: str) -> subprocess.CompletedProcess[str]:
    known = {**os.environ, "PYTHONPATH": str(Path(faultnet.__file__).parents[1]), **environment}
    command = [sys.executable, *arguments]
    return subprocess.run(command, input=typed, capture_output=True, text=True, env=known, timeout=120, check=False)


def test_version(run: Any) -> None:
    assert run("--version").out == f"faultnet {faultnet.__version__}\n"


def test_every_command_is_there_and_explains_itself(run: Any) -> None:
    assert tuple(command.callback.__name__ for command in app.registered_commands if command.callback) == COMMANDS
    for name in COMMANDS:
        shown = run(name, "--help")
        assert shown.status == 0
        assert "Usage: faultnet" in shown.out


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom faultnet.cli import main\ntry:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        f"print('FOUND', [name for name in {HEAVY!r} if name in sys.modules])"
    )
    assert "FOUND []" in own_process("-c", code).stdout


def test_an_answer_does_not_import_what_it_does_not_need() -> None:
    code = (
        "import sys\nfrom faultnet.cli import main\ntry:\n    main(['diagnose', '-'])\nexcept SystemExit:\n    pass\n"
        f"print('FOUND', [name for name in {TOO_HEAVY_FOR_AN_ANSWER!r} if name in sys.modules])"
    )
    ran = own_process("-c", code, typed=case_text())
    assert "VERDICT" in ran.stdout, ran.stderr
    assert "FOUND []" in ran.stdout


def test_a_cold_process_answers_and_keeps_the_network_it_built(tmp_path: Path) -> None:
    ran = own_process("-m", "faultnet", "diagnose", "-", "--json", typed=case_text(), FAULTNET_CACHE=str(tmp_path))
    assert (ran.returncode, ran.stderr) == (0, "")
    assert json.loads(ran.stdout)["causes"]
    assert list(tmp_path.glob("*.bin"))


def test_diagnose_answers_in_the_documented_shape(run: Any) -> None:
    answer = run("diagnose", "demo:shorted_cell", "--json").json
    catalogue = load_catalogue()
    assert answer["case"] == "Flat again after every charge"
    modes = {(component.id, mode.id) for component in catalogue.components for mode in component.modes[1:]}
    assert {(cause["component"], cause["mode"]) for cause in answer["causes"]} == modes
    assert {"component", "mode", "label", "probability", "prior", "still_there"} <= set(answer["causes"][0])
    chances = [cause["probability"] for cause in answer["causes"]]
    assert chances == sorted(chances, reverse=True)
    for component in catalogue.components:
        shares = answer["components"][component.id]
        assert set(shares) == {mode.id for mode in component.modes}
        assert sum(shares.values()) == pytest.approx(1.0, abs=1e-9)
    for test in answer["next_tests"]:
        assert {"test", "label", "bits", "minutes", "prepare", "cautions"} <= set(test)
        assert test["cautions"] == [catalogue.cautions[name] for name in catalogue.test(test["test"]).cautions]
    assert 0.0 <= answer["dropped_prior_mass"] < 0.05
    assert set(answer["cautions"]) >= {catalogue.cautions[name] for name in catalogue.general_cautions}
    assert (answer["causes"][0]["component"], answer["causes"][0]["mode"]) == ("battery", "shorted_cell")


def test_causes_and_components_say_the_same(run: Any) -> None:
    answer = run("diagnose", "demo:fresh_case", "--json").json
    for cause in answer["causes"]:
        assert answer["components"][cause["component"]][cause["mode"]] == pytest.approx(cause["probability"])


def test_the_sheet_fits_80_columns_and_shows_the_cautions(run: Any) -> None:
    for arguments in (("diagnose", "demo:intermittent_no_start", "--why"), ("catalogue",)):
        shown = run(*arguments)
        assert shown.status == 0
        assert max(map(len, shown.out.splitlines())) <= 80
        text = " ".join(shown.out.split())
        known = load_catalogue()
        for name in known.general_cautions:
            assert (known.cautions if arguments[0] == "catalogue" else known.cautions_in_short)[name] in text


def test_every_caution_of_every_test_and_repair_shown_stands_before_the_steps(run: Any) -> None:
    known = load_catalogue()
    answer = run("diagnose", "demo:fresh_case", "--json").json
    text = " ".join(run("diagnose", "demo:fresh_case").out.split())
    head, *shown = re.split(r" \d\. (?=[A-Z])", text)
    assert head.index("Take care: ") < head.index("VERDICT"), "the general ones stand where the case begins"
    for test, block in zip(answer["next_tests"][:3], shown, strict=True):
        assert block.startswith(test["label"])
        short = " ".join(known.short_cautions(known.test(test["test"]).cautions))
        assert (f"Take care: {short}" in block.split(" - ")[0]) == bool(short), test["test"]
    told = run("diagnose", "demo:shorted_cell").out
    repair = run("diagnose", "demo:shorted_cell", "--json").json["decision"]
    wanted = known.short_cautions(known.act(repair["act"]).cautions_for(repair["repair"]))
    assert " ".join(wanted) in " ".join(told.split())


def test_money_is_shown_with_its_currency_alone(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Minutes, what has to be at hand and what may be spared; no amount, no bit, until the currency is set."""
    file = tmp_path / "settings.json"
    monkeypatch.setenv("FAULTNET_SETTINGS", str(file))
    said = run("diagnose", "demo:ground_high_resistance").out
    assert re.search(r"\(\d+ min; [a-z, -]+; may spare [a-z]", " ".join(said.split()))
    assert not re.search(r"\bbits?\b|cost to expect|saves|EUR|worth about", said)
    assert re.search(r"\d\.\d\d bit\b", run("diagnose", "demo:ground_high_resistance", "--why").out)
    assert run("diagnose", "demo:ground_high_resistance", "--json").json["next_tests"][0]["bits"] > 0
    file.write_text('{"currency": "EUR", "hourly_rate": 90, "parts": {"ground_path": 40}}')
    ours = run("diagnose", "demo:ground_high_resistance").out
    assert re.search(r"cost to expect \d+ EUR", " ".join(ours.split()))
    assert "cost to expect" in run("sheet", "demo:shorted_cell").out
    dear = run("diagnose", "demo:ground_high_resistance", "--currency", "$", "--hourly-rate", "300").out
    assert re.search(r"cost to expect \d+ \$", " ".join(dear.split()))
    assert "saves" in run("tools", "demo:fresh_case", "--tools", "voltmeter").out


def test_settings_that_cannot_be_used_are_named(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "settings.json"
    monkeypatch.setenv("FAULTNET_SETTINGS", str(file))
    for text, said in (
        ("{", "settings cannot be used"),
        ('{"hourly_rate": -5}', "hourly_rate -5"),
        ('{"parts": {"gearbox": 5}}', "gearbox"),
    ):
        file.write_text(text)
        shown = run("diagnose", "demo:fresh_case")
        assert shown.status == 2
        assert said in shown.err
        assert "Traceback" not in shown.err


def test_whether_a_verdict_holds_is_told_in_words_and_as_json(run: Any) -> None:
    held = run("diagnose", "demo:shorted_cell", "--why").out
    assert "The first repair holds whatever the base rates within a factor of three" in " ".join(held.split())
    assert "factor of three" not in " ".join(run("diagnose", "demo:shorted_cell").out.split())
    answer = json.loads(run("diagnose", "demo:shorted_cell", "--json").out)
    robust = answer["robust"]
    assert (robust["grade"], robust["repair"]["said"], robust["cause"]["said"]) == (
        "robust", "battery", "battery:shorted_cell",
    )  # fmt: skip
    assert robust["said"].startswith("Robust: ")
    assert robust["cure"][0] < answer["decision"]["chance_of_cure"] < robust["cure"][1]
    assert robust["next"]["turns"][0]["off"][0]["of"] > 0
    assert robust["settles"] is None
    assert "lies between" in answer["why"][-1]


def test_why_adds_the_reasons(run: Any) -> None:
    plain, reasoned = (run("diagnose", "demo:shorted_cell", *more).out for more in ((), ("--why",)))
    assert "WHY BATTERY: ONE SHORTED CELL" not in plain
    assert "WHY BATTERY: ONE SHORTED CELL" in reasoned
    assert "READINGS BESIDE A SOUND EXAMPLE" in reasoned


def test_standard_input_and_file_give_the_same(run: Any, tmp_path: Path) -> None:
    text = case_text({"test": "rest_voltage", "value": "12,4 V"})
    (tmp_path / "case.json").write_text(text, encoding="utf-8")
    assert run("diagnose", "-", "--json", typed=text).json == run(
        "diagnose", str(tmp_path / "case.json"), "--json"
    ).json  # fmt: skip


def test_only_the_tools_at_hand_are_used(run: Any) -> None:
    answer = run("diagnose", "demo:fresh_case", "--json", "--tools", "voltmeter,hydrometer", "--tools", "torch").json
    catalogue = load_catalogue()
    needed = {tool for test in answer["next_tests"] for tool in catalogue.test(test["test"]).tools}
    assert "hydrometer" in needed
    at_hand = {"voltmeter", "hydrometer", "torch"}
    assert [tool for tool in needed if not at_hand.intersection(tool.split(" or "))] == []
    everything = run("diagnose", "demo:fresh_case", "--json", "--tools", "all").json
    assert "carbon-pile load" in {tool for test in everything["next_tests"] for tool in test["tools"]}
    assert "Counted on: eyes, hands, battery charger" in run("diagnose", "demo:fresh_case").out


def test_a_repair_that_is_not_well_founded_is_not_named(run: Any) -> None:
    for name in ("fresh_case", "shorted_cell"):
        decision = run("diagnose", f"demo:{name}", "--json").json["decision"]
        assert (decision["repair"] is None) == (decision["act"] is None) == (decision["chance_of_cure"] < 0.5)


def test_a_complaint_is_an_entry_and_an_unknown_one_is_named(run: Any) -> None:
    told = run("diagnose", "demo:fresh_case", "--complaint", "clicks", "--json").json
    assert [seen["said"] for seen in told["seen"]] == ["How does it turn over? rapid clicking"]
    assert run("diagnose", "demo:fresh_case", "--complaint", "hums").status == 2


def test_only_tools_that_are_named_are_needed(run: Any) -> None:
    catalogue = load_catalogue()
    bare = run("diagnose", "demo:fresh_case", "--json", "--tools", "none").json
    assert bare["next_tests"]
    assert not any(catalogue.test(test["test"]).tools for test in bare["next_tests"])


def test_fewer_faults_at_once_drop_more(run: Any) -> None:
    one, three = (run("diagnose", "demo:fresh_case", "--json", *more).json for more in (("--max-faults", "1"), ()))
    assert one["dropped_prior_mass"] > three["dropped_prior_mass"] > 0.0


def test_the_number_of_faults_left_out_is_the_librarys(run: Any) -> None:
    assert f"Up to {MAX_FAULTS} faults at once" in run("diagnose", "demo:fresh_case").out
    assert "Up to 1 fault at once" in run("diagnose", "demo:fresh_case", "--max-faults", "1").out


@pytest.mark.parametrize(
    "arguments, typed, expected",
    [
        (("diagnose", "nowhere.json"), None, "nowhere.json"),
        (("diagnose", "demo:nothing"), None, "shorted_cell"),
        (("diagnose", "-"), "", "standard input"),
        (("diagnose", "-"), b"\xff\xfe\x00", "standard input"),
        (("diagnose", "-"), "[]", "an object with format, version and car"),
        (("diagnose", "-"), case_text({"test": "rest_volts", "value": 12.4}), "rest_voltage"),
        (("diagnose", "-"), case_text({"test": "rest_voltage", "value": 124}), "visit 1, entry 1"),
        (("diagnose", "-"), case_text({"test": "rest_voltage", "value": "twelve"}), "visits[0].entries[0].value"),
        (("diagnose", "-"), case_text({"test": "charge_lamp", "state": "blue"}), "stays_on"),
        (("diagnose", "-"), case_text({"act": "kick"}), "unknown act"),
        (("diagnose", "-"), case_text(car={"battery": {"rating": 600}, "system_voltage": 24}), "24"),
        (("diagnose", "demo:fresh_case", "--tools", "hammer"), None, "voltmeter"),
        (("diagnose", "demo:fresh_case", "--priors", "nowhere"), None, "standard"),
        (("diagnose", "demo:fresh_case", "--max-faults", "9"), None, "--max-faults"),
        (("validate", "-"), case_text({"test": "rest_volts", "value": 12.4}), "unknown test"),
        (("catalogue", "--json", "--markdown"), None, "one of --json and --markdown"),
        (("export", "demo:fresh_case", "--visit", "7"), None, "1 to 1"),
        (("export", "demo:fresh_case", "--to", "pdf"), None, "xmlbif"),
        (("export", "demo:fresh_case", "--tests", "kick"), None, "kick"),
        (("log", "nowhere.csv"), None, "nowhere.csv"),
        (("log", "-"), "no volts in here", "standard input"),
        (("serve", "-"), None, "standard input"),
        (("serve", "nowhere.json"), None, "nowhere.json"),
        (("mend",), None, "mend"),
    ],
)
def test_bad_input_is_one_message_and_status_2(run: Any, arguments: tuple[str, ...], typed: Any, expected: str) -> None:
    ran = run(*arguments, typed=typed)
    assert ran.status == 2
    assert ran.out == ""
    assert expected in ran.err
    assert "Traceback" not in ran.err


def test_a_clash_names_the_entries_or_is_answered(run: Any) -> None:
    entries = [{"test": "rest_voltage", "value": value} for value in (12.6, 0.5, 14.9, 8.0)]
    ran = run("diagnose", "-", typed=case_text(*entries))
    assert (ran.status == 2 and "Rest voltage" in ran.err) or "VERDICT" in ran.out


def test_a_case_without_visits_is_a_fresh_one(run: Any) -> None:
    typed = json.dumps({"format": "faultnet-case", "version": 1, "car": CAR, "visits": []})
    assert "Not decided yet" in run("diagnose", "-", typed=typed).out


def test_a_bug_is_not_dressed_up_as_bad_input(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("faultnet.api.advise", broken)
    with pytest.raises(ZeroDivisionError):
        main(["diagnose", "demo:fresh_case"])


def test_catalogue_answers_in_the_documented_shape(run: Any) -> None:
    answer = run("catalogue", "--json").json
    assert {"components", "tests", "instruments", "acts"} <= set(answer)
    fields = ("id", "label", "group", "kind", "unit", "choices", "tools", "minutes", "needs", "steps", "cautions")
    for test in answer["tests"]:
        assert set(fields) <= set(test)
        assert test["kind"] in ("number", "choice")
        assert bool(test["choices"]) == (test["kind"] == "choice")
    for component in answer["components"]:
        assert {"id", "label", "modes"} <= set(component)
        assert len(component["modes"]) >= 2
    for kind in ("instruments", "acts"):
        assert all({"id", "label"} <= set(record) for record in answer[kind])


def test_a_case_made_from_the_catalogue_is_accepted(run: Any) -> None:
    """Every choice and every plausible number of every test goes round through JSON."""
    entries = []
    for test in run("catalogue", "--json").json["tests"]:
        if test["kind"] == "choice":
            entries += [{"test": test["id"], "state": choice} for choice in test["choices"]]
        else:
            entries += [{"test": test["id"], "value": bound} for bound in test["plausible"]]
    answer = run("validate", "-", "--json", typed=case_text(*entries)).json
    assert answer == {"case": "", "accepted": True, "visits": 1, "entries": len(entries)}


def test_catalogue_as_markdown(run: Any) -> None:
    assert run("catalogue", "--markdown").out.startswith("# Standard prior set")


def test_catalogue_list_names_everything(run: Any) -> None:
    words = set(run("catalogue").out.replace(":", " ").split())
    catalogue = load_catalogue()
    for kind in (catalogue.components, catalogue.tests, catalogue.instruments, catalogue.acts):
        assert {record.id for record in kind} <= words


def test_the_schema_accepts_the_demo_cases(run: Any) -> None:
    validator = jsonschema.Draft202012Validator(run("schema").json)
    for path in shipped("cases").glob("*.json"):
        validator.validate(json.loads(path.read_text(encoding="utf-8")))


def test_validate_says_what_the_case_holds(run: Any) -> None:
    assert run("validate", "demo:intermittent_no_start").out == (
        "Intermittent no-start, three visits: accepted, 3 visits, 12 entries\n"
    )


def test_priors_of_ones_own_are_used(run: Any, tmp_path: Path) -> None:
    own = tmp_path / "mine"
    own.mkdir()
    for path in (shipped("priors") / "standard").iterdir():
        text = path.read_text(encoding="utf-8")
        (own / path.name).write_text(text.replace("use,left_on,all,70,", "use,left_on,all,7,"), encoding="utf-8")
    shares = [
        run("diagnose", "demo:fresh_case", "--json", "--max-faults", "1", *more).json["components"]["use"]["left_on"]
        for more in ((), ("--priors", str(own)))
    ]
    assert shares[1] < 0.5 * shares[0]


def test_export_writes_a_file_or_standard_output(run: Any, tmp_path: Path) -> None:
    few = ("export", "demo:fresh_case", "--tests", "charge_lamp,belt_look")
    written = tmp_path / "network.bif"
    assert run(*few, "--out", str(written)).out == ""
    text = written.read_text(encoding="utf-8")
    assert text.rstrip("\n") == run(*few).out.rstrip("\n")
    assert "variable belt" in text
    assert "reading_charge_lamp" in text
    assert "reading_rest_voltage" not in text
    root = ElementTree.fromstring(run(*few, "--to", "xmlbif").out)
    assert "reading_charge_lamp" in {name.text for name in root.iter("NAME")}


def test_a_file_that_cannot_be_written_is_explained(run: Any, tmp_path: Path) -> None:
    nowhere = str(tmp_path / "no" / "such" / "folder.bif")
    ran = run("export", "demo:fresh_case", "--tests", "charge_lamp", "--out", nowhere)
    assert (ran.status, ran.out) == (2, "")
    assert "cannot be written" in ran.err


SCOPE = str(shipped("cases") / "recordings" / "scope.csv")


def test_log_finds_the_start_in_a_recorded_log(run: Any, tmp_path: Path) -> None:
    """The lowest voltage is that of the file itself, read here with nothing but the csv module."""
    answer = run("log", SCOPE, "--json").json
    (start,) = [event for event in answer["events"] if event["kind"] == "start"]
    with open(SCOPE, encoding="utf-8", newline="") as file:
        rows = [row for row in csv.reader(file) if len(row) >= 2 and row[0].replace(".", "", 1).isdigit()]
    assert len(rows) == answer["samples"]
    assert start["lowest"] == pytest.approx(min(float(row[1]) for row in rows), abs=1e-9)
    assert start["lowest"] < start["sustained"] < start["rest_before"]
    assert start["lowest_true"]["low"] <= start["lowest_true"]["median"] <= start["lowest_true"]["high"]
    assert {"rest_voltage", "recorded_lowest"} <= {reading["test"] for reading in answer["readings"]}


def test_log_as_text_fits_80_columns(run: Any) -> None:
    shown = run("log", SCOPE)
    assert max(map(len, shown.out.splitlines())) <= 80
    assert "caught: the engine ran" in shown.out
    assert "sustained" in shown.out


def test_log_draws_what_it_found(run: Any, tmp_path: Path) -> None:
    picture, pixels = tmp_path / "trace.svg", tmp_path / "trace.png"
    assert run("log", SCOPE, "--svg", str(picture), "--png", str(pixels)).status == 0
    assert ElementTree.parse(picture).getroot().tag.endswith("svg")
    assert pixels.read_bytes()[1:4] == b"PNG"


def test_log_asks_for_a_column_and_takes_the_answer(run: Any) -> None:
    rows = [f"{0.1 * k:.1f};{12.5 if k < 20 or k > 30 else 9.8};{11.9 if k < 20 or k > 30 else 9.1}" for k in range(60)]
    text = "\n".join(["t;left;right", *rows])
    unclear = run("log", "-", "--json", typed=text)
    assert (unclear.status, unclear.out) == (2, "")
    assert "column" in unclear.err
    options = ("--time-column", "1", "--time-unit", "s", "--volts-unit", "V")
    lowest = [
        min(event["lowest"] for event in answer["events"] if event["kind"] == "start")
        for answer in (run("log", "-", "--json", *options, "--volts-column", c, typed=text).json for c in ("left", "3"))
    ]
    assert lowest == [9.8, 9.1]


def test_a_wider_window_leaves_more_open(run: Any) -> None:
    spans = []
    for window in ("0", "0.2"):
        (start,) = [e for e in run("log", SCOPE, "--json", "--window", window).json["events"] if e["kind"] == "start"]
        spans.append(start["lowest_true"]["high"] - start["lowest_true"]["low"])
    assert spans[1] > spans[0]


def test_serve_hands_over_to_the_front_end(run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[object, ...]] = []

    class Launcher:
        @staticmethod
        def launch(case: str | None, port: int, share: bool, open_browser: bool) -> int:
            asked.append((case, port, share, open_browser))
            return 0

    monkeypatch.setattr("faultnet.cli.inputs.front_end", lambda: Launcher)
    assert run("serve").status == 0
    assert run("serve", "demo:fresh_case", "--port", "9000", "--share", "--no-browser").status == 0
    path = str((shipped("cases") / "fresh_case.json").resolve())
    assert asked == [(None, 8501, False, True), (path, 9000, True, False)]


def test_the_front_end_is_found_and_can_be_launched() -> None:
    from faultnet.cli.inputs import front_end

    assert callable(front_end().launch)


def test_a_front_end_that_is_not_installed_is_explained(run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("faultnet.cli.inputs.find_spec", lambda name: None)
    ran = run("serve", "demo:fresh_case")
    assert (ran.status, ran.out) == (2, "")
    assert "faultnet[app]" in ran.err


def test_a_terminal_without_the_sign_does_not_break_the_answer() -> None:
    text = case_text({"test": "two_load_resistance", "value": 0.0082})
    ran = own_process("-m", "faultnet", "diagnose", "-", "--why", typed=text, PYTHONIOENCODING="cp1252")
    assert ran.returncode == 0, ran.stderr
    assert "Battery resistance by a step of load: 8.2 m" in ran.stdout


def test_trial_answers_with_every_number_and_its_interval(run: Any, tmp_path: Path) -> None:
    kept, picture = tmp_path / "kept.jsonl", tmp_path / "reliability.svg"
    given = ("trial", "--cars", "2", "--seed", "4", "--policy", "flow_chart", "--resume", str(kept))
    answer = run(*given, "--json", "--svg", str(picture)).json
    assert (answer["cars"], answer["seed"], answer["world"], list(answer["policies"])) == (
        2, 4, "standard", ["flow_chart"],
    )  # fmt: skip
    row = answer["policies"]["flow_chart"]
    for name in answer["definitions"]:
        assert row[name]["low"] <= row[name]["value"] <= row[name]["high"], name
    assert set(answer["tables"]) <= set(row)
    assert sum(own["cars"] for own in row["first_visit"].values()) == 2
    assert set(row["by_component"]["battery"]) == {"brier", "reliability", "resolution", "uncertainty", "skill"}
    drawn = picture.read_text(encoding="utf-8")
    assert ElementTree.fromstring(drawn).tag.endswith("svg")
    assert "flow chart, leading cause" in drawn
    assert len(kept.read_text(encoding="utf-8").splitlines()) == 2
    sheet = run(*given).out
    assert "RIGHT FIRST TIME" in sheet
    assert "RIGHT AT THE FIRST VISIT" in sheet
    assert max(map(len, sheet.splitlines())) <= 80


def test_a_trial_says_what_tools_it_takes_where_none_are_named(run: Any) -> None:
    given = ("trial", "--cars", "1", "--policy", "flow_chart", "--json")
    assert "'all' when left out" in " ".join(run("trial", "--help").out.split())
    assert run(*given).json["tools"] is None
    assert "'usual' when left out" in " ".join(run("diagnose", "--help").out.split())
    assert run(*given, "--tools", "usual").json["tools"] == sorted(USUAL_TOOLS)


@pytest.mark.parametrize("wrong", [("--policy", "guess"), ("--tools", "crystal ball"), ("--priors", "nowhere")])
def test_a_trial_that_cannot_be_is_refused_in_a_sentence(run: Any, wrong: tuple[str, str]) -> None:
    ran = run("trial", "--cars", "1", *wrong)
    assert ran.status == 2
    assert ran.out == ""
    assert wrong[1] in ran.err
