"""A real PostgreSQL server for the tests, in a folder of its own, from the programs of the system's package."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

OPTIONS = "-c listen_addresses='' -c fsync=off -c max_connections=30"


def programs() -> Path:
    """Find the folder of `initdb` and `pg_ctl`.

    Raises
    ------
    FileNotFoundError
        If PostgreSQL is not installed: these tests fail then, they are never skipped.
    """
    on_path = shutil.which("initdb")
    places = [Path(on_path).resolve().parent] if on_path else []
    places += sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda place: place.parent.name)
    for place in reversed(places):
        if (place / "initdb").exists():
            return place
    raise FileNotFoundError("PostgreSQL's server is missing: install the package `postgresql` to run the store's tests")


def as_user() -> dict[str, Any]:
    """Choose whom to run as: the server refuses root."""
    return {"user": "postgres", "group": "postgres", "extra_groups": []} if os.geteuid() == 0 else {}


@contextmanager
def server() -> Iterator[str]:
    """Run a server while the context lasts.

    Yields
    ------
    str
        URL of its database, without a password, by a socket in its folder.
    """
    place, folder = programs(), Path(tempfile.mkdtemp(prefix="faultnet-postgres-"))
    run = {"check": True, "cwd": folder, "capture_output": True, "text": True, **as_user()}
    if as_user():
        shutil.chown(folder, "postgres", "postgres")
    data = str(folder / "data")
    control = [str(place / "pg_ctl"), "-D", data, "-w", "-l", str(folder / "log")]
    try:
        subprocess.run([str(place / "initdb"), "-D", data, "-A", "trust", "-E", "UTF8", "--locale=C", "-N"], **run)
        subprocess.run([*control, "-o", f"{OPTIONS} -k {folder}", "start"], **{**run, "capture_output": False})
        yield f"postgresql://{'postgres@' if as_user() else ''}/postgres?host={folder}"
    finally:
        if (folder / "data" / "postmaster.pid").exists():
            subprocess.run([*control, "-m", "immediate", "stop"], **run)
        shutil.rmtree(folder)
