"""The parts of the front end that need no page."""

from __future__ import annotations

import doctest
import importlib
import math
import os
import pkgutil
import socket
import subprocess
import sys
import threading
import time
import tomllib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from faultnet.case.file import load_case
from faultnet.case.types import Act, Reading, Visit
from faultnet.decision import advise, load_costs
from faultnet.decision.advice import GIVE_BACK_WORDS, UNFOUNDED_WORDS, Decision
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.errors import EntryError
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped
from tests.ui.conftest import UI, a_case, serve_module

CATALOGUE = load_catalogue()


def modules() -> list[str]:
    import workbench

    found = [m.name for m in pkgutil.walk_packages(workbench.__path__, "workbench.")]
    assert len(found) > 10
    return found


@pytest.mark.parametrize("name", modules())
def test_examples_in_docstrings_hold(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_every_answer_can_be_typed_by_number_and_in_full() -> None:
    from workbench.entering import typed_choice

    for test in (t for t in CATALOGUE.tests if t.kind == "choice"):
        for number, (choice, label) in enumerate(test.choices, start=1):
            assert typed_choice(test, f" {number} ") == typed_choice(test, label.upper()) == choice, test.id
        for wrong in ("0", str(len(test.choices) + 1), "zzz", ""):
            with pytest.raises(EntryError):
                typed_choice(test, wrong)


def test_every_number_test_takes_a_plausible_number_and_refuses_a_wild_one() -> None:
    from workbench.entering import typed_reading

    for test in (t for t in CATALOGUE.tests if t.kind == "number"):
        assert test.plausible is not None
        middle = sum(test.plausible) / 2
        typed = typed_reading(test, f"{middle:.4f}".replace(".", ","))
        assert typed.value == pytest.approx(middle, abs=1e-4), test.id
        with pytest.raises(EntryError, match="cannot be right"):
            typed_reading(test, f"{test.plausible[1] * 3 + 1:.2f}")


def test_a_case_until_an_entry_leaves_later_ones_out() -> None:
    from workbench.answers import until

    case = a_case()
    first = replace(case.visits[0], entries=(Reading("smell", state="none"), Act("charge")))
    second = replace(case.visits[0], entries=(Reading("rest_voltage", value=12.5),))
    case = replace(case, visits=(first, second))
    assert [len(v.entries) for v in until(case, 0).visits] == [0]
    assert [len(v.entries) for v in until(case, 1).visits] == [1]
    assert until(case, 3) == case


def test_settings_survive_and_a_damaged_file_gives_the_defaults(workplace: Path) -> None:
    from workbench.settings import Settings, load_settings, save_settings, settings_file

    save_settings(Settings(("voltmeter",), "degF"))
    assert load_settings() == Settings(("voltmeter",), "degF")
    settings_file().write_text("{", encoding="utf-8")
    assert load_settings() == Settings()


def test_recorded_readings_are_sorted_by_the_event_they_come_from() -> None:
    from workbench.recorded import MOST_CHOSEN, chosen_first, event_names

    from faultnet.recordings import find_events, read_recording, readings_from

    found = find_events(read_recording(shipped("cases") / "recordings" / "adapter_slow.csv.gz"))
    rows = readings_from(found, catalogue=CATALOGUE)
    names = event_names(found, rows)
    assert {(row["begin"], row["end"]) for row in rows} == set(names)
    assert sorted(name.split(" at ")[0] for name in names.values() if "Start" in name) == ["Start 1", "Start 2"]
    assert chosen_first(list(names.values())) == list(names.values())
    assert chosen_first([f"Start {k} at {k}.0 s" for k in range(1, MOST_CHOSEN + 5)]) == ["Start 1 at 1.0 s"]


# --- the launcher -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("interrupts", ["default_int_handler", "SIG_IGN"])
def test_the_server_ends_with_its_launcher(workplace: Path, interrupts: str) -> None:
    """A launcher that is told to stop takes the server with it, also where a shell had it ignore Ctrl+C."""
    port = serve_module().free_port()
    call = (
        f"import signal; signal.signal(signal.SIGINT, signal.{interrupts}); "
        "import importlib.util as u; s = u.spec_from_file_location('serve', sys.argv[1]); m = u.module_from_spec(s); "
        "s.loader.exec_module(m); sys.exit(m.launch(None, int(sys.argv[2]), False, False))"
    )
    launcher = subprocess.Popen([sys.executable, "-c", f"import sys; {call}", str(UI / "serve.py"), str(port)])
    try:
        assert answers(port, wanted=True)
        launcher.terminate()
        assert launcher.wait(timeout=20) == 0
        assert answers(port, wanted=False)
    finally:
        launcher.kill()


def test_a_server_deaf_to_being_told_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    module = serve_module()
    monkeypatch.setattr(module, "PATIENCE", 0.2)
    program = "import signal; signal.signal(15, signal.SIG_IGN); print(flush=True); signal.pause()"
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE) as deaf:
        assert deaf.stdout is not None
        deaf.stdout.readline()
        module._end(deaf)
        assert deaf.returncode == -9


