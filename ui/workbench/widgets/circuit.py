"""The circuit on the card: where the instrument goes, how suspect each part is, and each part to be pressed.

The picture is an image, so that nothing in it can act; over each part lies a button. What is said of a part when it is
pressed stands in the button's ``data-part``; the page's own script shows it at once (see ``page.js``).
"""

from __future__ import annotations

import json
from collections.abc import Mapping

from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.wording import share_words
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.circuit import HEIGHT, PARTS, TOP, WIDTH, probes_of
from faultnet.report.circuit_picture import draw_circuit, members_of, part_words, suspicion
from faultnet.report.words import LEAST_SHARE
from workbench.widgets.pictures import image, paper
from workbench.words import minutes, plain

MOST_TESTS = 5


def picture(
    test: str, instrument: str, diagnosis: Diagnosis, about: Mapping[str, tuple[str, ...]], catalogue: Catalogue
) -> str:
    """HTML of the circuit for a test, its parts to be pressed; empty where nothing is connected.

    Parameters
    ----------
    test, instrument : str
    diagnosis : Diagnosis
    about : mapping of component to tuple of str
        Tests that tell most about it; see :func:`faultnet.decision.about.telling_tests`.
    catalogue : Catalogue
    """
    probes = probes_of(test, instrument)
    if probes is None:
        return ""
    suspects = suspicion(diagnosis)
    drawn = image(draw_circuit(suspects, catalogue, probes, paper=paper()), f"The circuit. {probes.words()}")
    parts = "".join(
        f"<button type='button' class='fn-part' style='left:{100 * part.x / WIDTH:.1f}%;"
        f"top:{100 * (part.y - TOP) / HEIGHT:.1f}%' aria-haspopup='dialog'"
        f" aria-label='{plain(part_words(name, suspects, catalogue))}'"
        f" data-part='{plain(told(name, diagnosis, about, catalogue))}'></button>"
        for name, part in PARTS.items()
        if members_of(name)
    )
    return (
        f"<div class='fn-circuit' role='group' aria-label='Parts of the circuit'>{drawn}{parts}</div>"
        f"<p class='fn-probes'>{plain(probes.words())}</p>"
    )


def told(name: str, diagnosis: Diagnosis, about: Mapping[str, tuple[str, ...]], catalogue: Catalogue) -> str:
    """What is said of a part that was pressed, as JSON: its name, its causes with their shares, and its tests."""
    members = members_of(name)
    causes = [c for c in diagnosis.causes if c.component in members and c.still_there >= LEAST_SHARE]
    causes.sort(key=lambda c: -c.still_there)
    worths = {t.test: t for t in diagnosis.next_tests}
    suspects = sorted(members, key=lambda m: -sum(c.still_there for c in causes if c.component == m))
    tests = dict.fromkeys(t for rank in zip(*(_filled(about, m) for m in suspects), strict=True) for t in rank if t)
    return json.dumps(
        {
            "title": "; ".join(catalogue.component(m).label for m in members),
            "causes": [f"{c.label}: {share_words(c.still_there)}" for c in causes]
            or ["Under 1 % likely to be at fault."],
            "tests": [[t, worths[t].label, minutes(worths[t].minutes)] for t in tests if t in worths][:MOST_TESTS],
        },
        ensure_ascii=False,
        separators=(",", ":"),
    )


def _filled(about: Mapping[str, tuple[str, ...]], component: str) -> tuple[str, ...]:
    found = about.get(component, ())[:MOST_TESTS]
    return (*found, *("" for _ in range(MOST_TESTS - len(found))))
