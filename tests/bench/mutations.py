"""Which numbers could be wrong by 15 % without a test that names a source noticing?

Run `python tests/bench/mutations.py --keep mutations.jsonl`; it goes on where that file ends. Every number of
`faultnet/physics/` and every number of a row of the shipped prior set that is marked published, secondary, memory or
practice is moved up and down by 15 % (one at a time, in memory or in a copy of the tables; volts by half the range that
is quoted for them where that is less; a specific gravity by 15 % of what it has above that of water). Then the tests
run that name a source, quick ones first, until one fails. `--without FILE` leaves a file of tests out, `--slow` adds
the rules of the trade by whole networks (half a minute for every number that the others miss), `--report` only counts.

A test names a source when its docstring, that of its file or its parameters say so: published, secondary, from memory,
common practice, derived, or the like. Left out as no numbers of physics: nought, one, two, counts, units of time and
size, the zero of the Kelvin scale, stand-ins for what is endless, and the conditions that a function assumes when it is
told none; and in the tables an instrument's chance of a slip, which is an estimate everywhere.
"""

from __future__ import annotations

import argparse
import ast
import csv
import gc
import importlib
import importlib.machinery
import io
import json
import os
import re
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

import pytest

TOP = Path(__file__).resolve().parents[2]
PHYSICS = TOP / "faultnet" / "physics"
MOVE = 0.15
QUICK = ("tests/physics", "tests/prior_set/test_numbers.py", "tests/test_quoted_ranges.py")
SLOW = ("tests/test_rules_of_thumb.py", "tests/test_trade_readings.py")
NAMES_A_SOURCE = re.compile(
    r"published|secondary|from memory|common practice|derived|statistics|conference|handbook|the source gives|ISO \d",
    re.IGNORECASE,
)
SOURCED = ("published", "secondary", "memory", "practice")

NO_PHYSICS = {0.0, 1.0, 2.0, 60.0, 120.0, 24.0, 30.0, 1e-3, 1e-6, 1e-9, 1e-12, 1e9, 273.15, 298.15}
"""Values that are no numbers of physics: units, the origin of a scale, stand-ins for what is endless or nothing."""
NUMERICS = {"TINY", "HUGE", "SAMPLES", "TABLE", "_time_to_charge", "charge_from_voltage", "windowed_minimum"}
CONDITIONS = {"temperature", "charge", "acceptance", "ripple", "offset", "slip", "fading", "empty", "kind", "defect"}
"""Arguments that say under which conditions something is asked; what they are when left out is no number of physics."""

GRAVITIES = {"FLOODED_GRAVITY", "GRAVITY_RANGE", "FREEZING_GRAVITY", "ACID_DENSITY", "specific_gravity"}
VOLTS = {
    "rating.LOAD_TEST_LIMIT": 0.05,  # other manuals' tables differ by 0.1 V
    "charging.SET_POINT.14.15": 0.45,  # 13.7 to 14.6 V at 20 degC
    "charging.SET_POINT.14.4": 0.4,  # 14.0 to 14.8 V
    "charging.SET_POINT.12.9": 0.3,  # 12.6 to 13.2 V
    "charging.SET_POINT.15.2": 0.25,  # 15.0 to 15.5 V
    "acid.cell_voltage.1.922": 0.005,  # the table of rest voltages is given to 0.01 V for six cells
    "charge.acceptance_current.11.9": 0.05,
    "charge.acceptance_current.14.4": 0.3,  # 14.0 to 14.8 V
    "drain.drive_recharge.14.2": 0.4,  # 13.5 to 14.8 V, warm
    "drain.charge_in_use.14.2": 0.4,
}
"""Half the quoted range [V] of numbers in volts of the physics, by module, name and (where needed) value."""


@dataclass(frozen=True)
class Mutation:
    """One number moved: `kind` "physics" or the name of a table, `name` of the number, its value before and after.

    `place` is what is needed to move it: module, begin and end in its text; or table, row and column.
    """

    kind: str
    name: str
    value: float
    moved: float
    place: tuple[Any, ...]

    @property
    def key(self) -> str:
        """What it is called in the file of results."""
        return f"{self.name} {'up' if self.moved > self.value else 'down'}"


def moves(value: float, most: float | None = None) -> Iterator[float]:
    """Give the value moved up and down by 15 %, or by `most` where that is less."""
    step = abs(value) * MOVE if most is None else min(abs(value) * MOVE, most)
    yield from (value + step, value - step)


# numbers of the physics


