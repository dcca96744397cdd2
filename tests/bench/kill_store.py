"""Kill writers of a store in mid-work, again and again, and count what was acknowledged and then lost.

Each round makes a case, starts a process that adds entries to it as fast as it can and reports each one after the
store has acknowledged it, and kills that process with signal 9 at a random moment. Then the store is opened afresh.
This is about the end of a program; the end of the power is up to ``synchronous = FULL`` and the disk.

Run ``python -m tests.bench.kill_store --kills 1000``; the exit code is 1 if anything was lost or damaged.
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
from pathlib import Path

from faultnet.case.store.events import add_entry
from faultnet.case.store.store import open_store
from faultnet.case.types import Battery, Car, Case, Reading


def write_until_killed(place: str, case_id: str, pipe: int) -> None:
    """Add entries without end, each with its number as its note, and report those that were acknowledged."""
    store, sequence = open_store(place), 1
    while True:
        entry = Reading("rest_voltage", 12.0 + sequence / 1000, note=str(sequence + 1))
        sequence = store.append(case_id, add_entry(0, entry), sequence)
        os.write(pipe, f"{sequence}\n".encode())


def kill_one_writer(place: str, case_id: str, generator: random.Random) -> list[int]:
    """Start a writer, kill it some time after its first report, and give all it reported."""
    incoming, outgoing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(incoming)
        try:
            write_until_killed(place, case_id, outgoing)
        finally:
            os._exit(3)
    os.close(outgoing)
    ready, _, _ = select.select([incoming], [], [], 60.0)
    time.sleep(generator.uniform(0.0, 0.03) if ready else 0.0)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    with os.fdopen(incoming) as reports:
        numbers = [int(line) for line in reports if line.endswith("\n")]
    if os.waitstatus_to_exitcode(status) != -signal.SIGKILL or not numbers:
        raise RuntimeError("the writer ended by itself: the round proves nothing")
    return numbers


def kept_in(place: str, case_id: str) -> list[int]:
    """Read the case and give the numbers of its entries, as their notes have them."""
    with open_store(place) as store:
        entries = store.current(case_id).visits[0].entries
        assert [event.sequence for event in store.history(case_id)] == list(range(1, len(entries) + 2))
    return [int(entry.note) for entry in entries]


def run(place: str, kills: int, seed: int) -> dict[str, int]:
    """Kill so many writers and count.

    Returns
    -------
    dict
        Numbers of kills, of acknowledged events, of those lost, of events kept that had not been reported yet, and of
        cases whose entries are not just the first so many.
    """
    generator = random.Random(seed)
    counts = {"kills": kills, "acknowledged": 0, "lost": 0, "kept_unreported": 0, "damaged": 0}
    for _ in range(kills):
        with open_store(place) as store:
            case_id = store.create_case(Case(Car(Battery(600.0)), invented=True))
        reported = kill_one_writer(place, case_id, generator)
        kept = kept_in(place, case_id)
        counts["acknowledged"] += len(reported)
        counts["lost"] += len(set(reported) - set(kept))
        counts["kept_unreported"] += len(set(kept) - set(reported))
        counts["damaged"] += kept != list(range(2, len(kept) + 2))
    return counts


def main() -> int:
    """Read the options, run and print the counts as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--store", help="path or URL; a file in a folder of its own when left out")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        counts = run(options.store or str(Path(folder) / "cases.sqlite"), options.kills, options.seed)
    sys.stdout.write(json.dumps(counts) + "\n")
    return int(counts["lost"] > 0 or counts["damaged"] > 0)


if __name__ == "__main__":
    sys.exit(main())
