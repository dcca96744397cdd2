"""How results show themselves in a notebook: small tables as HTML that carries no style or script of its own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


def html_table(heads: Sequence[str], rows: Iterable[Sequence[object]], caption: str = "") -> str:
    """Lay out rows as an HTML table, every text escaped.

    Parameters
    ----------
    heads : sequence of str
    rows : iterable of sequences, each as long as `heads`
    caption : str

    Examples
    --------
    >>> html_table(("cause",), [("battery <1>",)])
    '<table><thead><tr><th>cause</th></tr></thead><tbody><tr><td>battery &lt;1&gt;</td></tr></tbody></table>'
    """
    above = f"<caption>{escape(caption)}</caption>" if caption else ""
    head = "".join(f"<th>{escape(name)}</th>" for name in heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table>{above}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def paragraphs(*texts: str) -> str:
    """Lay out texts as HTML paragraphs, the first in bold, empty ones left out.

    Examples
    --------
    >>> paragraphs("Verdict", "", "Go on")
    '<p><b>Verdict</b></p><p>Go on</p>'
    """
    said = [escape(text) for text in texts if text]
    return "".join(f"<p><b>{text}</b></p>" if k == 0 else f"<p>{text}</p>" for k, text in enumerate(said))


def frame(rows: Iterable[dict[str, object]], columns: Sequence[str]) -> pd.DataFrame:
    """Put rows into a pandas frame with these columns, also where there is no row.

    Examples
    --------
    >>> frame([{"cause": "battery", "probability": 0.8}], ("cause", "probability")).shape
    (1, 2)
    """
    import pandas as pd

    return pd.DataFrame(list(rows), columns=list(columns))
