"""The frame of a printed sheet: one HTML document that needs nothing from outside, for A4 and Letter alike."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from faultnet.report.markup import escape

STYLE = """
@page { margin: 14mm; }
body { font: 11pt/1.35 sans-serif; color: #111; background: #fff; max-width: 190mm; margin: 0 auto; padding: 4mm; }
h1 { font-size: 16pt; margin: 0; } h2 { font-size: 12.5pt; margin: 5mm 0 1.5mm; break-after: avoid; }
p { margin: 0 0 1.5mm; } ul, ol { margin: 0 0 1.5mm; padding-left: 6mm; }
table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; vertical-align: top; padding: 1mm 2mm 1mm 0; border-bottom: .3mm solid #bbb; }
tr, .keep { break-inside: avoid; } td svg { width: 48mm; height: 4.5mm; display: block; }
.care { border: .5mm solid #111; border-left-width: 2mm; padding: 1.5mm 3mm; }
.box { display: inline-block; border: .4mm solid #111; min-width: 32mm; height: 8mm; vertical-align: middle; }
.tick { display: inline-block; border: .4mm solid #111; width: 4.5mm;
  height: 4.5mm; vertical-align: -0.8mm; margin: 0 1.5mm 0 3mm; }
.line { border-bottom: .3mm solid #111; height: 9mm; }
.quiet { color: #444; } .sign { display: flex; gap: 8mm; margin-top: 8mm; }
.sign div { flex: 1; border-top: .3mm solid #111; padding-top: 1mm; } .picture svg { width: 100%; height: auto; }
.circuit svg { width: 90mm; } .legend { columns: 2; list-style: none; padding: 0; }
figure { display: inline-block; margin: 1mm 2mm 1mm 0; } figure img { max-width: 58mm; max-height: 58mm; }
.words { columns: 2; font-size: 9pt; } .words dt { font-weight: bold; } .words dd { margin: 0 0 1mm; }
.print { font: inherit; padding: 3mm 6mm; margin-bottom: 3mm; } @media print { .print { display: none; } }
"""


def document(title: str, body: Iterable[str]) -> str:
    """A whole HTML document.

    Parameters
    ----------
    title : str
    body : iterable of str
        Parts that are HTML already.

    Examples
    --------
    >>> "<title>a &lt; b</title>" in document("a < b", [])
    True
    """
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" '
        f'content="width=device-width"><title>{escape(title)}</title><style>{STYLE}</style></head><body><main>'
        f'<button class="print" onclick="window.print()">Print</button>{"".join(body)}</main></body></html>\n'
    )


def listed(items: Iterable[str], tag: str = "ul") -> str:
    """A list of plain words; nothing when there are none.

    Examples
    --------
    >>> listed(["a & b"]), listed([])
    ('<ul><li>a &amp; b</li></ul>', '')
    """
    found = "".join(f"<li>{escape(item)}</li>" for item in items)
    return f"<{tag}>{found}</{tag}>" if found else ""


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; heads are plain words, cells are HTML already."""
    head = "".join(f"<th>{escape(h)}</th>" for h in heads)
    body = "".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def care(cautions: Iterable[str]) -> str:
    """A frame with cautions; nothing when there are none."""
    found = listed(cautions)
    return f'<div class="care keep"><b>Take care</b>{found}</div>' if found else ""
