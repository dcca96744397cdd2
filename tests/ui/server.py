"""A server of its own for scripts that drive the front end: a store, settings and a port that nobody else has."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import IO

from faultnet.case.store.store import open_store
from faultnet.case.types import Case
from faultnet.shipped import shipped

UI = shipped("ui")
CHROMIUM_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
PHONE = {
    "user_agent": "Mozilla/5.0 (Linux; Android 14) Mobile",
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "has_touch": True,
    "is_mobile": True,
}
DESK = {"viewport": {"width": 1280, "height": 900}}


@dataclass(frozen=True)
class Served:
    """A running server.

    Parameters
    ----------
    address, place, settings : str
        Of the pages, of the store, and of the file with what was ticked.
    process : int
        Its number in the system.
    terminal : file
        What is typed in its window.
    """

    address: str
    place: str
    settings: str
    process: int
    terminal: IO[bytes]

    def keep(self, case: Case) -> str:
        """Keep a case in the store of the server."""
        with open_store(self.place) as store:
            return store.create_case(case)

    def current(self, case_id: str) -> Case:
        """A case as it stands in the store."""
        with open_store(self.place) as store:
            return store.current(case_id)


def serve_module() -> ModuleType:
    """The launcher, loaded by its path as the command line does."""
    spec = importlib.util.spec_from_file_location("faultnet_serve", UI / "serve.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def chromium() -> str | None:
    """The path of a browser of the system."""
    return next((p for name in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(name))), None)


@contextmanager
def serving(
    built: Path | None = None, *, share: bool = False, more: Mapping[str, str] | None = None
) -> Iterator[Served]:
    """The real server on a free port, as the launcher starts it.

    Parameters
    ----------
    built : Path, optional
        Where built networks are kept; the user's own cache when left out.
    share : bool
        As for others on the local network; the passphrase stands in `more`.
    more : mapping, optional
        What else its environment holds; of its ``PYTHONPATH``, what stands before.
    """
    folder = Path(tempfile.mkdtemp(prefix="faultnet-served-"))
    module = serve_module()
    port = module.free_port()
    environment = {
        **module.ENVIRONMENT,
        **os.environ,
        "FAULTNET_STORE": str(folder / "cases.sqlite"),
        "FAULTNET_SETTINGS": str(folder / "settings.json"),
        "FAULTNET_PRIORS": str(folder / "priors"),
        "FAULTNET_PRACTICE": str(folder / "practice"),
        **({"FAULTNET_CACHE": str(built)} if built is not None else {}),
    }
    environment.pop("FAULTNET_PASSPHRASE", None)
    environment |= more or {}
    path = (more or {}).get("PYTHONPATH"), str(Path(__file__).resolve().parents[2])
    environment["PYTHONPATH"] = os.pathsep.join(p for p in path if p)
    with (folder / "log.txt").open("w") as log:
        process = subprocess.Popen(
            module.command(port, share=share), env=environment, stdin=subprocess.PIPE, stdout=log, stderr=log
        )
        assert process.stdin is not None
        try:
            _wait_for(f"http://127.0.0.1:{port}/_stcore/health", process, folder / "log.txt")
            yield Served(
                f"http://127.0.0.1:{port}",
                environment["FAULTNET_STORE"],
                environment["FAULTNET_SETTINGS"],
                process.pid,
                process.stdin,
            )
        finally:
            process.terminate()
            process.wait(timeout=20)
            process.stdin.close()
            shutil.rmtree(folder, ignore_errors=True)


def _wait_for(address: str, process: subprocess.Popen[bytes], log: Path) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and process.poll() is None:
        try:
            with urllib.request.urlopen(address, timeout=2):
                return
        except urllib.error.HTTPError:  # it answers, and asks for the passphrase
            return
        except OSError:
            time.sleep(0.1)
    raise AssertionError(f"the server did not start:\n{log.read_text()}")
