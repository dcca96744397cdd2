"""Starts the front end: on this computer alone unless it is told to share, and never speaking to any outside host.

The command line loads this file by its path; it needs nothing but the standard library.
"""

from __future__ import annotations

import importlib.util
import os
import secrets
import signal
import socket
import subprocess
import sys
import threading
import time
import unicodedata
import webbrowser
from pathlib import Path

HERE = Path(__file__).resolve().parent
PATIENCE = 10.0
WORDS_DRAWN = 5
SHORTEST = 8
# Large tables go back to the system as soon as nobody needs them; without this a server never shrinks again.
# The products are small: a second thread of the linear algebra only waits on a busy machine.
ENVIRONMENT = {
    "MALLOC_ARENA_MAX": "2",
    "MALLOC_MMAP_THRESHOLD_": str(1 << 20),
    "MALLOC_TRIM_THRESHOLD_": str(8 << 20),
    "OPENBLAS_NUM_THREADS": "1",
}
WORDS = tuple(
    """
    acorn amber anchor anvil apple apron arrow aspen autumn badge bakery bamboo banjo barley basil basket beacon
    beaver birch biscuit blanket blossom bonnet border bottle boulder bridge bronze brook bucket butter button
    cabin cactus camel canal candle canvas canyon carbon carpet carrot castle cedar cello chalk cherry chestnut
    chimney cinder circle citrus clay cliff clover cobalt coconut comet copper coral cork cotton cradle crayon
    cricket crystal curtain cypress daisy desert diamond dolphin donkey dragon drum eagle easel ebony echo elbow
    elm ember engine falcon feather fern fiddle field finch flint flute forest fossil fountain fox galaxy garden
    garlic garnet gazelle ginger glacier glove granite grape gravel hammer harbor harp hazel heather heron
    hickory honey horizon hornet indigo iris iron island ivory jacket jaguar jasmine jelly jungle juniper kayak
    kettle kitten ladder lagoon lantern lark laurel lavender leather lemon lentil lilac lily linen lizard
    lobster lotus lumber magnet magpie mango maple marble market marsh meadow melon mirror mitten monkey moose
    mosaic moss mountain muffin mustard napkin nectar needle nettle nickel noodle nutmeg oak oasis oatmeal ocean
    olive onion onyx opal orange orbit orchid otter oyster paddle palm panda paper parrot parsley peach peanut
    pebble pelican pencil pepper piano pigeon pillow pine pistachio planet plum pocket poppy potato prairie
    prism pumpkin puzzle quartz quill quilt rabbit radish raft rainbow raven ribbon river robin rocket rope rose
    ruby saddle saffron salmon sandal sapphire scarf shadow shell shovel silver sparrow spider spinach spruce
    squirrel stable statue summer sunset swan table tangle teapot thimble thistle thunder tiger timber tomato
    topaz tower trumpet tulip tunnel turnip turtle umber valley vanilla velvet violet violin walnut walrus water
    whale willow window winter wolf wren yarrow zebra zephyr
    """.split()  # noqa: SIM905 - a list of words is read as words
)


def command(port: int, *, share: bool) -> list[str]:
    """The command that runs the server.

    Parameters
    ----------
    port : int
    share : bool
        Listen to the local network and not to this computer alone.

    Notes
    -----
    The server is never the one to open the browser: when it is, it first asks a new user for an e-mail address, and
    lays an offer to developers over the page.
    """
    options = {
        "server.port": port,
        "server.address": "0.0.0.0" if share else "127.0.0.1",
        "server.headless": "true",
        "server.fileWatcherType": "none",
        "server.enableCORS": "true",
        "server.enableXsrfProtection": "true",
        "browser.gatherUsageStats": "false",
        "browser.serverAddress": address() if share else "127.0.0.1",
        "client.toolbarMode": "minimal",
        "client.showErrorDetails": "none",
        "logger.hideWelcomeMessage": "true",  # this launcher has said where the page is
        "runner.postScriptGC": "false",  # see workbench/memory.py
        "runner.magicEnabled": "false",
    }
    flags = [part for name, value in options.items() for part in (f"--{name}", str(value))]
    return [sys.executable, str(HERE / "running.py"), "run", str(HERE / "app.py"), *flags]


