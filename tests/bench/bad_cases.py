"""Mutated case files, structure-aware: trees of JSON, bytes, YAML; counts what is read, refused, slow or not a number.

``python -m tests.bench.bad_cases --files 100000 --seed 1``; the exit code is 1 if a file ended in anything but a case
or an error in words, gave a number that is none, took more than 2 s of processor time, or the process more than 600 MB.
Files that did are kept in ``--keep FOLDER``.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict
from itertools import islice
from pathlib import Path
from typing import Any

import yaml

from faultnet.case.file import load_case
from faultnet.diagnosis import check_case
from faultnet.errors import FaultnetError
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped
from tests.bench.memory import begin_to_count, memory_now, most_memory

MOST_SECONDS = 2.0
MOST_MEGABYTES = 600
LARGEST = 32 << 20
ODD: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1, 2**63, -(2**63), 10**400, 1e308, -1e308, 5e-324, math.nan, math.inf, -math.inf),
    *("", " ", "12,4 V", "1e999", "nan", "OL", "\0", "\ud800", "\u202e12.6", "x" * 200_000, "9" * 5000, "-", "=1+1"),
    *([], {}, [[]], [None] * 50, {"": None}, {"__class__": 1}, "2026-02-30", "9999-99-99T99:99", "12:30", "\U0001f697"),
)


def places(tree: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a tree."""
    yield path
    inner = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for name, value in inner:
        yield from places(value, (*path, name))


def any_place(generator: random.Random, tree: Any) -> tuple[Any, ...]:
    """One of the places, each as likely; all at once would take up to half a gigabyte."""
    number = generator.randrange(sum(1 for _ in places(tree)))
    return next(islice(places(tree), number, None))


def changed(tree: Any, path: tuple[Any, ...], change: Callable[[Any], Any]) -> Any:
    """The tree with another value at a place."""
    if not path:
        return change(tree)
    inner = changed(tree[path[0]], path[1:], change)
    if isinstance(tree, dict):
        return {**tree, path[0]: inner}
    return [*tree[: path[0]], inner, *tree[path[0] + 1 :]]


def bad_tree(generator: random.Random, trees: list[Any]) -> Any:
    """A case with one to four odd things done to it."""
    tree = generator.choice(trees)
    for _ in range(generator.randint(1, 4)):
        path = any_place(generator, tree)
        other = generator.choice(trees)
        graft = at(other, any_place(generator, other))
        way = generator.randrange(7)
        if way == 0:
            tree = changed(tree, path, lambda _: generator.choice(ODD))
        elif way == 1:
            tree = changed(tree, path, lambda _, graft=graft: graft)
        elif way == 2:
            tree = changed(tree, path, lambda value: repeated(value, generator.choice((0, 1, 2, 40, 2000))))
        elif way == 3:
            tree = changed(tree, path, lambda value: {**value, generator.choice(NAMES): generator.choice(ODD)}
                           if isinstance(value, dict) else value)  # fmt: skip
        elif way == 4:
            tree = changed(
                tree, path, lambda value: dict(list(value.items())[1:]) if isinstance(value, dict) else value
            )
        elif way == 5:
            tree = changed(tree, path, lambda value: value * generator.choice((-1, 1e3, 1e-3, 1e300))
                           if isinstance(value, float) else str(value))  # fmt: skip
        else:
            tree = changed(tree, path, lambda value: nested(value, generator.choice((1, 3, 25, 300))))
    return tree


