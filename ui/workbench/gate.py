"""Sharing on the local network asks for a passphrase; on this computer alone nothing is asked."""

from __future__ import annotations

import hashlib
import hmac
import os
import time
from functools import lru_cache

import streamlit as st

PASSPHRASE = "FAULTNET_PASSPHRASE"


@lru_cache(maxsize=4)
def token(passphrase: str) -> str:
    """What a browser keeps so that it is not asked again after a reload; it does not give the passphrase away."""
    return hashlib.pbkdf2_hmac("sha256", passphrase.encode(), b"faultnet front end", 100_000).hex()[:40]


def passed() -> bool:
    """Whether this session may see cases; asks for the passphrase if not."""
    wanted = os.environ.get(PASSPHRASE)
    if not wanted or st.session_state.get("passed"):
        return True
    if hmac.compare_digest(str(st.context.cookies.get("faultnet_pass", "")), token(wanted)):
        st.session_state["passed"] = True
        return True
    return _asked(wanted)


def _asked(wanted: str) -> bool:
    place = st.empty()
    with place.container():
        given = st.text_input("Passphrase", type="password", key="passphrase", autocomplete="current-password")
        st.html("<p class='fn-note'>It stands in the window in which faultnet was started.</p>")
    if not given:
        return False
    if not hmac.compare_digest(" ".join(given.lower().split()), wanted):
        time.sleep(1.0)  # slows guessing down
        st.error("That is not the passphrase.")
        return False
    st.session_state["passed"] = True
    place.empty()
    _keep(token(wanted))
    return True


def _keep(value: str) -> None:
    st.html(
        f"<script>document.cookie='faultnet_pass={value};path=/;SameSite=Strict'</script>",
        unsafe_allow_javascript=True,
    )
