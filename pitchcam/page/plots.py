"""What the plots of a thread show, kept beside its picture: it is in no document."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pitchcam.records import ThreadPlots, ThreadResult

_CURVES = ("spectrum", "folded", "drift")


def plot_data(thread: ThreadResult) -> dict[str, Any] | None:
    """Return what the plots show, as plain lists."""
    if thread.plots is None:
        return None
    kept: dict[str, Any] = {"axis_px": [list(map(float, p)) for p in thread.plots.axis_px]}
    for name in _CURVES:
        kept[name] = [list(map(float, values)) for values in getattr(thread.plots, name)]
    return kept


def plots_read(kept: Mapping[str, Any] | None) -> ThreadPlots | None:
    """Return what :func:`plot_data` kept, None where nothing was."""
    if kept is None:
        return None
    curves: dict[str, Any] = {name: tuple(tuple(v) for v in kept[name]) for name in _CURVES}
    (x0, y0), (x1, y1) = kept["axis_px"]
    return ThreadPlots(axis_px=((float(x0), float(y0)), (float(x1), float(y1))), **curves)
