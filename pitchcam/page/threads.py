"""Threads read back from the contract's document, so that the report's own words can tell them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pitchcam.records import (
    BudgetLine,
    Candidate,
    Quantity,
    ThreadPlots,
    ThreadReading,
    ThreadResult,
    Verdict,
)

_READ = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg", "taper",
         "diameter_station_mm")  # fmt: skip


def thread_of(thread: Mapping[str, Any], plots: Mapping[str, Any] | None = None) -> ThreadResult:
    """Return the record of one entry of the contract's ``threads``.

    Parameters
    ----------
    thread
        The entry.
    plots
        What :func:`plot_data` kept of its plots, None where nothing was.
    """
    verdict = thread["verdict"]
    halves = thread.get("half_angles_deg") or (None, None)
    return ThreadResult(
        reading=_reading(thread),
        half_angles_deg=(_quantity(halves[0]), _quantity(halves[1])),
        turns=thread.get("turns") or 0.0,
        span_px=_pair(thread.get("span_px") or ((0.0, 0.0), (0.0, 0.0))),
        budget=tuple(_budget_line(line) for line in thread.get("budget", ())),
        verdict=Verdict(
            status=verdict["status"], designation=verdict["designation"],
            standard=verdict["standard"], probability=verdict["probability"],
            same_geometry=tuple(verdict["same_geometry"]),
            candidates=tuple(
                Candidate(designation=c["designation"], standard=c["standard"],
                          probability=c["probability"]) for c in verdict["candidates"]
            ),
            next_step=verdict["next_step"], notes=tuple(verdict.get("notes", ())),
        ),
        plots=None if plots is None else _plots(plots),
    )  # fmt: skip


def _reading(thread: Mapping[str, Any]) -> ThreadReading:
    read: dict[str, Any] = {name: _quantity(thread.get(name)) for name in _READ}
    return ThreadReading(
        gender=thread.get("gender", "external"), starts=thread.get("starts") or 1, **read
    )


def _plots(plots: Mapping[str, Any]) -> ThreadPlots:
    curves: dict[str, Any] = {name: tuple(tuple(v) for v in plots[name]) for name in _CURVES}
    return ThreadPlots(axis_px=_pair(plots["axis_px"]), **curves)


_BUDGETED = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg", "taper")
#: What else a line of the budget says; what an older record lacks has the record's default.
_OF_LINE = ("source", "kind", "correlated", "of_scale", "distribution", "degrees_of_freedom")
_CURVES = ("spectrum", "folded", "drift")


def plot_data(thread: ThreadResult) -> dict[str, Any] | None:
    """Return what the plots show, as plain lists."""
    if thread.plots is None:
        return None
    kept: dict[str, Any] = {"axis_px": [list(map(float, p)) for p in thread.plots.axis_px]}
    for name in _CURVES:
        kept[name] = [list(map(float, values)) for values in getattr(thread.plots, name)]
    return kept


def _quantity(value: Mapping[str, float] | None) -> Quantity | None:
    return None if value is None else Quantity(value=value["value"], u=value["u"])


def _pair(points: Any) -> tuple[tuple[float, float], tuple[float, float]]:
    (x0, y0), (x1, y1) = points
    return (float(x0), float(y0)), (float(x1), float(y1))


def _budget_line(line: Mapping[str, Any]) -> BudgetLine:
    shares = {k: v for k, v in line.items() if k in _BUDGETED and v is not None}
    kept: dict[str, Any] = {k: line[k] for k in _OF_LINE if line.get(k) is not None}
    return BudgetLine(contributions=shares, **kept)
