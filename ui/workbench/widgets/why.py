"""Why a cause is likely or not: each entry for and against, in words."""

from __future__ import annotations

from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.result import Cause, Reason
from faultnet.diagnosis.wording import share_words
from faultnet.report.words import LEAST_WEIGHT, times_words
from workbench.words import plain


def is_told(diagnosis: Diagnosis, cause: Cause) -> bool:
    """Whether the diagnosis gives reasons for a cause."""
    return f"{cause.component}:{cause.mode}" in diagnosis.reasons


def reasons(diagnosis: Diagnosis, cause: Cause, most: int = 6) -> str:
    """HTML of the entries that moved one cause, strongest first."""
    found = diagnosis.reasons.get(f"{cause.component}:{cause.mode}", ())
    told = [r for r in found if abs(r.weight) >= LEAST_WEIGHT][:most]
    lines = "".join(_line(r) for r in told) or "<li><span></span><span>No entry moves it much yet.</span></li>"
    start = f"Before any entry: {share_words(cause.prior)}. Now: {share_words(cause.probability)}."
    return f"<p><b>{plain(cause.label)}</b></p><ul class='fn-why'>{lines}</ul><p class='fn-note'>{plain(start)}</p>"


def _line(reason: Reason) -> str:
    sign, side = ("+", "for") if reason.weight > 0 else ("−", "against")
    return (
        f"<li><span class='sign' aria-label='{side}'>{sign}</span><span>{plain(reason.said)}</span>"
        f"<span class='how'>{side}: {plain(times_words(reason.weight))}</span></li>"
    )
