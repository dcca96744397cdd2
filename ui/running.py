"""The server's process: runs Streamlit behind our own door, and meanwhile loads what the first page will ask for.

The launcher starts this file. Streamlit itself reads no page before a browser asks for one; by then much of the work is
done here and in the processes that work the answers out, while the browser is still loading what it needs itself.
"""

from __future__ import annotations

import os
import signal
import socket
import sys
import threading
import time
from contextlib import suppress

OTHERS_AFTER = 5.0  # the first page needs one process; the others come when it stands [s]


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
    from workbench import workers

    while not _listens(port):
        time.sleep(0.05)
    load()
    time.sleep(OTHERS_AFTER)
    workers.start_others()


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def behind_the_door(port: int, shown: str) -> None:
    """Have the server library put our door around what it serves, and never ask where this computer is in the network.

    Its own check of an origin asks an outside host for this computer's address, and all wait for the answer.

    Parameters
    ----------
    port : int
    shown : str
        The address that the user was shown.
    """
    from pathlib import Path

    import streamlit
    from door.door import Door
    from door.gate import Gate
    from door.headers import Headers
    from door.hosts import host_names
    from door.logins import Logins
    from streamlit import net_util
    from streamlit.web.server.starlette import starlette_server

    net_util.get_external_ip = net_util.get_internal_ip = lambda: None
    make, passphrase = starlette_server.create_starlette_app, os.environ.get("FAULTNET_PASSPHRASE")

    def made(runtime: object) -> Door:
        gate = Gate(Logins(passphrase), f"faultnet_{port}") if passphrase else None
        page = Path(streamlit.__file__).parent / "static" / "index.html"
        door = Door(make(runtime), host_names(port, [shown]), Headers(page), gate)
        if gate is not None and sys.stdin is not None:
            threading.Thread(target=door.obey, args=(sys.stdin,), daemon=True).start()
        return door

    starlette_server.create_starlette_app = made


def _given(option: str) -> str:
    return sys.argv[sys.argv.index(option) + 1]


def main() -> None:
    """Run the server with the arguments of Streamlit's own command."""
    sys.path.append(os.getcwd())
    if hasattr(signal, "SIGTTIN"):
        signal.signal(
            signal.SIGTTIN, signal.SIG_IGN
        )  # in the background nothing can be typed, and nothing stops for it
    from workbench import workers

    port = int(_given("--server.port"))
    workers.start()
    threading.Thread(target=load_once_listening, args=(port,), daemon=True).start()
    behind_the_door(port, _given("--browser.serverAddress"))
    from streamlit.web.cli import main as streamlit

    streamlit(prog_name="streamlit")


if __name__ == "__main__":
    main()
