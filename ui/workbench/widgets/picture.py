"""What hangs together in this case: the parts in doubt on the left, what was read on the right, and what moved what.

No boxes with bars: parts are words on a line whose thickness is the belief, readings are words, and a link is drawn
where a reading moved a part's leading fault, thicker the more it did.
"""

from __future__ import annotations

from faultnet.car import Case
from faultnet.catalogue.catalogue import Catalogue
from faultnet.diagnosis import Diagnosis
from workbench.words import plain, share, times

LEAST_DECIBANS = 1.0


def drawn(case: Case, diagnosis: Diagnosis, catalogue: Catalogue) -> str:
    """HTML of the links, as a list that reads well on a phone and aloud."""
    blocks = []
    for cause in diagnosis.causes:
        found = diagnosis.reasons.get(f"{cause.component}:{cause.mode}")
        if not found:
            continue
        links = "".join(
            f"<li><span aria-hidden='true'>{_rope(r.weight)}</span> {plain(r.said)}"
            f"<br><span class='fn-note'>{plain(times(r.weight))}</span></li>"
            for r in found
            if abs(r.weight) >= LEAST_DECIBANS
        )
        if links:
            blocks.append(f"<p><b>{plain(cause.label)}</b> ({share(cause.probability)})</p><ul>{links}</ul>")
    return "".join(blocks) or "<p class='fn-note'>Nothing read so far moves any cause much.</p>"


def _rope(weight: float) -> str:
    return ("+" if weight > 0 else "−") * min(5, 1 + int(abs(weight) / 5))