def launch(case: str | None, port: int, share: bool, open_browser: bool) -> int:
    """Run the front end until it is stopped.

    Parameters
    ----------
    case : str, optional
        A case file to begin with.
    port : int
        0 takes a free one.
    share : bool
        Let others on the local network in, with a passphrase.
    open_browser : bool

    Returns
    -------
    int
        Exit code: 0 stopped by the user, 2 not started, with the reason on standard error.
    """
    problem = trouble(case, port) or (short_passphrase() if share else None)
    if problem is not None:
        print(problem, file=sys.stderr)
        return 2
    port = port or free_port()
    environment = {**ENVIRONMENT, **os.environ}
    if case is not None:
        environment["FAULTNET_OPEN_CASE"] = str(Path(case).resolve())
    if share:
        environment["FAULTNET_PASSPHRASE"] = own_passphrase() or passphrase()
        print(sharing_text(port, environment["FAULTNET_PASSPHRASE"]), flush=True)
    else:
        environment.pop("FAULTNET_PASSPHRASE", None)
        print(f"faultnet: open http://127.0.0.1:{port} in a browser; stop with Ctrl+C", flush=True)
    signal.signal(signal.SIGTERM, _stop)  # the server must not be left behind
    process = subprocess.Popen(command(port, share=share), env=environment)
    if open_browser and has_a_screen():
        threading.Thread(target=_show, args=(port, process), daemon=True).start()
    try:
        return process.wait()
    except KeyboardInterrupt:
        _end(process)
        return 0


def has_a_screen() -> bool:
    """Whether there is a screen to open a browser on, or one was named."""
    return sys.platform != "linux" or any(os.environ.get(n) for n in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"))


def _show(port: int, process: subprocess.Popen[bytes]) -> None:
    """Open the page once the server answers; if it has ended before, it has said why."""
    while process.poll() is None:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                webbrowser.open(f"http://127.0.0.1:{port}")
                return
        time.sleep(0.1)


def _stop(*_: object) -> None:
    """As Ctrl+C; where a script starts the launcher in the background, an interrupt itself would be ignored."""
    raise KeyboardInterrupt


def _end(process: subprocess.Popen[bytes]) -> None:
    """Ask the server to end, and end it if it does not: it must not be left behind."""
    process.terminate()
    try:
        process.wait(timeout=PATIENCE)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def trouble(case: str | None, port: int) -> str | None:
    """What stands in the way of starting, in a sentence; None when nothing does."""
    if importlib.util.find_spec("streamlit") is None:
        return "the front end is not installed; what to do: pip install 'faultnet[app]'"
    if case is not None and not Path(case).is_file():
        return f"there is no such case file; got: {case!r}; what to do: give the path of a case file, or none"
    if port and not _is_free(port):
        return f"port {port} is taken; what to do: stop the other program, or choose another with --port"
    return None


def own_passphrase() -> str:
    """The user's own passphrase, with what counts in it alone (`door/logins.py`): "" where none but blanks is given."""
    return " ".join(unicodedata.normalize("NFKC", os.environ.get("FAULTNET_PASSPHRASE", "")).split())


def short_passphrase() -> str | None:
    """What is wrong with a passphrase of the user's own; None when nothing is, or none is given."""
    given = own_passphrase()
    if not given or len(given) >= SHORTEST:
        return None
    return (
        f"the passphrase in FAULTNET_PASSPHRASE is too short; got: {len(given)} characters; expected: {SHORTEST} or "
        "more; what to do: choose a longer one, or leave it out and have one drawn"
    )


def free_port() -> int:
    """A port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _is_free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


def passphrase() -> str:
    """Five words drawn at random: 41 bits, of which one can be tried a second, by all together (`door/pace.py`)."""
    return " ".join(secrets.choice(WORDS) for _ in range(WORDS_DRAWN))


def address() -> str:
    """The address of this computer on the local network; asks the routing table, sends nothing."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def sharing_text(port: int, words: str) -> str:
    """What sharing means, the address, the passphrase, and the address as a picture for the phone's camera."""
    link = f"http://{address()}:{port}"
    picture = qr_text(link)
    return (
        f"faultnet is shared on the local network.\n  address:    {link}\n  passphrase: {words}\n"
        "Whoever knows both can read and change every case in this store. The line is not encrypted: share\n"
        f"on a network you trust only, and stop with Ctrl+C when you are done.\n{picture}"
        "Type who and Enter here to see who is logged in, end 2 to end the second login, end all to end all.\n"
    )


def qr_text(link: str) -> str:
    """The link as a QR code in block characters; nothing when the optional library is missing."""
    if importlib.util.find_spec("segno") is None:
        return ""
    import io

    import segno

    out = io.StringIO()
    segno.make(link, error="m").terminal(out, compact=True)
    return out.getvalue()
