"""Results of single cars kept in a file of JSON lines, so that a trial that was broken off goes on where it stopped."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from faultnet.cache import code_hash
from faultnet.decision.costs import Costs
from faultnet.errors import FaultnetError, system_words
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.workshop.one_car import CarResult, result_of_record

CODE = ("case/types.py", "physics", "instruments.py", "model", "inference", "diagnosis", "decision", "simulation")
NUMBERS = "simulation/independent/numbers.csv"  # beside the code


@dataclass(frozen=True)
class Key:
    """What a car's result depends on, besides its number and the policy.

    Parameters
    ----------
    seed : int
    world, draw : str
    tools : tuple of str, optional
        Tools at hand; every tool when None.
    made_of : str
        Hash of the prior set, the prices and the code.
    """

    seed: int
    world: str
    draw: str
    tools: tuple[str, ...] | None
    made_of: str

    def text(self) -> str:
        """As it stands in each line."""
        tools = "every tool" if self.tools is None else ",".join(self.tools)
        return f"{self.seed}/{self.world}/{self.draw}/{tools}/{self.made_of}"


def made_of(catalogue: Catalogue, costs: Costs) -> str:
    """Hash of the prior set, the prices and the code: results of other ones are not taken for these."""
    text = catalogue.fingerprint + repr(_in_order(vars(costs))) + code_hash(*CODE, NUMBERS)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _in_order(value: Any) -> Any:
    """The same value with every set and mapping in order, so that it is written alike in every process."""
    if isinstance(value, Mapping):
        return sorted((key, _in_order(held)) for key, held in value.items())
    if isinstance(value, tuple):
        return [_in_order(held) for held in value]
    return sorted(value) if isinstance(value, frozenset) else value


def kept_results(path: Path, key: Key) -> dict[tuple[str, int], CarResult]:
    """Results in a file that belong to a trial, by policy and number of the car; none when there is no file yet.

    Raises
    ------
    FaultnetError
        If the file cannot be read, or a line other than the last is damaged.
    """
    found: dict[tuple[str, int], CarResult] = {}
    for tree in _lines(path):
        if tree["key"] == key.text():
            result = result_of_record(tree["result"])
            found[tree["policy"], result.car] = result
    return found


def _lines(path: Path) -> Iterator[dict[str, Any]]:
    try:
        lines = path.read_text(encoding="utf-8").split("\n") if path.exists() else []
    except (OSError, ValueError) as error:
        raise FaultnetError("the results so far cannot be read", where=str(path), got=system_words(error)) from None
    for number, line in enumerate(lines):
        if not line.strip():
            continue
        try:
            tree = json.loads(line)
            tree["key"], tree["policy"], tree["result"]["car"]
        except (ValueError, KeyError, TypeError):
            if number >= len(lines) - 1:
                return  # the last line was being written when the run was broken off
            raise FaultnetError(
                "a line of the results so far is damaged", where=f"{path}, line {number + 1}", got=line[:40],
                expected="one result as JSON", to_do="take the line out, or choose another file",
            ) from None  # fmt: skip
        yield tree


def keep(path: Path, key: Key, policy: str, results: list[CarResult]) -> None:
    """Add results to a file, a line each.

    Raises
    ------
    FaultnetError
        If the file cannot be written.
    """
    text = "".join(
        json.dumps({"key": key.text(), "policy": policy, "result": r.record()}, sort_keys=True) + "\n" for r in results
    )
    try:
        with path.open("a+b") as file:
            file.truncate(
                path.read_bytes().rfind(b"\n") + 1
            )  # what follows was being written when a run was broken off
            file.write(text.encode())
    except OSError as error:
        got = system_words(error)
        raise FaultnetError(
            "results cannot be kept", where=str(path), got=got, to_do="name a file in a folder that may be written"
        ) from None
