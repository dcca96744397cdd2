"""Files that were uploaded, held as long as a page shows them.

The server library keeps what was ever uploaded until the session ends, which for a page left open is never.
"""

from __future__ import annotations

from typing import Any

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.runtime.uploaded_file_manager import UploadedFile

from workbench import recorded

__all__ = ["UploadedFile", "given", "let_go"]
HELD, SHOWN = "uploads_held", "uploads_shown"


def given(label: str, key: str, kinds: list[str] | None = None) -> Any:
    """Put a place to drop a file on onto the page, and give the file that lies there."""
    found = st.file_uploader(label, type=kinds, key=key)
    shown = st.session_state.setdefault(SHOWN, set())
    if found is not None:
        shown.add(found.file_id)
    return found


def let_go() -> None:
    """At the end of a page: drop the files that it shows no more.

    Where a page has a place for files, one may just be on its way and is not known yet; only those that were known are
    dropped then.
    """
    context = get_script_run_ctx()
    if context is None:
        return
    shown: set[str] | None = st.session_state.pop(SHOWN, None)
    left: set[str] = st.session_state.pop(HELD, set()) - (shown or set())
    files, session = context.uploaded_file_mgr, context.session_id
    for file_id in left:
        files.remove_file(session, file_id)
    if shown is None:
        files.remove_session_files(session)
    else:
        st.session_state[HELD] = shown
    if left:
        recorded.forget()