class Numbers(ast.NodeVisitor):
    """Collect the numbers of one module, with the name of the constant or function in which each stands."""

    def __init__(self, module: str) -> None:
        self.module = module
        self.found: list[tuple[str, ast.Constant]] = []
        self.scope = ""

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        """Enter a function: the values its arguments have when left out, then its body."""
        self.scope = node.name
        arguments = [*node.args.posonlyargs, *node.args.args]
        defaults = node.args.defaults
        for argument, value in zip(arguments[len(arguments) - len(defaults) :], defaults, strict=True):
            if argument.arg not in CONDITIONS:
                self.scope = argument.arg if argument.arg == "brush_drop" else node.name
                self.visit(value)
        self.scope = node.name
        for statement in node.body:
            self.visit(statement)
        self.scope = ""

    def visit_Assign(self, node: ast.Assign) -> None:
        """Enter a constant of the module, or a step of a function."""
        if not self.scope:
            self.scope = ",".join(ast.unparse(target) for target in node.targets)
            self.generic_visit(node)
            self.scope = ""
        else:
            self.generic_visit(node)

    def visit_Subscript(self, node: ast.Subscript) -> None:
        """Leave indices out."""
        self.visit(node.value)

    def visit_Constant(self, node: ast.Constant) -> None:
        """Take a number down."""
        if isinstance(node.value, float) or (isinstance(node.value, int) and node.value >= 3):
            self.found.append((self.scope, node))


def of_physics() -> Iterator[Mutation]:
    """Every number of the physics, moved."""
    for path in sorted(PHYSICS.glob("*.py")):
        if path.stem in ("__init__", "quantity"):
            continue
        text = path.read_text(encoding="utf-8")
        begins = [0]
        for line in text.splitlines(keepends=True):
            begins.append(begins[-1] + len(line))
        numbers = Numbers(path.stem)
        numbers.visit(ast.parse(text))
        count: Counter[str] = Counter()
        for scope, node in numbers.found:
            value = float(node.value)  # type: ignore[arg-type]
            count[scope] += 1
            if value == 0.0 or scope in NUMERICS or (value in NO_PHYSICS and not stated(scope, value)):
                continue
            name = f"{path.stem}.{scope}[{count[scope]}]"
            most = VOLTS.get(f"{path.stem}.{scope}", VOLTS.get(f"{path.stem}.{scope}.{node.value}"))
            if scope in GRAVITIES and 1.0 < value < 1.5:
                most = MOVE * (value - 1.0)
            begin = begins[node.lineno - 1] + node.col_offset
            end = begins[node.end_lineno - 1] + node.end_col_offset  # type: ignore[operator]
            for moved in moves(value, most):
                yield Mutation("physics", f"{name} = {node.value}", value, moved, (path.stem, begin, end))


def stated(scope: str, value: float) -> bool:
    """Tell a number of physics that happens to be one of :data:`NO_PHYSICS`: constants, the windings' volt."""
    return (scope.isupper() and value > 1e-2) or scope in ("motor_resistance", "brush_drop")


def renewed(module: str, text: str) -> None:
    """Let the loaded physics work by the changed text: code, defaults and constants change in place."""
    prefix = "faultnet.physics."
    names = [name for name in sys.modules if name.startswith(prefix)]
    old = {name: sys.modules.pop(name) for name in names}
    load = importlib.machinery.SourceFileLoader.get_code

    def changed(self: Any, fullname: str) -> CodeType | None:
        if fullname == prefix + module:
            return compile(text, self.get_filename(fullname), "exec")
        return load(self, fullname)

    importlib.machinery.SourceFileLoader.get_code = changed  # type: ignore[method-assign,assignment]
    new = {name: importlib.import_module(name) for name in names}
    before: dict[str, Any] = {}
    for name in names:
        for key, value in vars(new[name]).items():
            held = vars(old[name]).get(key)
            inner, fresh = getattr(held, "__wrapped__", held), getattr(value, "__wrapped__", value)
            if isinstance(inner, FunctionType) and isinstance(fresh, FunctionType):
                if inner.__module__.startswith(prefix):
                    inner.__code__, inner.__defaults__ = fresh.__code__, fresh.__defaults__
                    inner.__kwdefaults__ = fresh.__kwdefaults__
                    getattr(held, "cache_clear", lambda: None)()
            elif key.isupper():
                before[key] = held
                vars(old[name])[key] = value
        sys.modules[name] = old[name]
        setattr(sys.modules["faultnet.physics"], name.rpartition(".")[2], old[name])
    for other in [m for n, m in sys.modules.items() if n.startswith(("faultnet.", "tests.")) and n not in old]:
        for key, held in before.items():
            if isinstance(other, ModuleType) and vars(other).get(key, ...) is held:
                setattr(other, key, next(vars(new[n])[key] for n in names if key in vars(new[n])))


