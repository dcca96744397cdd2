"""The page that asks for the passphrase, whole in itself: nothing else is handed out before."""

from __future__ import annotations

from html import escape
from urllib.parse import parse_qs

MOST_BYTES = 4096
WRONG = "That is not the passphrase."
BUSY = "Somebody is trying passphrases just now. Wait a little and try again."
STYLE = """
:root { color-scheme: light dark; font: 17px/1.5 system-ui, sans-serif; }
body { max-width: 26rem; margin: 15vh auto 0; padding: 0 1rem; }
label { display: block; font-weight: 600; }
input, button { font: inherit; width: 100%; box-sizing: border-box; padding: .7rem; margin: .5rem 0; min-height: 3rem;
  border: 1px solid #808b87; border-radius: 10px; }
button { background: #0a5a63; color: #fff; }
"""


def page(said: str = "") -> bytes:
    """The page, with what is wrong with the last try."""
    wrong = f"<p role='alert'><b>{escape(said)}</b></p>" if said else ""
    return (
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'><title>faultnet</title>"
        f"<style>{STYLE}</style></head><body><main><h1>faultnet</h1><form method='post'>"
        "<label for='passphrase'>Passphrase</label><input id='passphrase' name='passphrase' type='password' "
        "autocomplete='current-password' autocapitalize='none' required autofocus>"
        f"{wrong}<button>Come in</button></form>"
        "<p>It stands in the window in which faultnet was started.</p></main></body></html>"
    ).encode()


def given_in(body: bytes) -> str:
    """The passphrase in a form that was sent."""
    fields = parse_qs(body.decode("ascii", "replace"), keep_blank_values=True, encoding="utf-8", errors="replace")
    return fields.get("passphrase", [""])[0]
