"""The plots a person wants to look at, as matplotlib figures: spectrum, profile, even spacing."""

from __future__ import annotations

import base64
import io
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from pitchcam.records import MM_PER_INCH, ThreadResult, u_as_stated, u_stated
from pitchcam.report.figures import COVERAGE_FACTOR, millimetres
from pitchcam.report.profile import best_phase, standard_radius
from pitchcam.series import ThreadSize

_SIZE_IN = (7.2, 3.6)
_MEASURED, _STANDARD, _MARK = "#0072b2", "#d55e00", "#555555"
# More points than this make the page heavy and the plot no clearer.
_MOST_POINTS = 2500
# The spectrum is shown up to the third harmonic: what a worn profile still has.
_HARMONICS_SHOWN = 3.6
_STYLE: Any = {
    "font.size": 10.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#e4e2de",
    "svg.hashsalt": "pitchcam",
    "figure.constrained_layout.use": True,
}


def spectrum_figure(thread: ThreadResult) -> Figure | None:
    """Return the outline's spectrum with its peak; None where the thread carries none."""
    pitch = thread.reading.pitch_mm
    if thread.plots is None or pitch is None or len(thread.plots.spectrum[0]) < 2:
        return None
    frequency, amplitude = (np.asarray(v, float) for v in thread.plots.spectrum)
    peak = 1.0 / pitch.value
    shown = frequency <= peak * _HARMONICS_SHOWN
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=_SIZE_IN)
        axes = figure.subplots()
        axes.plot(frequency[shown], amplitude[shown], color=_MEASURED, linewidth=1.4)
        axes.axvline(peak, color=_STANDARD, linewidth=1.0)
        axes.annotate(
            f"pitch {millimetres(pitch)}",
            (peak, 0.94),
            (8, 0),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            color=_STANDARD,
            va="top",
        )
        for order in (2, 3):
            axes.axvline(order * peak, color=_MARK, linewidth=0.8, linestyle=":")
        axes.set(
            xlabel="periods per mm along the axis",
            ylabel="amplitude",
            xlim=(0.0, None),
            ylim=(0.0, None),
        )
        upper = axes.secondary_xaxis("top", functions=(_per_inch, _per_mm))
        upper.set_xlabel("threads per inch")
    return figure


def profile_figure(thread: ThreadResult, size: ThreadSize | None) -> Figure | None:
    """Return the profile folded over one pitch, with the standard profile of ``size`` over it.

    Parameters
    ----------
    thread
        The measured thread.
    size
        The named size, or the likeliest candidate; None draws the measured points alone.
    """
    if thread.plots is None or len(thread.plots.folded[0]) == 0:
        return None
    turn, radius = (np.asarray(v, float) for v in thread.plots.folded)
    station = thread.reading.diameter_station_mm
    pitch = thread.reading.pitch_mm.value if thread.reading.pitch_mm is not None else 1.0
    phase = 0.0 if size is None else best_phase(size, turn, radius, _value(station))
    # The ridge in the middle of the plot.
    turn = np.mod(turn - phase + 0.5, 1.0) - 0.5
    keep = np.linspace(0, len(turn) - 1, min(len(turn), _MOST_POINTS)).astype(int)
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(_SIZE_IN[0], 4.4))
        axes = figure.subplots()
        axes.plot(
            turn[keep] * pitch,
            radius[keep],
            ".",
            color=_MEASURED,
            markersize=3.5,
            alpha=0.5,
            label="measured, all turns and both sides",
        )
        if size is not None:
            grid = np.linspace(-0.5, 0.5, 401)
            axes.plot(
                grid * size.pitch_mm,
                standard_radius(size, grid, _value(station)),
                color=_STANDARD,
                linewidth=1.6,
                label=f"{size.designation} by its standard, basic size",
            )
        axes.set(xlabel="mm along the axis, over one pitch", ylabel="radius, mm")
        axes.set_aspect("equal", adjustable="datalim")
        axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2, frameon=False)
    return figure


def drift_figure(thread: ThreadResult) -> Figure | None:
    """Return how far each crest lies from even spacing, along the thread."""
    if thread.plots is None or len(thread.plots.drift[0]) == 0:
        return None
    position, deviation = (np.asarray(v, float) for v in thread.plots.drift)
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(_SIZE_IN[0], 3.0))
        axes = figure.subplots()
        axes.axhline(0.0, color=_MARK, linewidth=0.8)
        pitch = thread.reading.pitch_mm
        if pitch is not None and len(position) > 1:
            # Of the spacing itself: a doubted reference bends nothing.
            own = u_as_stated(pitch, u_stated(thread))
            _drift_band(axes, position, COVERAGE_FACTOR * own / pitch.value)
        axes.plot(position, deviation, "o", color=_MEASURED, markersize=4)
        axes.set(xlabel="mm along the thread", ylabel="off even spacing, µm")
    return figure


def _drift_band(axes: Any, position: Any, relative: float) -> None:
    """Shade where a pitch within its stated uncertainty would put the crests."""
    middle = float(position.min() + position.max()) / 2.0
    reach = np.array([position.min(), position.max()])
    off = np.abs(reach - middle) * relative * 1000.0
    edge = np.array([reach[0], middle, reach[1]])
    half = np.array([off[0], 0.0, off[1]])
    axes.fill_between(
        edge,
        -half,
        half,
        color=_STANDARD,
        alpha=0.13,
        linewidth=0,
        label="what ± of the pitch allows",
    )
    axes.legend(loc="upper right", frameon=False, fontsize=8.5)


def svg_uri(figure: Figure) -> str:
    """Return the figure as a ``data:`` address of an SVG, the same bytes at every run."""
    stream = io.BytesIO()
    with mpl.rc_context(_STYLE):
        figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    return "data:image/svg+xml;base64," + base64.b64encode(stream.getvalue()).decode()


def _per_inch(per_mm: Any) -> Any:
    return np.asarray(per_mm) * MM_PER_INCH


def _per_mm(per_inch: Any) -> Any:
    return np.asarray(per_inch) / MM_PER_INCH


def _value(quantity: Any) -> float | None:
    return None if quantity is None else float(quantity.value)
