"""Kill writers of a store in mid-work, again and again, and count what was acknowledged and then lost.

Each round makes a case, starts two processes that add entries to it as fast as they can and report each one after the
store has acknowledged it, and kills them with signal 9 at a random moment. Then the store is opened afresh.
This is about the end of a program; the end of the power is up to ``synchronous = FULL`` and the disk.

Run ``python -m tests.bench.kill_store --kills 1000``, with ``--postgres`` on a server; the exit code is 1 if
anything was lost or damaged.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import select
import signal
import sys
import tempfile
import time
from contextlib import nullcontext
from pathlib import Path

from faultnet.case.store.events import add_entry
from faultnet.case.store.store import ConcurrentEdit, open_store
from faultnet.case.types import Battery, Car, Case, Reading
from tests.case.postgres import server


def write_until_killed(place: str, case_id: str, writer: int, pipe: int) -> None:
    """Add entries without end, each with its writer and number as its note, and report those that were acknowledged."""
    store, sequence, number = open_store(place), 1, 0
    while True:
        entry = Reading("rest_voltage", 12.0 + number / 1e6, note=f"{writer}:{number + 1}")
        try:
            sequence = store.append(case_id, add_entry(0, entry), sequence)
        except ConcurrentEdit as faster:
            sequence = faster.sequence
            continue
        number += 1
        os.write(pipe, f"{number}\n".encode())


def started(place: str, case_id: str, writer: int) -> tuple[int, int]:
    """Start a writer; give its process and the end of the pipe by which it reports."""
    incoming, outgoing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(incoming)
        try:
            write_until_killed(place, case_id, writer, outgoing)
        finally:
            os._exit(3)
    os.close(outgoing)
    return child, incoming


def kill_writers(place: str, case_id: str, writers: int, generator: random.Random) -> list[str]:
    """Start writers of one case, kill them some time after the first report, and give all they reported."""
    running = [started(place, case_id, writer) for writer in range(writers)]
    ready, _, _ = select.select([incoming for _, incoming in running], [], [], 60.0)
    time.sleep(generator.uniform(0.0, 0.1) if ready else 0.0)
    for child, _ in generator.sample(running, len(running)):
        os.kill(child, signal.SIGKILL)
        time.sleep(generator.choice((0.0, 0.002)))
    notes = []
    for writer, (child, incoming) in enumerate(running):
        _, status = os.waitpid(child, 0)
        with os.fdopen(incoming) as reports:
            notes += [f"{writer}:{line.strip()}" for line in reports if line.endswith("\n")]
        if os.waitstatus_to_exitcode(status) != -signal.SIGKILL:
            raise RuntimeError("a writer ended by itself: the round proves nothing")
    if not notes:
        raise RuntimeError("nothing was acknowledged: the round proves nothing")
    return notes


def kept_in(place: str, case_id: str) -> list[str]:
    """Read the case and give the notes of its entries."""
    with open_store(place) as store:
        entries = store.current(case_id).visits[0].entries
        assert [event.sequence for event in store.history(case_id)] == list(range(1, len(entries) + 2))
    return [entry.note for entry in entries]


def run(place: str, kills: int, seed: int, writers: int = 2) -> dict[str, int]:
    """Kill so many writers, some at a time in the same case, and count.

    Returns
    -------
    dict
        Numbers of kills, of acknowledged events, of those lost, of events kept that had not been reported yet, and of
        cases in which the entries of a writer are not just its first so many in order.
    """
    generator = random.Random(seed)
    counts = {"kills": 0, "acknowledged": 0, "lost": 0, "kept_unreported": 0, "damaged": 0}
    while counts["kills"] < kills:
        with open_store(place) as store:
            case_id = store.create_case(Case(Car(Battery(600.0)), invented=True))
        reported = kill_writers(place, case_id, writers, generator)
        kept = kept_in(place, case_id)
        counts["kills"] += writers
        counts["acknowledged"] += len(reported)
        counts["lost"] += len(set(reported) - set(kept))
        counts["kept_unreported"] += len(set(kept) - set(reported))
        for writer in range(writers):
            mine = [int(note.partition(":")[2]) for note in kept if note.startswith(f"{writer}:")]
            counts["damaged"] += mine != list(range(1, len(mine) + 1))
    return counts


def main() -> int:
    """Read the options, run and print the counts as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--writers", type=int, default=2, help="of one case at a time")
    parser.add_argument("--store", help="path or URL; a file in a folder of its own when left out")
    parser.add_argument("--postgres", action="store_true", help="a server of its own, as in the tests")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, server() if options.postgres else nullcontext("") as url:
        place = url or options.store or str(Path(folder) / "cases.sqlite")
        counts = run(place, options.kills, options.seed, options.writers)
    sys.stdout.write(json.dumps(counts) + "\n")
    return int(counts["lost"] > 0 or counts["damaged"] > 0)


if __name__ == "__main__":
    sys.exit(main())
