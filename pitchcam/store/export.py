"""Rows as CSV, JSON or Parquet: same rows, same bytes."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

from pitchcam.errors import PitchcamError, UsageError
from pitchcam.files import write_whole
from pitchcam.records import json_text
from pitchcam.records.formats import document
from pitchcam.records.rows import QUANTITIES
from pitchcam.store.rows import ThreadRow

_INTEGERS = ("part", "thread", "starts", "number")
_NUMBERS = ("probability", "turns")


def columns() -> list[str]:
    """Return the column names of a table of threads."""
    out: list[str] = []
    for field in fields(ThreadRow):
        if field.name == "quantities":
            out += [name for q in QUANTITIES for name in (q, f"u_{q}")]
        elif field.name != "u_stated":
            out.append(field.name)
    return out


def csv_bytes(rows: Iterable[Mapping[str, Any]], names: Sequence[str]) -> bytes:
    """Return rows as RFC 4180 CSV in UTF-8; empty where there is no value.

    Text that a spreadsheet would run as a formula gets a leading apostrophe: file names come from
    outside.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(names)
    for row in rows:
        writer.writerow([_cell(row[name]) for name in names])
    return text.getvalue().encode()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return str(value)


def json_bytes(rows: Iterable[Mapping[str, Any]], names: Sequence[str]) -> bytes:
    """Return rows as a document of objects, in the order of the columns."""
    plain = [{name: row[name] for name in names} for row in rows]
    return (json_text(document("threads", {"rows": plain}), indent=1) + "\n").encode()


def parquet_bytes(rows: Iterable[Mapping[str, Any]], names: Sequence[str]) -> bytes:
    """Return rows as one Parquet table, typed by column.

    Raises
    ------
    PitchcamError
        If pyarrow (the extra ``table``) is not installed.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise PitchcamError(
            "Parquet needs one more package.", "Install it: pip install 'pitchcam[table]'"
        ) from error
    schema = pa.schema([(name, _arrow_type(pa, name)) for name in names])
    table = pa.Table.from_pylist([{n: r[n] for n in names} for r in rows], schema=schema)
    sink = io.BytesIO()
    pq.write_table(table, sink)
    return sink.getvalue()


def _arrow_type(pa: Any, name: str) -> Any:
    if name in _INTEGERS:
        return pa.int32()
    if name in _NUMBERS or name.removeprefix("u_") in QUANTITIES:
        return pa.float64()
    return pa.string()


_Writer = Callable[[Iterable[Mapping[str, Any]], Sequence[str]], bytes]
_WRITERS: dict[str, _Writer] = {".csv": csv_bytes, ".json": json_bytes, ".parquet": parquet_bytes}


def export_rows(rows: Iterable[ThreadRow], path: Path) -> None:
    """Write rows to a file whose ending says the format: .csv, .json or .parquet.

    Raises
    ------
    UsageError
        If the ending is none of these.
    FullError
        If the disk is full; an older file stays as it was then.
    """
    writer = _WRITERS.get(path.suffix.lower())
    if writer is None:
        raise UsageError(f"{path.name}: the ending must be one of {', '.join(_WRITERS)}.")
    write_whole(path, writer((row.flat() for row in rows), columns()))
