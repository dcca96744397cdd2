"""What can hurt while a test or an act is done: every caution of it, the worst first, before its steps."""

from __future__ import annotations

from collections.abc import Sequence

from faultnet.prior_set.catalogue import Catalogue
from workbench.words import plain


def block(names: Sequence[str], catalogue: Catalogue) -> str:
    """HTML of cautions: in few words at once, in full one tap away; nothing where there are none."""
    if not names:
        return ""
    short = "".join(f"<li>{plain(words)}</li>" for words in catalogue.short_cautions(names))
    full = "".join(f"<li>{plain(catalogue.cautions[name])}</li>" for name in names)
    return (
        f"<div class='fn-care'><p class='fn-label'>Take care</p><ul class='short'>{short}</ul>"
        f"<details><summary>In full</summary><ul>{full}</ul></details></div>"
    )