def answers(port: int, *, wanted: bool) -> bool:
    """Whether the port comes to be answered, or not answered, within some time."""
    for _ in range(300):
        with socket.socket() as probe:
            if (probe.connect_ex(("127.0.0.1", port)) == 0) is wanted:
                return True
        time.sleep(0.1)
    return False


@pytest.mark.parametrize("share, listens", [(False, "127.0.0.1"), (True, "0.0.0.0")])
def test_the_server_listens_here_alone_unless_it_is_shared(share: bool, listens: str) -> None:
    command = serve_module().command(8501, share=share)
    flags = dict(zip(command[4::2], command[5::2], strict=True))
    assert flags["--server.address"] == listens
    assert flags["--browser.gatherUsageStats"] == "false"
    assert flags["--server.headless"] == "true"
    assert flags["--runner.postScriptGC"] == "false"
    assert Path(command[1]).is_file()
    assert Path(command[3]).is_file()


def test_the_launcher_opens_the_browser_once_the_page_is_served_and_nothing_is_asked(tmp_path: Path) -> None:
    """On a machine that never served a page, a server that has to open the browser asks for an e-mail address first."""
    port, opened = serve_module().free_port(), tmp_path / "opened.txt"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > "{opened}"\n')
    browser.chmod(0o755)
    environment = {
        **os.environ,
        "HOME": str(tmp_path),
        "BROWSER": str(browser),
        "FAULTNET_STORE": str(tmp_path / "c.sqlite"),
    }
    command = [sys.executable, "-m", "faultnet", "serve", "--port", str(port)]
    with (tmp_path / "said.txt").open("wb") as said:
        process = subprocess.Popen(command, env=environment, stdin=subprocess.DEVNULL, stdout=said, stderr=said)
        try:
            assert answers(port, wanted=True)
            for _ in range(100):
                if opened.exists() and opened.read_text():
                    break
                time.sleep(0.1)
            assert opened.read_text().strip() == f"http://127.0.0.1:{port}"
        finally:
            process.terminate()
            process.wait(timeout=20)
    words = (tmp_path / "said.txt").read_text(encoding="utf-8")
    assert words.splitlines()[0].startswith("faultnet: open http://127.0.0.1:")
    for foreign in ("mail", "Streamlit", "URL"):
        assert foreign not in words
    assert answers(port, wanted=False)


