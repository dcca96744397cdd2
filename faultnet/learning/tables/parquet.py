"""Histories as Parquet files, by pyarrow; each column in its own type, a chunk of rows at a time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import IO, Any

from faultnet.errors import MissingExtraError
from faultnet.learning.result import HistoryError
from faultnet.learning.tables.columns import COLUMNS

_TYPES = {"number": "float64", "whole": "int64", "yes_no": "bool_"}


def write_parquet(rows: Iterable[list[Any]], target: Path, chunk: int) -> int:
    """Write rows, `chunk` of them as one row group; returns how many.

    Raises
    ------
    MissingExtraError
        If pyarrow is not installed.
    """
    arrow, parquet = _pyarrow()
    schema = arrow.schema([(c.name, getattr(arrow, _TYPES.get(c.kind, "string"))()) for c in COLUMNS])
    source, written = iter(rows), 0
    with parquet.ParquetWriter(target, schema, compression="zstd") as writer:
        while part := list(islice(source, chunk)):
            columns = [
                arrow.array(cells, kind.type) for cells, kind in zip(zip(*part, strict=True), schema, strict=True)
            ]
            writer.write_table(arrow.Table.from_arrays(columns, schema=schema))
            written += len(part)
    return written


def read_parquet(file: IO[bytes], name: str, chunk: int) -> Iterator[Sequence[Any]]:
    """Read the names of the columns, then row after row.

    Raises
    ------
    HistoryError
        If the file is damaged.
    MissingExtraError
        If pyarrow is not installed.
    """
    arrow, parquet = _pyarrow()
    try:
        opened = parquet.ParquetFile(file)
        yield opened.schema_arrow.names
        for batch in opened.iter_batches(batch_size=chunk):
            yield from zip(*(column.to_pylist() for column in batch.columns), strict=True)
    except (arrow.ArrowException, OSError) as error:
        raise HistoryError("the Parquet file is damaged", where=name, got=str(error).splitlines()[0]) from None


def _pyarrow() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise MissingExtraError("Parquet files need pyarrow", extra="parquet") from None
    return pyarrow, pyarrow.parquet
