"""Mutate recordings of every format and read them: either a trace or an error a user can act on, within 2 s.

Run `python tests/bench/fuzz_recordings.py --files 100000 --keep FILE`; `--json` prints the counts. A run that was
stopped goes on from the parts in FILE.
"""

from __future__ import annotations

import argparse
import gzip
import json
import resource
import signal
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

from faultnet.errors import FaultnetError
from faultnet.recordings import draw_trace, find_events, read_recording
from faultnet.recordings.synthetic.generate import can_library_bytes, candump_of, mdf_of, text_of
from faultnet.recordings.synthetic.simulate import simulate_log
from faultnet.recordings.trace import Trace

LIMIT = 2.0  # [s] of processor time, so that a busy machine does not count
HANG = 20.0  # [s] of processor time after which a file is given up
PART = 1000  # files
MEMORY = 400  # [MB] that a whole run may add
TOKENS = (
    b"nan",
    b"inf",
    b"-inf",
    b"1e999",
    b"--",
    b"",
    b"9" * 400,
    b"0x1f",
    b'"',
    b";",
    b",",
    b"\t",
    b"\r",
    b"\n\n",
    b"\x00",
)
TOKENS += (
    b"-1",
    b"12:60:99",
    b"2026-13-45 99:99",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"1_000",
    b"1,000,000",
    b"OL",
    b"V",
    b"e",
    b".",
)

NEEDED: dict[str, dict[str, object]] = {
    "nameless": {"time_column": 1, "volts_column": 2, "time_unit": "s", "volts_unit": "V"}
}
"""Options without which a sound recording of the kind is refused."""


def seeds(seed: int) -> dict[str, bytes]:
    """Make one sound recording of each kind."""
    log = simulate_log(np.random.default_rng(seed), 0.1, starts=1, nuisance=False).trace
    trace = Trace(log.time[:150], log.volts[:150], "seed")
    modules = {0x7E8: trace}
    clock = "\n".join(f"2026-11-25 23:59:{t:06.3f},{v:.2f}" for t, v in zip(trace.time * 4, trace.volts, strict=True))
    date = "\n".join(
        f"11/25/2026;10:{int(t) // 60:02d}:{t % 60:06.3f};{v:.2f}" for t, v in zip(trace.time, trace.volts, strict=True)
    )
    quoted = "\n".join(f'"{t:.2f}","{v:.3f}"' for t, v in zip(trace.time, trace.volts, strict=True))
    return {
        "comma": text_of(trace),
        "semicolon": text_of(trace, separator=";", decimal=",", time_unit="ms", volts_unit="mV"),
        "tab": text_of(trace, separator="\t", preamble=()),
        "blank": text_of(trace, separator=" "),
        "nameless": text_of(trace, header=False, preamble=()),
        "clock": b"time,battery V\n" + clock.encode(),
        "dated": b"date;time;volts\n" + date.encode(),
        "quoted": b'"time s","volts"\n' + quoted.encode(),
        "wide": b"number," + b"\n1,".join(text_of(trace, preamble=()).split(b"\n")[:-1]),
        "utf16": text_of(trace).decode().encode("utf-16"),
        "gzip": gzip.compress(text_of(trace), mtime=0),
        "candump": candump_of(modules),
        "asc": can_library_bytes(modules, "asc"),
        "blf": can_library_bytes(modules, "blf"),
        "trc": can_library_bytes(modules, "trc"),
        "can_csv": can_library_bytes(modules, "can_csv"),
        "mdf": mdf_of({"U_battery": (trace, "V")}),
    }


def mutated(rng: np.random.Generator, content: bytes) -> bytes:
    """Spoil a file in one to four places."""
    for _ in range(int(rng.integers(1, 5))):
        content = _spoiled(rng, content)
    return content


def _spoiled(rng: np.random.Generator, content: bytes) -> bytes:
    """Spoil a file in one place."""
    if not content:
        return bytes(rng.integers(0, 256, 20, dtype=np.uint8))
    at, to = sorted(int(x) for x in rng.integers(0, len(content) + 1, 2))
    to = min(to, at + int(rng.integers(1, 2000)))
    noise = bytes(rng.integers(0, 256, max(min(to - at, 16), 1), dtype=np.uint8))
    lines = content.split(b"\n")
    way = int(rng.integers(0, 9))
    if way == 0:
        return content[:at] + noise + content[at + len(noise) :]
    if way == 1:
        return content[:at] + content[to:]
    if way == 2:
        return content[:to] + content[at:to] + content[to:]
    if way == 3:
        return content[:at]
    if way == 4:
        return content[:at] + TOKENS[int(rng.integers(len(TOKENS)))] + content[at:]
    if way == 5:
        return content.replace(
            b",.;\t 01"[at % 7 : at % 7 + 1], TOKENS[int(rng.integers(len(TOKENS)))], int(rng.integers(1, 99))
        )
    if way == 6:
        i, j = rng.integers(0, len(lines), 2)
        lines[i], lines[j] = lines[j], lines[i]
        return b"\n".join(lines)
    if way == 7:
        flipped = bytearray(content)
        flipped[min(at, len(flipped) - 1)] ^= 1 << int(rng.integers(8))
        return bytes(flipped)
    return content[:at] + noise + content[at:]


