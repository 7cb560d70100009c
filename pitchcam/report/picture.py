"""The annotated picture: what was found, drawn over the photo, with a close view of each thread."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.photo import Photo
from pitchcam.records import Measurement, PartResult, ThreadResult
from pitchcam.report import canvas as draw
from pitchcam.report.figures import millimetres, with_uncertainty
from pitchcam.report.verdicts import headline

#: Width of the picture: two columns that a page or a phone shows whole.
WIDTH_PX = 1800
_GAP = 20
_CELL_H = 800
_SMALL_H = 560
_CAPTION_H = 84
_LEGEND_H = 64
Box = tuple[int, int, int, int]
# Space round the objects of the overview and round a thread's close view, as share of their size.
_MARGIN = 0.10


@dataclass(frozen=True, kw_only=True, slots=True)
class _Label:
    at: tuple[float, float]
    words: str
    size: int = 24
    anchor: str = "lm"
    halo: bool = False
    colour: draw.Colour = draw.INK
    most_px: float | None = None


def annotate(measurement: Measurement, photo: Photo) -> NDArray[np.uint8]:
    """Return the annotated picture, (h, 1800, 3) BGR uint8.

    Parameters
    ----------
    measurement
        What :func:`pitchcam.identify` returned; its ``plots`` are drawn where they are there.
    photo
        The same photo.

    Notes
    -----
    The overview shows all parts and the reference; each thread follows, turned so that its axis
    lies level. The cut-outs are resampled for display only.
    """
    threads = [
        (p, i, t)
        for p in measurement.parts
        for i, t in enumerate(p.threads, 1)
        if t.span_px is not None
    ]
    height, overview, cells = _layout(len(threads))
    canvas = np.full((height, WIDTH_PX, 3), draw.PAPER, np.uint8)
    labels = _overview(canvas, measurement, photo, overview)
    for (part, index, thread), cell in zip(threads, cells, strict=True):
        labels += _close_view(canvas, measurement, photo, part, index, thread, cell)
    labels += _legend(canvas, measurement, height - _LEGEND_H // 2 - 6)
    letters = draw.Lettering(canvas)
    for label in labels:
        letters.write(
            label.at,
            label.words,
            size=label.size,
            anchor=label.anchor,
            halo=label.halo,
            colour=label.colour,
            most_px=label.most_px,
        )
    letters.finish()
    return canvas


def _layout(threads: int) -> tuple[int, Box, list[Box]]:
    """Return the height and the boxes: one thread beside the overview, more of them below it."""
    column_w = (WIDTH_PX - 3 * _GAP) // 2
    second = 2 * _GAP + column_w
    if threads == 1:
        overview = (_GAP, _GAP, column_w, _CELL_H)
        return _GAP + _CELL_H + _CAPTION_H + _LEGEND_H, overview, [(second, *overview[1:])]
    overview = (_GAP, _GAP, WIDTH_PX - 2 * _GAP, _CELL_H)
    top = _CELL_H + _CAPTION_H + 2 * _GAP
    row_h = _SMALL_H + _CAPTION_H + _GAP
    cells = [
        ((_GAP, second)[i % 2], top + i // 2 * row_h, column_w, _SMALL_H) for i in range(threads)
    ]
    return top + -(-threads // 2) * row_h + _LEGEND_H, overview, cells


def _overview(
    canvas: NDArray[np.uint8], measurement: Measurement, photo: Photo, box: Box
) -> list[_Label]:
    x0, y0, x1, y1 = _region(measurement, photo, box[2] / box[3])
    corners = np.array([[x0, y0], [x1, y0], [x0, y1]])
    panel = draw.place_panel(canvas, photo.pixels, corners=corners, box=box)
    labels = []
    scale = measurement.scale
    if scale is not None:
        if scale.outline_px:
            _polyline(canvas, panel, scale.outline_px, draw.REFERENCE, closed=True)
        elif scale.box_px is not None:
            _polyline(canvas, panel, _box_corners(scale.box_px), draw.REFERENCE, closed=True)
    for part in measurement.parts:
        _polyline(canvas, panel, _outline(part), draw.OUTLINE, closed=True)
        for thread in part.threads:
            _axis(canvas, panel, thread)
        labels.append(_number(canvas, panel, part))
    if scale is not None and scale.mm_per_px is not None:
        at, words = draw.scale_bar(canvas, panel, scale.mm_per_px.value)
        labels.append(_Label(at=at, words=words, halo=True))
    caption_y = box[1] + box[3] + 26
    labels.append(_Label(at=(box[0], caption_y), words=photo.path.name, size=26))
    count = len(measurement.parts)
    found = [f"{count} part{'s' if count != 1 else ''} found"] if count else []
    found += [flag.message for flag in measurement.warnings[:1]]
    labels.append(
        _Label(at=(box[0], caption_y + 36), words="; ".join(found), size=22, most_px=box[2])
    )
    return labels


def _close_view(
    canvas: NDArray[np.uint8],
    measurement: Measurement,
    photo: Photo,
    part: PartResult,
    index: int,
    thread: ThreadResult,
    box: Box,
) -> list[_Label]:
    panel = draw.place_panel(
        canvas, photo.pixels, corners=_thread_corners(measurement, thread, box[2] / box[3]), box=box
    )
    plots = thread.plots
    if plots is not None:
        for edge in plots.edges_px:
            _polyline(canvas, panel, edge, draw.OUTLINE)
        for flank in plots.flanks_px:
            _polyline(canvas, panel, flank, draw.FLANK, width=3)
        _axis(canvas, panel, thread)
        for crest in panel.to_canvas(plots.crests_px) if plots.crests_px else ():
            draw.dot(canvas, crest, draw.CREST)
    labels = []
    scale = measurement.scale
    if scale is not None and scale.mm_per_px is not None:
        at, words = draw.scale_bar(canvas, panel, scale.mm_per_px.value)
        labels.append(_Label(at=at, words=words, halo=True))
    several = f".{index}" if len(part.threads) > 1 else ""
    caption_y = box[1] + box[3] + 26
    title = f"{part.id}{several}   {headline(thread.verdict)}"
    labels.append(_Label(at=(box[0], caption_y), words=title, size=26, most_px=box[2]))
    labels.append(
        _Label(at=(box[0], caption_y + 36), words=_figures(thread), size=22, most_px=box[2])
    )
    return labels


def _figures(thread: ThreadResult) -> str:
    reading = thread.reading
    words = []
    if reading.pitch_mm is not None:
        words.append(f"pitch {millimetres(reading.pitch_mm)}")
    if reading.major_mm is not None:
        words.append(f"major {millimetres(reading.major_mm)}")
    if thread.ratios is not None and thread.ratios.pitch_over_major is not None:
        words.append(f"pitch / major {with_uncertainty(thread.ratios.pitch_over_major)}")
    if reading.angle_deg is not None:
        words.append(f"angle {with_uncertainty(reading.angle_deg, '°')}")
    return "   ".join(words)


def _polyline(
    canvas: NDArray[np.uint8],
    panel: draw.Panel,
    points: Any,
    colour: draw.Colour,
    *,
    closed: bool = False,
    width: int = 2,
) -> None:
    x, y, w, h = panel.box
    view = canvas[y : y + h, x : x + w]  # lines end at the panel's border
    draw.lines(view, panel.to_canvas(points) - (x, y), colour, closed=closed, width=width)


def _axis(canvas: NDArray[np.uint8], panel: draw.Panel, thread: ThreadResult) -> None:
    ends = thread.span_px if thread.plots is None else thread.plots.axis_px
    if ends is None:
        return
    x, y, w, h = panel.box
    start, end = panel.to_canvas(ends) - (x, y)
    draw.dashes(canvas[y : y + h, x : x + w], start, end, draw.AXIS)


def _number(canvas: NDArray[np.uint8], panel: draw.Panel, part: PartResult) -> _Label:
    """Put the part's number just off its upper left corner, kept inside the panel."""
    x, y, w, h = panel.box
    outline = panel.to_canvas(_outline(part))
    corner = outline[int(np.argmin(outline.sum(axis=1)))] + (-20.0, -20.0)
    corner = np.clip(corner, (x + 26.0, y + 26.0), (x + w - 26.0, y + h - 26.0))
    draw.dot(canvas, corner, draw.INK, radius=20.0)
    return _Label(
        at=(float(corner[0]), float(corner[1])),
        words=str(part.id),
        size=24,
        anchor="mm",
        colour=draw.PAPER,
    )


