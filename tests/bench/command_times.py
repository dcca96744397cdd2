"""How long the commands take in a process of their own: ``python tests/bench/command_times.py [TIMES]``.

Prints median and worst of some runs [s]. Networks are kept between the runs, as they are for a user.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

TOP = Path(__file__).parents[2]
COMMANDS = (
    ("--help",),
    ("validate", "demo:shorted_cell"),
    ("catalogue",),
    ("diagnose", "demo:fresh_case"),
    ("diagnose", "demo:shorted_cell"),
    ("diagnose", "demo:intermittent_no_start"),
)


def seconds(arguments: tuple[str, ...], environment: dict[str, str]) -> float:
    """Run a command once and return how long it took [s]."""
    begin = time.perf_counter()
    command = [sys.executable, "-m", "faultnet", *arguments]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=environment)
    return time.perf_counter() - begin


def main(times: int) -> None:
    """Measure every command."""
    with tempfile.TemporaryDirectory() as cache:
        environment = {**os.environ, "PYTHONPATH": str(TOP), "FAULTNET_CACHE": cache}
        for arguments in COMMANDS:
            first = seconds(arguments, environment)
            later = [seconds(arguments, environment) for _ in range(times)]
            worst, median = max(later), statistics.median(later)
            print(f"{' '.join(arguments):<40} median {median:5.2f}  worst {worst:5.2f}  first ever {first:5.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 7)
