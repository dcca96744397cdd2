"""Histories as Parquet files, by pyarrow; each column in its own type, a chunk of rows at a time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any, BinaryIO

from faultnet.errors import MissingExtraError
from faultnet.learning.result import HistoryError
from faultnet.learning.tables.columns import COLUMNS
from faultnet.limits import FREE, HISTORY, LONGEST_TEXT, MOST_PACKED, size_words

AT_A_TIME = 1_000
"""Rows unfolded at a time."""

_TYPES = {"number": "float64", "whole": "int64", "yes_no": "bool_"}


def write_parquet(rows: Iterable[list[Any]], target: BinaryIO, chunk: int) -> int:
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


def read_parquet(file: BinaryIO, name: str) -> tuple[list[str], Iterator[tuple[Any, ...]]]:
    """Read the names of the columns and the rows.

    Raises
    ------
    HistoryError
        If the file is damaged, or holds more than :data:`faultnet.limits.HISTORY` allows.
    MissingExtraError
        If pyarrow is not installed.
    """
    arrow, parquet = _pyarrow()
    try:
        opened = parquet.ParquetFile(file)
        texts = [column.name for column in opened.schema_arrow if arrow.types.is_string(column.type)]
        _refuse_too_much(opened.metadata, name)
        # a text that stands in many rows is then held once, and can be measured before it is unfolded
        opened = parquet.ParquetFile(file, read_dictionary=texts)
    except (arrow.ArrowException, OSError, ValueError, OverflowError) as error:
        raise _damaged(name, error) from None
    return list(opened.schema_arrow.names), _rows(opened, name, arrow)


def _refuse_too_much(about: Any, name: str) -> None:
    """Refuse a file by what it says of itself."""
    groups = [about.row_group(k) for k in range(about.num_row_groups)]
    columns = [group.column(k) for group in groups for k in range(group.num_columns)]
    size = sum(column.total_uncompressed_size for column in columns)
    packed = sum(column.total_compressed_size for column in columns)
    if about.num_rows > HISTORY.rows:
        raise _too_much(name, f"{about.num_rows:,} rows", f"at most {HISTORY.rows:,} rows")
    if size > HISTORY.size:
        raise _too_much(name, size_words(size), f"at most {size_words(HISTORY.size)} unpacked")
    if size > max(FREE, MOST_PACKED * packed):
        raise _too_much(
            name, f"{size_words(size)} from {size_words(packed)} packed", f"a file packed at most {MOST_PACKED} times"
        )


def _rows(opened: Any, name: str, arrow: Any) -> Iterator[tuple[Any, ...]]:
    try:
        for batch in opened.iter_batches(batch_size=AT_A_TIME):
            held = sum(_text_bytes(column, arrow) for column in batch.columns)
            if held > AT_A_TIME * LONGEST_TEXT // 4:
                got = f"{size_words(held)} of text in {batch.num_rows} rows"
                raise _too_much(name, got, f"texts of at most {LONGEST_TEXT:,} characters")
            columns = [column.to_pylist() for column in batch.columns]
            yield from zip(*columns, strict=True)
    except (arrow.ArrowException, OSError, ValueError, OverflowError) as error:
        raise _damaged(name, error) from None


def _text_bytes(column: Any, arrow: Any) -> int:
    """How many bytes of text a column becomes once each row has its own."""
    if not arrow.types.is_dictionary(column.type):
        return int(column.nbytes)
    import pyarrow.compute as compute

    lengths = compute.binary_length(column.dictionary)
    return int(compute.sum(compute.take(lengths, column.indices)).as_py() or 0)


def _damaged(name: str, error: Exception) -> HistoryError:
    said = (str(error).splitlines() or [type(error).__name__])[0]
    return HistoryError("the Parquet file is damaged", where=name, got=said[:200], to_do="write it again")


def _too_much(name: str, got: str, expected: str) -> HistoryError:
    return HistoryError("too much to read", where=name, got=got, expected=expected, to_do="take a smaller part of it")


def _pyarrow() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise MissingExtraError("Parquet files need pyarrow", extra="parquet") from None
    return pyarrow, pyarrow.parquet