@pytest.mark.parametrize("named, shown", [((), False), (("DISPLAY",), True), (("BROWSER",), True)])
def test_a_browser_is_opened_only_where_there_is_a_screen(
    monkeypatch: pytest.MonkeyPatch, named: tuple[str, ...], shown: bool
) -> None:
    module = serve_module()
    monkeypatch.setattr(module.sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"):
        monkeypatch.delenv(name, raising=False)
    for name in named:
        monkeypatch.setenv(name, ":0")
    assert module.has_a_screen() is shown


def test_the_settings_beside_the_pages_say_the_same() -> None:
    settings = tomllib.loads((UI / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    assert settings["browser"]["gatherUsageStats"] is False
    assert settings["client"]["showErrorDetails"] == "none"
    assert settings["runner"]["postScriptGC"] is False


def test_what_the_first_page_needs_is_loaded_beforehand(workplace: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FAULTNET_OPEN_CASE", str(shipped("cases") / "fresh_case.json"))
    import running
    from workbench import answers

    answers.forget()
    running.load()
    case = load_case(shipped("cases") / "fresh_case.json")
    assert answers.catalogue.cache_info().misses == 1
    answers.present(case)
    assert (answers.present.cache_info().misses, answers.present.cache_info().hits) == (1, 1)
    monkeypatch.setenv("FAULTNET_OPEN_CASE", str(workplace / "none.json"))
    running.load()  # the page will say what is wrong with it


def test_garbage_is_looked_for_now_and_then(monkeypatch: pytest.MonkeyPatch) -> None:
    import gc

    from workbench import memory

    done: list[str] = []
    monkeypatch.setattr(gc, "collect", lambda: done.append("looked"))
    monkeypatch.setattr(gc, "freeze", lambda: done.append("set apart"))
    monkeypatch.setattr(memory, "_looked", [])
    moment = iter((10.0, 11.0, 12.5))
    monkeypatch.setattr(memory.time, "monotonic", lambda: next(moment))
    for _ in range(3):
        memory.tidy()
    assert done == ["looked", "set apart", "looked"]


def test_a_case_is_worked_through_once_for_all_a_page_shows_of_it(workplace: Path) -> None:
    from workbench import answers, thinking

    case = a_case()
    answers.forget()
    for ask in (answers.present, answers.belief):
        ask(case)
    answers.answer(case, answers.Shop(frozenset()))
    assert thinking.worked.cache_info().misses == 1
    told = advise(case, answers.catalogue(), answers.costs(answers.Shop(frozenset())), tools=frozenset())
    assert answers.answer(case, answers.Shop(frozenset())) == told
    one = answers.ranges(case)
    read = replace(case.visits[0], entries=(Reading("rest_voltage", value=12.4),))
    assert answers.ranges(replace(case, visits=(read,))) is one


def test_what_stands_in_the_way_of_starting_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    module = serve_module()
    assert module.launch(str(tmp_path / "none.json"), 0, False, False) == 2
    assert "there is no such case file" in capsys.readouterr().err
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert module.launch(None, port, False, False) == 2
    assert f"port {port} is taken" in capsys.readouterr().err


def test_sharing_tells_the_address_the_passphrase_and_what_it_means() -> None:
    module = serve_module()
    words = module.passphrase()
    text = module.sharing_text(8501, words)
    assert words in text
    assert f"http://{module.address()}:8501" in text
    assert "not encrypted" in text
    assert "end all" in text
    assert len(words.split()) == module.WORDS_DRAWN
    assert module.WORDS_DRAWN * math.log2(len(set(module.WORDS))) >= 40.0


def test_the_headline_says_what_to_do_and_a_mended_car_is_not_given_back_as_it_is() -> None:
    from workbench.widgets import verdict

    going_on = Decision(False, "battery", "replace", "Battery: replace the part", 300.0, 0.8, True, "", "", "", "")
    assert "To repair first: Battery: replace the part" in verdict.headline(going_on, a_case())
    assert verdict.headline(replace(going_on, founded=False), a_case()) == ""
    unsure = verdict.headline(replace(going_on, stop=True, founded=False, chance_of_cure=0.22), a_case())
    assert "Not sure, but first to try: Battery: replace the part" in unsure
    assert "Enough tested" not in unsure
    hardly = verdict.headline(replace(going_on, stop=True, founded=False, hardly=True, chance_of_cure=0.03), a_case())
    assert "Not sure; to try first, as it takes little: Battery: replace the part" in hardly
    assert "Hardly the whole cure (3%): the likeliest cause stands above and comes next" in hardly
    nothing = verdict.headline(
        replace(going_on, stop=True, repair=None, act=None, label=UNFOUNDED_WORDS, founded=False), a_case()
    )
    assert f"No test left is worth its time. Not sure: {UNFOUNDED_WORDS}" in nothing
    enough = replace(going_on, stop=True, repair=None, act=None, label=GIVE_BACK_WORDS)
    assert f"Enough tested, nothing found: {GIVE_BACK_WORDS}</b>.</p>" in verdict.headline(enough, a_case())
    under_way = replace(enough, stop=False)
    assert verdict.headline(under_way, a_case()) == ""
    for outcome, cured in (("cured", True), ("no_change", False)):
        visit = Visit(entries=(Act("tighten_joint", component="negative_joint", outcome=outcome),))
        told = verdict.headline(enough, a_case(visits=(visit,)))
        assert ("has cured it" in told) is cured
        assert (GIVE_BACK_WORDS in told) is not cured
        assert "nothing found" not in told


def test_a_check_up_with_nothing_read_names_its_first_test_and_not_giving_the_car_back() -> None:
    from workbench.widgets import verdict

    visit = Visit((Reading("when_it_fails", state="does_not_fail"),), a_case().visits[0].conditions)
    case = a_case(visits=(visit,))
    advice = advise(case, CATALOGUE, load_costs(), tools=USUAL_TOOLS)
    said = verdict.told(advice) + verdict.to_do(advice.decision, case, CATALOGUE)
    assert verdict.headline(advice.decision, case) == ""
    assert "Nothing is looked at or measured yet" in said
    assert advice.diagnosis.next_tests[0].label in said
    assert GIVE_BACK_WORDS not in said
    assert "surer" not in said


def test_a_run_that_was_overtaken_writes_nothing_old_over_what_was_typed_since(monkeypatch: pytest.MonkeyPatch) -> None:
    """Runs of one session go on beside each other; the first is slow to write here, the second knows a field more."""
    from workbench import drafts

    kept: dict[str, dict[str, str]] = {}
    reading, overtaken = threading.Event(), threading.Event()

    class Store:
        def draft(self, place: str) -> dict[str, str]:
            found = dict(kept.get(place, {}))
            if not reading.is_set():
                reading.set()
                overtaken.wait(0.3)
            return found

        def keep_draft(self, place: str, fields: dict[str, str]) -> None:
            kept[place] = fields

    session = {"rating": "54o", "label": ""}
    session[drafts.WATCHED] = {key: drafts._Watched("new", "", "") for key in ("rating", "label")}
    monkeypatch.setattr(drafts, "st", SimpleNamespace(session_state=session))
    monkeypatch.setattr(drafts.state, "store", Store)
    late = threading.Thread(target=drafts.keep_typed)
    late.start()
    reading.wait(5)
    session["label"] = "blue van"
    drafts.keep_typed()
    overtaken.set()
    late.join(5)
    assert kept == {"new": {"rating": "54o", "label": "blue van"}}