def options(rng: np.random.Generator, name: str) -> dict[str, object]:
    """Draw options, mostly only those that the kind of recording needs."""
    if rng.random() < 0.7:
        return NEEDED.get(name, {})
    drawn: dict[str, object] = {}
    pool = {
        "time_column": ["1", "time", 2, "nothing"],
        "volts_column": [2, "volts", "9"],
        "time_unit": ["s", "ms", "day_first", "h:m", "parsec"],
        "volts_unit": ["V", "mV", "kV"],
        "decimal": [".", ",", "'"],
        "separator": [",", ";", " ", "\\t", "ab"],
        "channel": ["7E8", "U_battery", "no"],
        "interval": [0.1, -1.0],
        "format": ["csv", "candump", "mdf", "asc", "blf", "trc", "can_csv", "exe"],
    }
    for name in rng.choice(list(pool), int(rng.integers(1, 4)), replace=False):
        choices = pool[str(name)]
        drawn[str(name)] = choices[int(rng.integers(len(choices)))]
    return drawn


def _peak() -> float:
    """Most memory held so far [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


class TooLong(BaseException):
    """A file that is still being read after `HANG` seconds of processor time."""


def _stop(*_: object) -> None:
    raise TooLong


def spoiled_file(rng: np.random.Generator, name: str, content: bytes) -> bytes:
    """Spoil a file; of a packed one, every second time what is packed."""
    if name == "gzip" and rng.random() < 0.5:
        return gzip.compress(mutated(rng, gzip.decompress(content)), mtime=0)
    return mutated(rng, content)


def read_one(content: bytes, chosen: dict[str, object]) -> tuple[str, str]:
    """Read and draw a file: what became of it, and the fault if there was one."""
    signal.setitimer(signal.ITIMER_VIRTUAL, HANG)
    try:
        trace = read_recording(content, **chosen)  # type: ignore[arg-type]
        draw_trace(trace, find_events(trace))
        return "read", ""
    except FaultnetError as error:
        return "refused", "" if str(error) else "an error without words"
    except BaseException:
        return "failed", traceback.format_exc()
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)


def run(files: int, seed: int) -> dict[str, Any]:
    """Read that many mutated files; count results, faults and slow ones."""
    signal.signal(signal.SIGVTALRM, _stop)
    rng = np.random.default_rng(seed)
    sound = seeds(seed)
    names = list(sound)
    counts: Counter[str] = Counter()
    by_kind: Counter[str] = Counter()
    faults: list[str] = []
    slowest, before = 0.0, _peak()
    for k in range(files):
        name = names[k % len(names)]
        content, chosen = spoiled_file(rng, name, sound[name]), options(rng, name)
        begin = time.process_time()
        outcome, fault = read_one(content, chosen)
        taken = time.process_time() - begin
        slowest = max(slowest, taken)
        counts[outcome] += 1
        by_kind[name] += outcome == "read"
        if taken > LIMIT:
            fault += f" took {taken:.1f} s"
        if fault:
            faults.append(f"seed {seed}, file {k}, {name} {chosen}: {fault}")
    peak = _peak()
    if peak - before > MEMORY:
        faults.append(f"seed {seed}: memory grew from {before:.0f} to {peak:.0f} MB")
    return {
        "files": files,
        **counts,
        "read_by_kind": {name: by_kind[name] for name in names},
        "faults": faults,
        "slowest_s": round(slowest, 3),
        "peak_MB": round(peak),
    }


def run_in_parts(files: int, seed: int, keep: Path | None) -> dict[str, Any]:
    """Read files in parts of `PART`, each with a seed of its own; parts that stand in `keep` are not read again."""
    kept = [json.loads(line) for line in keep.read_text().splitlines()] if keep and keep.exists() else []
    parts = {part["seed"]: part for part in kept if part["files"] == PART}
    wanted = [seed * 1_000_000 + k for k in range(-(-files // PART))]
    for of_part in wanted:
        if of_part in parts:
            continue
        parts[of_part] = {"seed": of_part} | run(PART, of_part)
        if keep:
            with keep.open("a", encoding="utf-8") as book:
                book.write(json.dumps(parts[of_part]) + "\n")
    return summed([parts[of_part] for of_part in wanted])


def summed(parts: list[dict[str, Any]]) -> dict[str, Any]:
    """Sum the counts of parts; of time and memory the worst."""
    by_kind: Counter[str] = Counter()
    for part in parts:
        by_kind.update(part["read_by_kind"])
    return {
        **{name: sum(part.get(name, 0) for part in parts) for name in ("files", "read", "refused", "failed")},
        "read_by_kind": dict(by_kind),
        "faults": [fault for part in parts for fault in part["faults"]],
        "slowest_s": max(part["slowest_s"] for part in parts),
        "peak_MB": max(part["peak_MB"] for part in parts),
    }


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=2000, help=f"rounded up to parts of {PART}")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="a file of finished parts, from which a stopped run goes on")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args()
    result = run_in_parts(chosen.files, chosen.seed, chosen.keep)
    print(json.dumps(result) if chosen.json else result)


if __name__ == "__main__":
    main()
