"""A measurement as flat rows, one per thread, for tables and data frames."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pitchcam.records import Measurement, PartResult, Quantity, ThreadReading, ThreadResult, Verdict

#: Quantities of the contract that get two columns, value and standard uncertainty (k = 1), with
#: the decimals that tables show: a tenth of the smallest uncertainty met, or finer.
QUANTITIES: Mapping[str, int] = {
    "pitch_mm": 5,
    "tpi": 4,
    "major_mm": 4,
    "pitch_diameter_mm": 4,
    "minor_mm": 4,
    "angle_deg": 3,
    "taper": 5,
    "diameter_station_mm": 3,
}


def quantities_of(reading: ThreadReading) -> Iterator[tuple[str, Quantity]]:
    """Return the measured quantities by name, in the order of the columns."""
    for name in QUANTITIES:
        got: Quantity | None = getattr(reading, name)
        if got is not None:
            yield name, got


def candidates_cell(verdict: Verdict) -> str:
    """Return the candidates with their probabilities as one cell of a table."""
    return "; ".join(f"{c.designation} {c.probability:.3f}" for c in verdict.candidates)


def thread_rows(measurement: Measurement) -> list[dict[str, Any]]:
    """Return one row per thread; see :meth:`pitchcam.records.Measurement.rows`."""
    return [
        _row(measurement, part, number, thread)
        for part in measurement.parts
        for number, thread in enumerate(part.threads, 1)
    ]


def _row(
    measurement: Measurement, part: PartResult, number: int, thread: ThreadResult
) -> dict[str, Any]:
    photo, verdict = measurement.photo, thread.verdict
    read = dict(quantities_of(thread.reading))
    columns = {
        column: value
        for name in QUANTITIES
        for column, value in (
            (name, read[name].value if name in read else None),
            (f"u_{name}", read[name].u if name in read else None),
        )
    }
    return {
        "photo": None if photo is None else photo.file,
        "part": part.id,
        "thread": number,
        "status": verdict.status,
        "designation": verdict.designation,
        "standard": verdict.standard,
        "probability": verdict.probability,
        **columns,
        "gender": thread.reading.gender,
        "starts": thread.reading.starts,
        "turns": thread.turns,
        "candidates": candidates_cell(verdict),
        "same_geometry": "; ".join(verdict.same_geometry),
        "next_step": verdict.next_step,
        "warnings": " ".join(w.code for w in measurement.warnings_of(part.id)),
        "sha256": None if photo is None else photo.sha256,
    }
