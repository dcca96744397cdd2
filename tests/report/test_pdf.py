"""Sheets as PDF: read back by another library, they hold what the HTML holds, on the paper that was asked for."""

from __future__ import annotations

import io
import sys
from html import unescape
from pathlib import Path
from typing import Any, Literal

import pytest
from pypdf import PdfReader

from faultnet.cli import main
from faultnet.cli.inputs import read_case
from faultnet.cli.paper import sheet_html
from faultnet.decision import load_costs
from faultnet.errors import FaultnetError, MissingExtraError
from faultnet.prior_set import load_catalogue
from faultnet.report import pdf
from faultnet.report.page import document

CATALOGUE = load_catalogue()
POINTS = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}  # ISO 216: 210 x 297 mm; ANSI Y14.1 A: 8.5 x 11 in; 72 points
KINDS: tuple[Literal["job", "blank", "plan"], ...] = ("job", "blank", "plan")


def words_of(file: bytes) -> str:
    """The text of a PDF, blanks made alike."""
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(file)).pages).split())


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_sheet_carries_its_cautions_on_the_paper_asked_for(
    kind: Literal["job", "blank", "plan"], paper: Literal["A4", "Letter"]
) -> None:
    html = sheet_html(kind, read_case("demo:shorted_cell"), CATALOGUE, load_costs())
    made = pdf.sheet_pdf(html, paper=paper)
    page = PdfReader(io.BytesIO(made)).pages[0].mediabox
    assert (float(page.width), float(page.height)) == pytest.approx(POINTS[paper], abs=0.1)
    text = words_of(made).replace(" ", "")
    for caution in CATALOGUE.general_cautions:
        assert CATALOGUE.cautions[caution].replace(" ", "") in text
    assert "Flat again after every charge".replace(" ", "") in text or kind == "blank"


def test_the_job_sheet_says_every_entry_and_the_button_to_print_is_not_on_it() -> None:
    case = read_case("demo:shorted_cell")
    made = words_of(pdf.sheet_pdf(sheet_html("job", case, CATALOGUE, load_costs()))).replace(" ", "")
    for entry in case.visits[0].entries:
        from faultnet.diagnosis.wording import entry_words

        assert unescape(entry_words(CATALOGUE, entry)).replace(" ", "") in made
    assert "Signature" in made
    assert not made.startswith("Print")


def test_a_sheet_fetches_nothing(caplog: pytest.LogCaptureFixture) -> None:
    asked = "http://127.0.0.1:9/picture.png"
    assert words_of(pdf.sheet_pdf(document("a", [f"<p>words</p><img src='{asked}' alt='outside'>"]))).startswith(
        "words"
    )
    assert any("disallowed protocol" in record.getMessage() for record in caplog.records)


def test_without_the_extra_a_sentence_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "find_spec", lambda name: None)
    with pytest.raises(MissingExtraError, match="print the HTML sheet") as caught:
        pdf.sheet_pdf("<p>")
    assert "faultnet[pdf]" in str(caught.value.to_do)


def test_without_the_text_library_a_sentence_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    class Broken:
        def find_spec(self, name: str, *_: Any) -> None:
            if name == "weasyprint":
                raise OSError("cannot load library 'libpango-1.0-0'")

    monkeypatch.setattr(pdf, "can_make_pdf", lambda: True)
    monkeypatch.delitem(sys.modules, "weasyprint", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Broken(), *sys.meta_path])
    with pytest.raises(FaultnetError, match="text library") as caught:
        pdf.sheet_pdf("<p>")
    assert "apt-get install" in str(caught.value.to_do)


@pytest.mark.parametrize("kind", KINDS)
def test_from_the_command_line(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("sheet.pdf", "sheet.html"):
        with pytest.raises(SystemExit) as left:
            main(["sheet", "demo:key_off_drain", "--kind", kind, "--out", str(tmp_path / name)])
        assert not left.value.code
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF-")
    with pytest.raises(SystemExit):
        main(["sheet", "demo:key_off_drain", "--kind", kind])
    assert capsys.readouterr().out.strip() == (tmp_path / "sheet.html").read_text(encoding="utf-8").strip()


def test_an_unknown_kind_of_file_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["sheet", "demo:key_off_drain", "--out", str(tmp_path / "sheet.doc")])
    assert left.value.code == 2
    assert ".html or .pdf" in capsys.readouterr().err


def test_the_plan_of_a_fresh_case_fits_two_pages() -> None:
    made = pdf.sheet_pdf(sheet_html("plan", read_case("demo:fresh_case"), CATALOGUE, load_costs()), paper="A4")
    assert len(PdfReader(io.BytesIO(made)).pages) <= 2