# rows of the prior set


COLUMNS = {
    "effects": ("centre", "spread"),
    "spreads": ("value",),
    "costs": ("value",),
    "symptoms": ("value",),
    "on_rates": ("value",),
    "base_rates": ("value",),
    "instruments": ("percent", "floor", "resolution", "window", "interval", "offset", "offset_spread"),
}
KEYS = {
    "effects": ("component", "mode", "parameter"),
    "spreads": ("name",),
    "costs": ("kind", "name"),
    "symptoms": ("test", "cause", "choice"),
    "on_rates": ("component", "mode", "condition"),
    "base_rates": ("component", "mode", "group"),
    "instruments": ("id",),
}
RANGE = re.compile(r"(\d+(?:\.\d+)?) to (\d+(?:\.\d+)?) V\b")


def of_priors(folder: Path) -> Iterator[Mutation]:
    """Every number of a row with a published or practice source, moved."""
    for table, columns in COLUMNS.items():
        rows = list(csv.DictReader(io.StringIO((folder / f"{table}.csv").read_text(encoding="utf-8"))))
        for place, row in enumerate(rows):
            if row["mark"] not in SOURCED:
                continue
            quoted = RANGE.search(f"{row['source']} {row['note']}") if row["unit"] == "V" else None
            most = (float(quoted[2]) - float(quoted[1])) / 2.0 if quoted else None
            for column in columns:
                value = number(row[column])
                if value:
                    name = f"{table}: {' '.join(row[key] for key in KEYS[table])} {column} = {row[column]}"
                    for moved in moves(value, most):
                        yield Mutation(table, name, value, moved, (table, place, column))


def number(text: str) -> float:
    """Read a number; what is none is nought."""
    try:
        return float(text)
    except ValueError:
        return 0.0


