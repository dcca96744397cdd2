"""Damaged files of our own: databases of cases, and networks kept on disk. A clear error or the right answer, no third.

``python -m tests.bench.damage --files 200``; half are databases, half cached networks; the exit code is 1 if one ended
in anything else. What is damaged is cut off, overwritten, filled with zeros, or has single bits turned over.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from faultnet.case.file import load_case
from faultnet.case.store.events import add_entry, add_visit
from faultnet.case.store.store import open_store
from faultnet.case.types import Battery, Car, Case, Conditions, Reading, Visit
from faultnet.errors import FaultnetError
from faultnet.model.cache import network_for
from faultnet.model.setting import Setting
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped


def damaged(content: bytes, generator: random.Random) -> bytes:
    """The content with something done to it."""
    torn, place = bytearray(content), generator.randrange(len(content))
    length = generator.choice((1, 8, 64, 512, 4096))
    way = generator.randrange(5)
    if way == 0:
        return bytes(torn[:place])
    if way == 1:
        torn[place : place + length] = generator.randbytes(length)
    elif way == 2:
        torn[place : place + length] = bytes(length)
    elif way == 3:
        for _ in range(length):
            spot = generator.randrange(len(torn))
            torn[spot] ^= 1 << generator.randrange(8)
    else:
        other = generator.randrange(len(torn))
        torn[place : place + length] = torn[other : other + length]
    return bytes(torn)


def filled(path: Path) -> None:
    """Make a store of some cases."""
    with open_store(path) as store:
        for source in sorted(shipped("cases").glob("*.json"))[:5]:
            case_id = store.create_case(replace(load_case(source), outcome=None))
            sequence = store.append(case_id, add_visit(Visit(date="2026-11-20")), 1)
            for number in range(10):
                entry = Reading("rest_voltage", 12.0, note=f"note {number}")
                sequence = store.append(case_id, add_entry(0, entry), sequence)


def read_all(path: Path) -> dict[str, Case]:
    """Read every case of a store."""
    with open_store(path) as store:
        lines = (*store.list_cases(), *store.list_cases(deleted=True))
        return {line.case_id: store.current(line.case_id) for line in lines}


def judge(read: Callable[[], Any], right: Callable[[Any], bool], counts: dict[str, int]) -> None:
    """Read something damaged and count what came of it."""
    try:
        found = read()
    except FaultnetError:
        counts["refused"] += 1
    except Exception as error:
        counts["tracebacks"] += 1
        sys.stderr.write(f"{type(error).__name__}: {error}\n")
    else:
        counts["right" if right(found) else "wrong"] += 1


def databases(count: int, generator: random.Random, folder: Path) -> dict[str, int]:
    """Damage so many databases. Cases that are gone without a word count as wrong, unless the file is empty."""
    filled(folder / "sound.sqlite")
    sound, whole = (folder / "sound.sqlite").read_bytes(), read_all(folder / "sound.sqlite")
    counts = dict.fromkeys(("refused", "right", "wrong", "tracebacks"), 0)
    for number in range(count):
        path, torn = folder / f"{number}.sqlite", damaged(sound, generator)
        path.write_bytes(torn)
        judge(lambda path=path: read_all(path), lambda found, torn=torn: found == whole or not torn, counts)
        path.unlink()
    return counts


def networks(count: int, generator: random.Random, folder: Path) -> dict[str, int]:
    """Damage so many networks in the cache: each has to be built anew, or refused, or come out the same."""
    os.environ["FAULTNET_CACHE"] = str(folder)
    setting = Setting(Car(Battery(600.0)), Conditions(), load_catalogue("standard"))
    whole = network_for(setting)
    (path,) = folder.rglob("*.bin")  # the orders of contraction, which travel with the program, stand beside it
    sound = path.read_bytes()
    counts = dict.fromkeys(("refused", "right", "wrong", "tracebacks"), 0)
    for _ in range(count):
        forget()
        path.unlink()  # networks read before are mapped from the old file, which stays theirs
        path.write_bytes(damaged(sound, generator))
        judge(lambda: network_for(setting), lambda found: same(found, whole), counts)
    return counts


def forget() -> None:
    """Have the next network read from disk."""
    from faultnet.model import cache

    for thing in vars(cache).values():
        if hasattr(thing, "cache_clear"):
            thing.cache_clear()


def same(one: Any, other: Any) -> bool:
    """Whether two networks have the same nodes and tables to the last bit."""
    nodes, others = one.nodes, other.nodes
    return nodes.keys() == others.keys() and all(
        nodes[name].parents == others[name].parents and (nodes[name].table == others[name].table).all()
        for name in nodes
    )


def run(files: int, seed: int, *, networks_too: bool = True) -> dict[str, dict[str, int]]:
    """Damage so many files, half of them databases, or all."""
    generator, folder = random.Random(seed), Path(tempfile.mkdtemp(prefix="faultnet-damage-"))
    try:
        if not networks_too:
            return {"databases": databases(files, generator, folder)}
        (folder / "cache").mkdir()
        return {
            "databases": databases((files + 1) // 2, generator, folder),
            "networks": networks(files // 2, generator, folder / "cache"),
        }
    finally:
        shutil.rmtree(folder)


def main() -> int:
    """Read the options, run and print the counts as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    told = run(options.files, options.seed)
    sys.stdout.write(json.dumps(told) + "\n")
    return int(any(counts["wrong"] or counts["tracebacks"] for counts in told.values()))


if __name__ == "__main__":
    sys.exit(main())