def repeated(value: Any, times: int) -> list[Any]:
    """A list of the same value so often, or as often as the reader's limit is passed by far."""
    return [value] * min(times, 1 + LARGEST // len(json.dumps(value)))


def nested(value: Any, levels: int) -> Any:
    for _ in range(levels):
        value = [value]
    return value


def at(tree: Any, path: tuple[Any, ...]) -> Any:
    for name in path:
        tree = tree[name]
    return tree


def bad_bytes(generator: random.Random, texts: list[bytes]) -> bytes:
    """A case file with bytes changed, taken out, repeated or put in."""
    text = bytearray(generator.choice(texts))
    for _ in range(generator.randint(1, 8)):
        place = generator.randrange(len(text) + 1)
        way = generator.randrange(5)
        if way == 0 and place < len(text):
            text[place] = generator.randrange(256)
        elif way == 1:
            del text[place : place + generator.randint(1, 40)]
        elif way == 2:
            text[place:place] = text[place : place + 40] * generator.choice((1, 3, 100))
        elif way == 3:
            text[place:place] = generator.choice(
                (b"[" * 500, b"{" * 500, b"\xff", b"9" * 4500, b"\xef\xbb\xbf", b"&a ")
            )
        else:
            text = text[:place]
        if not text:
            text = bytearray(b"{}")
    return bytes(text)


def in_yaml_text(tree: Any) -> bytes:
    """A tree as YAML; as JSON, which YAML reads too, where there are more levels than the writer can take."""
    try:
        return yaml.safe_dump(tree).encode("utf-8", "surrogatepass")
    except RecursionError:
        return json.dumps(tree).encode()


NAMES = ("test", "value", "unit", "visits", "car", "format", "bound", "", "x" * 1000, "\u202e", "value ", "Value")


def files(generator: random.Random, count: int) -> Iterator[tuple[str, bytes]]:
    """So many bad files, each with a name that says how it is read."""
    paths = sorted(shipped("cases").glob("*.json"))
    trees = [json.loads(path.read_text(encoding="utf-8")) for path in paths]
    texts = [path.read_bytes() for path in paths]
    in_yaml = [yaml.safe_dump(tree, allow_unicode=True).encode() for tree in trees]
    for number in range(count):
        way = number % 4
        if way < 2:
            yield "a.json", json.dumps(bad_tree(generator, trees)).encode()
        elif way == 2:
            yield "a.json", bad_bytes(generator, texts)
        elif generator.random() < 0.3:
            yield "a.yaml", in_yaml_text(bad_tree(generator, trees))
        else:
            yield "a.yaml", bad_bytes(generator, in_yaml)


def numbers_in(value: Any) -> Iterator[float]:
    """Every number in plain data."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list | tuple):
        for inner in value:
            yield from numbers_in(inner)
    elif isinstance(value, float):
        yield value


def run(count: int, seed: int, keep: Path | None = None) -> dict[str, Any]:
    """Read so many bad files and count.

    Returns
    -------
    dict
        Numbers of files, of those read and refused, of tracebacks, of numbers that are none, of files above 2 s, the
        slowest [s], by how much the memory rose at most while one was read and what the process held at most [MB].
    """
    catalogue = load_catalogue("standard")
    told: dict[str, Any] = {"files": 0, "read": 0, "refused": 0, "tracebacks": 0, "not_numbers": 0, "slow": 0}
    slowest, longest, memory, whole, largest = 0.0, 0, 0, 0, 0
    for number, (name, content) in enumerate(files(random.Random(seed), count)):
        begin_to_count()
        held = memory_now()  # with what it took to make the file, which is not the reader's
        before, bad = time.process_time(), ""
        try:
            case = load_case(content, name)
            check_case(case, catalogue)
            told["read"] += 1
            if not all(map(math.isfinite, numbers_in(asdict(case)))):
                told["not_numbers"] += 1
                bad = "number"
        except FaultnetError as error:
            told["refused"] += 1
            longest = max(longest, len(str(error)))
        except Exception as error:
            told["tracebacks"] += 1
            bad = type(error).__name__
        took, most = time.process_time() - before, most_memory()
        memory, whole = max(memory, most - held), max(whole, most)
        told["files"] += 1
        largest = max(largest, len(content))
        told["slow"] += took > MOST_SECONDS
        slowest = max(slowest, took)
        if keep is not None and (bad or took > MOST_SECONDS):
            keep.mkdir(parents=True, exist_ok=True)
            (keep / f"{number}_{bad or 'slow'}_{name}").write_bytes(content)
    return {
        **told,
        "slowest_s": round(slowest, 3),
        "longest_message": longest,
        "megabytes": memory,
        "process_megabytes": whole,
        "largest_file": largest,
    }


def failed(told: dict[str, Any]) -> bool:
    """Whether a run missed what is to be reached."""
    return bool(told["tracebacks"] or told["not_numbers"] or told["slow"] or told["process_megabytes"] > MOST_MEGABYTES)


def main() -> int:
    """Read the options, run and print the counts as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args()
    told = run(options.files, options.seed, options.keep)
    sys.stdout.write(json.dumps(told) + "\n")
    return int(failed(told))


if __name__ == "__main__":
    sys.exit(main())