def with_row(folder: Path, mutation: Mutation) -> str:
    """Write the table with one number moved; give back what stood there."""
    table, place, column = mutation.place
    path = folder / f"{table}.csv"
    text = path.read_text(encoding="utf-8")
    reader = csv.DictReader(io.StringIO(text))
    rows = list(reader)
    rows[place][column] = f"{mutation.moved:.12g}"
    out = io.StringIO()
    writer = csv.DictWriter(out, list(reader.fieldnames or ()), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(out.getvalue(), encoding="utf-8")
    return text


# running


class Bench:
    """Run the collected tests once for each mutation, each time in a fork of this process that has collected them."""

    def __init__(self, options: argparse.Namespace, folder: Path) -> None:
        self.options = options
        self.folder = folder
        self.failure = ""

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Keep the tests that name a source, the quick ones first."""
        items[:] = [item for item in items if NAMES_A_SOURCE.search(said_by(item))]
        items.sort(key=lambda item: item.nodeid.startswith(SLOW))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Remember what failed."""
        if report.failed:
            self.failure = report.nodeid

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Go through the mutations that the file of results does not hold."""
        keep = self.options.keep
        done = {json.loads(line)["key"] for line in keep.read_text().splitlines()} if keep.is_file() else set()
        os.environ.setdefault("PYBAMM_DISABLE_TELEMETRY", "true")
        importlib.import_module("pybamm.input.parameters.lead_acid")  # here, and not in every fork
        gc.freeze()  # what is loaded is not looked through again and again in the forks
        found = self.in_fork(session.items, None)
        if found:
            sys.exit(f"a test fails while nothing is changed: {found}")
        for mutation in [*of_physics(), *of_priors(TOP / "priors" / "standard")]:
            if mutation.key in done or (self.options.only and self.options.only not in mutation.key):
                continue
            seeing = [item for item in session.items if self.sees(item, mutation)]
            seeing.sort(key=lambda item: mutation.place[0] not in item.nodeid)  # its own tests first: quicker
            seeing.sort(key=lambda item: item.nodeid.startswith(SLOW))
            record = {"key": mutation.key, "kind": mutation.kind, "moved": mutation.moved}
            record["noticed"] = self.in_fork(seeing, mutation)
            with keep.open("a", encoding="utf-8") as file:
                file.write(json.dumps(record) + "\n")
            if self.options.verbose:
                print(mutation.key, "->", record["noticed"] or "NOT NOTICED", flush=True)
        return True

    def sees(self, item: pytest.Item, mutation: Mutation) -> bool:
        """Leave out tests of the physics alone where a table is changed, and networks for counts of answers."""
        if mutation.kind == "physics":
            return True
        slow = item.nodeid.startswith(SLOW)
        return not item.nodeid.startswith("tests/physics") and not (slow and mutation.kind in ("symptoms", "costs"))

    def in_fork(self, items: list[pytest.Item], mutation: Mutation | None) -> str:
        """Name the first test that fails under a mutation; nothing when all pass."""
        kept = None
        if mutation is not None and mutation.kind != "physics":
            kept = with_row(self.folder / "priors" / "standard", mutation)
        read, write = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(read)
            os.write(write, self.first_failure(items, mutation).encode()[:4000])
            os._exit(0)
        os.close(write)
        with os.fdopen(read, "rb") as pipe:
            found = pipe.read().decode()
        os.waitpid(child, 0)
        if kept is not None and mutation is not None:
            (self.folder / "priors" / "standard" / f"{mutation.place[0]}.csv").write_text(kept, encoding="utf-8")
        return found

    def first_failure(self, items: list[pytest.Item], mutation: Mutation | None) -> str:
        """Change the number in this process and run the tests until one fails."""
        from faultnet import shipped

        if mutation is not None and mutation.kind == "physics":
            module, begin, end = mutation.place
            text = (PHYSICS / f"{module}.py").read_text(encoding="utf-8")
            renewed(module, f"{text[:begin]}{mutation.moved!r}{text[end:]}")
        elif mutation is not None:
            shipped.places = lambda kind: (self.folder / kind, TOP / kind)
        with tempfile.TemporaryDirectory() as cache:
            os.environ["FAULTNET_CACHE"] = cache
            for item, following in zip(items, [*items[1:], None], strict=True):
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
                if self.failure:
                    return self.failure
        return ""


def said_by(item: pytest.Item) -> str:
    """What a test says of its source: its docstring, that of its file where it has none, and its parameters."""
    function = getattr(item, "function", None)
    own = function.__doc__ if function is not None else None
    parameters = getattr(getattr(item, "callspec", None), "params", {})
    said = f"{own or sys.modules[function.__module__].__doc__ if function else ''} {parameters.get('source', '')}"
    return " ".join(said.split())


def report(keep: Path) -> None:
    """Count numbers by kind: noticed both ways, one way, not at all; and name the last."""
    records = [json.loads(line) for line in keep.read_text().splitlines()]
    numbers: dict[tuple[str, str], list[bool]] = {}
    for record in records:
        name = record["key"].rpartition(" ")[0]
        numbers.setdefault((record["kind"], name), []).append(bool(record["noticed"]))
    print(f"{len(records)} mutations of {len(numbers)} numbers; noticed {sum(bool(r['noticed']) for r in records)}")
    print("| kind | numbers | noticed both ways | one way | not at all |\n|---|---|---|---|---|")
    for kind in dict.fromkeys(kind for kind, _ in numbers):
        seen = [found for (k, _), found in numbers.items() if k == kind]
        both, none = sum(all(f) for f in seen), sum(not any(f) for f in seen)
        print(f"| {kind} | {len(seen)} | {both} | {len(seen) - both - none} | {none} |")
    for (_, name), found in numbers.items():
        if not any(found):
            print("not noticed:", name)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keep", type=Path, default=Path("mutations.jsonl"))
    parser.add_argument("--without", action="append", default=[])
    parser.add_argument("--only", default="")
    parser.add_argument("--slow", action="store_true")
    parser.add_argument("--report", action="store_true")
    parser.add_argument("--verbose", action="store_true")
    options = parser.parse_args()
    if not options.report:
        options.keep = options.keep.resolve()
        os.chdir(TOP)
        files = [f for f in (*QUICK, *(SLOW if options.slow else ())) if f not in options.without and Path(f).exists()]
        with tempfile.TemporaryDirectory() as folder:
            shutil.copytree(TOP / "priors", Path(folder) / "priors")
            ignored = ["--ignore=tests/physics/test_ngspice.py", "-p", "no:cacheprovider", "-p", "no:terminal"]
            status = pytest.main(
                ["-o", "addopts=--import-mode=importlib", *ignored, *files], plugins=[Bench(options, Path(folder))]
            )
        if status not in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
            sys.exit(int(status))
    report(options.keep)


if __name__ == "__main__":
    main()