def _legend(canvas: NDArray[np.uint8], measurement: Measurement, level: float) -> list[_Label]:
    if not measurement.parts:
        return []
    entries = [
        ("outline", draw.OUTLINE),
        ("axis", draw.AXIS),
        ("crest", draw.CREST),
        ("flank line", draw.FLANK),
    ]
    if measurement.scale is not None and measurement.scale.box_px is not None:
        entries.append((f"reference ({measurement.scale.source})", draw.REFERENCE))
    labels, x = [], float(_GAP)
    for words, colour in entries:
        draw.lines(canvas, np.array([[x, level], [x + 40.0, level]]), colour, width=6)
        labels.append(_Label(at=(x + 52.0, level), words=words, size=22))
        x += 52.0 + draw.width_of(words, 22) + 44.0
    return labels


def _outline(part: PartResult) -> Sequence[tuple[float, float]]:
    """Return a part's outline, else the corners of its box."""
    return part.outline_px or _box_corners(part.box_px or (0.0, 0.0, 0.0, 0.0))


def _box_corners(box: tuple[float, float, float, float]) -> list[tuple[float, float]]:
    x0, y0, x1, y1 = box
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def _region(
    measurement: Measurement, photo: Photo, aspect: float
) -> tuple[float, float, float, float]:
    """Return the photo's rectangle that holds every part and the reference, of the cell's shape."""
    boxes = [part.box_px for part in measurement.parts if part.box_px is not None]
    if measurement.scale is not None and measurement.scale.box_px is not None:
        boxes.append(measurement.scale.box_px)
    if not boxes:
        return 0.0, 0.0, float(photo.width_px), float(photo.height_px)
    low = np.min([b[:2] for b in boxes], axis=0)
    high = np.max([b[2:] for b in boxes], axis=0)
    centre, size = (low + high) / 2.0, (high - low) * (1.0 + 2.0 * _MARGIN)
    size = np.maximum(size, (size[1] * aspect, size[0] / aspect))
    limit = np.array([photo.width_px, photo.height_px], float)
    size = np.minimum(size, limit)
    start = np.clip(centre - size / 2.0, 0.0, limit - size)
    return float(start[0]), float(start[1]), float(start[0] + size[0]), float(start[1] + size[1])


