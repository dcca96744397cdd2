"""A sheet as a PDF file, from the same HTML that is shown and printed; needs the extra ``pdf``."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any, Literal

from faultnet.errors import FaultnetError, MissingExtraError

Paper = Literal["A4", "Letter"]
PRINT_INSTEAD = "print the HTML sheet from a browser; its print dialogue also makes a PDF"


def can_make_pdf() -> bool:
    """Whether the optional library is installed."""
    return find_spec("weasyprint") is not None


def sheet_pdf(html: str, *, paper: Paper = "A4") -> bytes:
    """Lay a sheet out on paper.

    Parameters
    ----------
    html : str
        Of :func:`~faultnet.report.sheet.job_sheet`, :func:`~faultnet.report.blank.blank_sheet` or
        :func:`~faultnet.report.plan.plan_sheet`.
    paper : {"A4", "Letter"}

    Returns
    -------
    bytes
        The PDF file.

    Raises
    ------
    MissingExtraError
        If the optional library is not installed.
    FaultnetError
        If the system's text library, which it needs, is missing.

    Examples
    --------
    >>> from faultnet.report.page import document
    >>> sheet_pdf(document("a sheet", ["<p>words</p>"]))[:5]
    b'%PDF-'
    """
    weasyprint = _library()
    size = weasyprint.CSS(string=f"@page {{ size: {paper} }}")
    nothing_from_outside = weasyprint.URLFetcher(allowed_protocols=())  # a sheet holds all it needs
    document = weasyprint.HTML(string=html, url_fetcher=nothing_from_outside)
    return bytes(document.write_pdf(stylesheets=[size]))


def _library() -> Any:
    """Import the library; it is heavy, and it needs the system's text library beside it."""
    if not can_make_pdf():
        raise MissingExtraError(f"PDF files need an optional part, or else {PRINT_INSTEAD}", extra="pdf")
    try:
        import weasyprint
    except OSError as error:
        raise FaultnetError(
            "the system's text library, which PDF files need, is missing",
            got=str(error).splitlines()[0],
            to_do=f"install Pango (on Debian: apt-get install libpango-1.0-0 libpangoft2-1.0-0), or {PRINT_INSTEAD}",
        ) from None
    return weasyprint
