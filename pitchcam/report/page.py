"""The self-contained report: one HTML file, pictures and plots inside."""

from __future__ import annotations

import base64
import contextlib
import os
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from matplotlib.figure import Figure
from numpy.typing import NDArray

from pitchcam.errors import InputError
from pitchcam.files import write_whole
from pitchcam.photo import Photo
from pitchcam.records import BudgetLine, Measurement, PartResult, ThreadResult
from pitchcam.report import words
from pitchcam.report.figures import COVERAGE_FACTOR
from pitchcam.report.plots import drift_figure, profile_figure, spectrum_figure, svg_uri
from pitchcam.report.several import pictures_of
from pitchcam.report.verdicts import headline
from pitchcam.series import ThreadSize, find
from pitchcam.units import percent
from pitchcam.version import __version__

_JPEG_QUALITY = 88
#: Units of the budget's columns, by the quantity's field name.
_BUDGET_COLUMNS = {
    "pitch_mm": ("pitch, µm", 1000.0),
    "major_mm": ("major diameter, µm", 1000.0),
    "pitch_diameter_mm": ("pitch diameter, µm", 1000.0),
    "minor_mm": ("minor diameter, µm", 1000.0),
    "angle_deg": ("angle, °", 1.0),
    "taper": ("taper, 1/1000", 1000.0),
}


def write_report(
    measurement: Measurement, photo: Photo | Sequence[Photo], path: str | os.PathLike[str]
) -> None:
    """Write the report of one photo, or of several of one part, as a single HTML file.

    Raises
    ------
    InputError
        If the file cannot be written; nothing half-written is left.
    """
    write_whole(Path(path), report_html(measurement, photo).encode())


def report_html(measurement: Measurement, photo: Photo | Sequence[Photo]) -> str:
    """Return the report as HTML that refers to nothing outside itself."""
    photos = [photo] if isinstance(photo, Photo) else list(photo)
    pictures = [(name, _jpeg_uri(drawn)) for name, drawn in pictures_of(measurement, photos)]
    threads = [
        _thread_view(part, index, thread)
        for part in measurement.parts
        for index, thread in enumerate(part.threads, start=1)
    ]
    page = _environment().get_template("report.html")
    return page.render(
        photo=measurement.photo,
        photos=measurement.photos,
        pictures=pictures,
        threads=threads,
        scale=_scale(measurement),
        warnings=measurement.warnings,
        version=__version__,
        factor=f"{COVERAGE_FACTOR:g}",
    )


def _scale(measurement: Measurement) -> str:
    if not measurement.photos:
        return words.scale_line(measurement)
    head, *lines = words.photo_lines(measurement)
    return f"{head} {'; '.join(line.strip() for line in lines)}"


def _jpeg_uri(picture: NDArray[np.uint8]) -> str:
    ok, coded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    if not ok:  # pragma: no cover - OpenCV encodes any 8-bit picture
        raise InputError("the annotated picture could not be encoded")
    return "data:image/jpeg;base64," + base64.b64encode(coded.tobytes()).decode()


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("pitchcam.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _thread_view(part: PartResult, index: int, thread: ThreadResult) -> dict[str, Any]:
    several = f", thread {index}" if len(part.threads) > 1 else ""
    verdict = thread.verdict
    return {
        "label": f"Part {part.id}{several}",
        "verdict": verdict,
        "headline": headline(verdict),
        "rows": words.figure_rows(thread),
        "turns": "" if thread.turns is None else f"{thread.turns:.1f}",
        "starts": thread.reading.starts,
        "candidates": [
            (c.designation, c.standard, percent(c.probability)) for c in verdict.candidates
        ],
        "budget": budget_table(thread),
        "plots": [(title, svg_uri(figure)) for title, figure in plots_of(thread)],
    }


def plots_of(thread: ThreadResult) -> list[tuple[str, Figure]]:
    """Return title and figure of every plot that the thread's data allow."""
    plots = (
        ("Profile over one pitch", profile_figure(thread, _likeliest(thread))),
        ("Spectrum of the outline", spectrum_figure(thread)),
        ("Spacing along the thread", drift_figure(thread)),
    )
    return [(title, figure) for title, figure in plots if figure is not None]


def _likeliest(thread: ThreadResult) -> ThreadSize | None:
    """Return the size to lay over the profile: the named one, else the first candidate."""
    verdict = thread.verdict
    name = verdict.designation or next((c.designation for c in verdict.candidates), None)
    if name is None:
        return None
    with contextlib.suppress(Exception):  # a name without geometry only loses its overlay
        return find(name)
    return None


def budget_table(thread: ThreadResult) -> dict[str, Any] | None:
    """Return columns, rows (source, type, cells) and totals of the budget; None without one."""
    if not thread.budget:
        return None
    columns = [key for key in _BUDGET_COLUMNS if any(key in b.contributions for b in thread.budget)]
    rows = [
        (line.source, line.kind, [_contribution(line, key) for key in columns])
        for line in thread.budget
        if any(key in line.contributions for key in columns)
    ]
    totals = []
    for key in columns:
        quantity = getattr(thread.reading, key)
        totals.append("" if quantity is None else f"{quantity.u * _BUDGET_COLUMNS[key][1]:.3g}")
    return {"columns": [_BUDGET_COLUMNS[key][0] for key in columns], "rows": rows, "totals": totals}


def _contribution(line: BudgetLine, key: str) -> str:
    share = line.contributions.get(key)
    return "" if share is None else f"{abs(share) * _BUDGET_COLUMNS[key][1]:.3g}"
