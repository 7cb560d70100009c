"""The plot of a repeatability study: every reading about its part's mean, and the shares."""

from __future__ import annotations

import io
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from pitchcam.batch.study import STUDIED, Components, Reading, plain_name

_MARKS = "osD^vP*X"
_TEAL, _RUST, _GREY = "#0d6672", "#b84a0d", "#9aa0a4"


def study_pdf(results: Sequence[Components], readings: Mapping[str, Sequence[Reading]]) -> bytes:
    """Return one page with a row for each quantity; same readings, same bytes."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.5, 2.6 * len(results) + 0.6), layout="constrained")
    axes = figure.subplots(len(results), 2, squeeze=False, width_ratios=[3, 2])
    for row, result in zip(axes, results, strict=True):
        _readings(row[0], result, readings[result.quantity])
        _shares(row[1], result)
    out = io.BytesIO()
    figure.savefig(out, format="pdf", metadata={"CreationDate": None, "Title": "Repeatability"})
    return out.getvalue()


def _readings(axes: Any, result: Components, readings: Sequence[Reading]) -> None:
    """Draw deviations from each part's mean, a mark for each camera, over the stated ±2u."""
    by_part: dict[str, list[Reading]] = defaultdict(list)
    for reading in readings:
        by_part[reading.part].append(reading)
    cameras = sorted({reading.camera for reading in readings})
    axes.axhspan(-2 * result.stated_u, 2 * result.stated_u, color="#e6eaec", label="stated ±2u")
    axes.axhline(0, color=_GREY, linewidth=0.8)
    for number, camera in enumerate(cameras):
        xs, ys = [], []
        for place, (_, of_part) in enumerate(sorted(by_part.items())):
            mean = sum(r.value for r in of_part) / len(of_part)
            own = [r for r in of_part if r.camera == camera]
            step = 0.6 / max(1, len(own) * len(cameras))
            for i, reading in enumerate(own):
                xs.append(place - 0.3 + (number * len(own) + i + 0.5) * step)
                ys.append(reading.value - mean)
        axes.plot(
            xs,
            ys,
            _MARKS[number % len(_MARKS)],
            markersize=3.5,
            color=f"C{number}",
            label=camera or None,
        )
    axes.set_xticks(range(len(by_part)), sorted(by_part), rotation=30, ha="right", fontsize=7)
    axes.set_ylabel(f"from the part's mean\n({STUDIED[result.quantity][0]})", fontsize=8)
    axes.set_title(plain_name(result.quantity), fontsize=10, loc="left", fontweight="bold")
    axes.tick_params(labelsize=7)
    axes.legend(fontsize=6, loc="lower right", bbox_to_anchor=(1, 1), ncols=5, frameon=False)


def _shares(axes: Any, result: Components) -> None:
    """Draw the standard deviations by source, without that of the parts, which are no error."""
    bars = {
        "stated u": (result.stated_u, _GREY),
        "camera, by part": (result.part_camera, _TEAL),
        "camera": (result.camera, _TEAL),
        "photo to photo": (result.photo, _RUST),
    }
    shown = {name: bar for name, bar in bars.items() if bar[0] is not None}
    axes.barh(
        list(shown),
        [bar[0] for bar in shown.values()],
        color=[bar[1] for bar in shown.values()],
        height=0.6,
    )
    axes.set_xlabel(f"standard deviation ({STUDIED[result.quantity][0]})", fontsize=8)
    axes.tick_params(labelsize=7)
    axes.ticklabel_format(axis="x", style="plain", useOffset=False)
    axes.locator_params(axis="x", nbins=5)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
