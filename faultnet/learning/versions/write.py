"""Tuned numbers written into a copy of the prior set they came from."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from faultnet.learning.result import Change, Score, Tuned
from faultnet.prior_set import Catalogue, load_catalogue
from faultnet.prior_set.load import current_rows
from faultnet.prior_set.overlay import HEAD, KEYS, lineage, merged_head, merged_rows
from faultnet.prior_set.records import COLUMNS
from faultnet.prior_set.tables import toml_table

Cells = dict[str, str]
LEAST_COUNT = 1e-3
SEVERAL = ("instruments", "effects")


def applied(tuned: Tuned, source: Path, target: Path, name: str, version: str, history: str, sha256: str) -> Path:
    """Write a tuned prior set.

    Parameters
    ----------
    tuned : Tuned
    source : Path
        Folder of the set it was tuned from; not changed.
    target : Path
        Folder to make.
    name, version : str
        Of the new set.
    history, sha256 : str
        Name of the history, and hash of its bytes.

    Returns
    -------
    Path
        `target`, after the loader has read it without complaint.

    Raises
    ------
    PriorsError
        If the new set does not pass the loader.
    """
    before, folders = load_catalogue(folder=source), lineage(source)
    shutil.copytree(source, target)
    by_table: dict[str, dict[tuple[str, ...], list[Change]]] = {}
    for change in tuned.changes:
        key = change.key[: len(KEYS[change.table])]  # where a row has several numbers, the key also names the column
        by_table.setdefault(change.table, {}).setdefault(key, []).append(change)
    origin = f"tuned on {tuned.cases} cases, sha256 {sha256[:12]}"
    for table, changes in by_table.items():
        _rewrite(target, table, folders, changes, origin)
    kept = {key: value for key, value in toml_table(source / HEAD).items() if key in ("parent", "format")}
    _provenance(tuned, before, target / HEAD, {"name": name, "version": version, **kept}, history, sha256)
    load_catalogue(folder=target)
    return target


def _rewrite(
    target: Path, table: str, folders: Sequence[Path], changes: dict[tuple[str, ...], list[Change]], origin: str
) -> None:
    """Write a table with the new numbers; of a set with a parent only the rows that differ from the parent's."""
    columns = COLUMNS[table]
    older = table in ("spreads", "effects")  # an older set may lack rows that were tuned: it reads the shipped ones
    where = tuple(folders)
    had = current_rows(table, where, merged_head(where))[0] if older else merged_rows(folders, table, columns)
    rows = [dict(row.cells) for row in had]
    out = list(_changed(table, rows, changes, origin))
    if len(folders) > 1:
        inherited = [row.cells for row in merged_rows(folders[1:], table, columns)]
        out = [row for row in out if row not in inherited]
    with (target / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(out)


def _changed(
    table: str, rows: Iterable[Cells], changes: dict[tuple[str, ...], list[Change]], origin: str
) -> Iterator[Cells]:
    """Rows with the new numbers; a group that the old table did not have goes behind its mode's other rows."""
    left, rows = dict(changes), list(rows)
    for place, row in enumerate(rows):
        mine = left.pop(tuple(row[k] for k in KEYS[table]), [])
        numbers = {k: v for change in mine for k, v in _numbers(table, change, row).items()}
        yield {**row, **numbers, **_origin(table, mine, row, origin)} if mine else row
        owner, after = tuple(row.values())[:2], rows[place + 1] if place + 1 < len(rows) else {}
        if table == "base_rates" and tuple(after.values())[:2] != owner:
            for key in [k for k in left if k[:2] == owner]:
                [new] = left.pop(key)
                yield {**row, "group": key[2], **_numbers(table, new, row), **_origin(table, [new], row, origin)}
    if left:
        raise AssertionError(f"tuned numbers without a row in {table}: {sorted(left)[:3]}")


def _numbers(table: str, change: Change, row: Cells) -> Cells:
    if table == "base_rates":
        of = change.counts or float(row["of"])
        return {"value": f"{max(change.new * of, LEAST_COUNT):.8g}", "of": f"{of:.8g}"}
    if table == "symptoms":
        return {"value": f"{max(change.new * (change.counts or 100.0), LEAST_COUNT):.8g}"}
    if table == "on_rates":
        return {"value": f"{min(max(change.new, 0.001), 0.999):.8g}"}
    column = change.key[len(KEYS[table])] if table in SEVERAL else "value"
    return {column: f"{change.new:.8g}"}


def _origin(table: str, changes: Sequence[Change], row: Cells, origin: str) -> Cells:
    said = []
    for change in changes:
        which = f"{change.key[-1]} " if len(changes) > 1 or (table in SEVERAL and change.key[-1] != "offset") else ""
        said.append(f"{which}was {change.old:.4g}, now {change.new:.4g} ({change.low:.4g} to {change.high:.4g})")
    note = f"{'; '.join(said)}; {row['note']}"
    return {"source": f"{origin}; before: {row['source']}", "mark": "derived", "note": note.rstrip("; ")}


def _provenance(
    tuned: Tuned, old: Catalogue, path: Path, named: Mapping[str, object], history: str, sha256: str
) -> None:
    """Write name, version, parent and where the numbers come from; texts and marks of the old set stay."""
    about, options = old.provenance, tuned.options
    now = datetime.now(UTC).isoformat(timespec="seconds")
    facts = {
        "from": tuned.from_set,
        "from_fingerprint": old.fingerprint,
        "history": history,
        "history_sha256": sha256,
        "at": now,
        "cases": tuned.cases,
        "passes": tuned.passes,
        "strength": options.strength,
        "recency_half_life": "none" if options.recency_half_life is None else options.recency_half_life,
        "groups": ", ".join(options.groups) or "none",
        "folds": options.folds,
        **_scored("old", tuned.old_score),
        **_scored("new", tuned.new_score),
    }
    head = {
        **named,
        "title": f"Tuned from {tuned.from_set} on {tuned.cases} cases of {history}",
        "author": about.author,
        "date": now[:10],
        "population": about.population,
        "note": "Rows that were tuned say so in their source, and what they were in their note; others are as before.",
    }
    parts = [*_lines(head), "", "[marks]", *_lines(about.marks), "", "[tuned]", *_lines(facts)]
    path.write_text("\n".join(parts) + "\n", encoding="utf-8")


def _scored(which: str, score: Score | None) -> dict[str, float]:
    return {} if score is None else {f"{which}_log_loss": score.log_loss, f"{which}_brier": score.brier}


def _lines(fields: Mapping[str, object]) -> list[str]:
    """Fields in TOML, whose way of writing text JSON's is too."""
    import json

    return [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in fields.items()]