def _thread_corners(
    measurement: Measurement, thread: ThreadResult, aspect: float
) -> NDArray[np.float64]:
    """Return three corners of the rectangle along the axis that holds the thread, cell-shaped."""
    assert thread.span_px is not None  # no other thread has a view
    ends = np.asarray(thread.span_px, float)
    along = ends[1] - ends[0]
    if along[0] < 0 or (along[0] == 0 and along[1] < 0):
        along = -along
    along = along / max(float(np.hypot(*along)), 1e-9)
    across = np.array([-along[1], along[0]])
    points = [*thread.span_px]
    if thread.plots is not None:
        points += [p for edge in thread.plots.edges_px for p in edge]
        points += list(thread.plots.crests_px)
    array = np.asarray(points, float)
    u, v = array @ along, array @ across
    low, high = np.array([u.min(), v.min()]), np.array([u.max(), v.max()])
    scale, major = measurement.scale, thread.reading.major_mm
    if major is not None and scale is not None and scale.mm_per_px is not None:
        half = 0.5 * major.value / scale.mm_per_px.value
        middle = float((ends @ across).mean())
        low[1], high[1] = min(low[1], middle - half), max(high[1], middle + half)
    centre, size = (low + high) / 2.0, (high - low) + 2.0 * _MARGIN * float((high - low).max())
    size = np.maximum(size, (size[1] * aspect, size[0] / aspect))
    low, high = centre - size / 2.0, centre + size / 2.0
    back = np.stack([along, across])
    corners: NDArray[np.float64] = np.array([low, [high[0], low[1]], [low[0], high[1]]]) @ back
    return corners
