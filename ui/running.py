"""The server's process: runs Streamlit, and meanwhile loads what the first page will ask for.

The launcher starts this file. Streamlit itself reads no page before a browser asks for one; by then much of the work is
done here, while the browser is still loading what it needs itself.
"""

from __future__ import annotations

import os
import socket
import sys
import threading
import time
from contextlib import suppress


def load() -> None:
    """Bring the library, the numbers and the case to begin with into memory.

    What goes wrong is left to the page that needs it, which says so in words.
    """
    from workbench import answers

    from faultnet.case.file import load_case
    from faultnet.case.store.store import open_store  # noqa: F401 - the first page opens the store
    from faultnet.errors import FaultnetError

    with suppress(FaultnetError, OSError):
        answers.keep_up()
        answers.catalogue()
        named = os.environ.get("FAULTNET_OPEN_CASE")
        if named:
            answers.present(load_case(named))


def load_once_listening(port: int) -> None:
    """Wait until the server listens, so that it is not held up, and load."""
    while not _listens(port):
        time.sleep(0.05)
    load()


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def main() -> None:
    """Run the server with the arguments of Streamlit's own command."""
    sys.path.append(os.getcwd())
    port = int(sys.argv[sys.argv.index("--server.port") + 1])
    threading.Thread(target=load_once_listening, args=(port,), daemon=True).start()
    from streamlit.web.cli import main as streamlit

    streamlit(prog_name="streamlit")


if __name__ == "__main__":
    main()
