"""Whether two photos are one exposure: a copy that was turned, mirrored or made smaller.

A copy repeats every error of its original, the noise too, and tells nothing new, unless another
reference in it is stated: then all but the reference comes again. In a copy each thread
lies, to a fraction of a pixel, where turning or mirroring the picture puts it. No hand lays a part
so that four coordinates agree like that.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.records import Measurement

Values = NDArray[np.float64]

#: How far the ends of threads in a copy lie off those of the original, pixels: samples turned by
#: quarters, mirrored and coded anew came back within 0.6.
COPIED_PX = 1.5
#: How far the pictures' sides may differ in their ratio: a copy's sides are whole pixels.
SAME_SIDES = 0.002
#: A picture of the same size that was not turned is a copy, or another exposure of what nobody
#: moved: the ends of its threads do not tell which.
AS_IT_WAS = ((1, 0), (0, 1))
#: Quarter turns and mirrors of a picture, as what they do to x and y about its middle.
TURNS: tuple[tuple[tuple[int, int], tuple[int, int]], ...] = (
    AS_IT_WAS,
    ((-1, 0), (0, -1)),
    ((0, -1), (1, 0)),
    ((0, 1), (-1, 0)),
    ((-1, 0), (0, 1)),
    ((1, 0), (0, -1)),
    ((0, 1), (1, 0)),
    ((0, -1), (-1, 0)),
)


def copies(measurements: Sequence[Measurement | None]) -> dict[int, int]:
    """Return the photos that are copies, by their place, and the place of what each is a copy of.

    Parameters
    ----------
    measurements
        One per photo, None for a photo that gave nothing. With another reference stated a copy
        does tell something new, and is none.
    """
    out: dict[int, int] = {}
    for i, one in enumerate(measurements):
        for j in range(i):
            before = measurements[j]
            if one is not None and before is not None and j not in out and copied(one, before):
                out[i] = j
                break
    return out


def exposures(measurements: Sequence[Measurement | None]) -> list[int]:
    """Return for each photo the place of the first of its exposure, whatever reference is stated.

    Parameters
    ----------
    measurements
        One per photo, None for a photo that gave nothing.
    """
    out: list[int] = []
    for i, one in enumerate(measurements):
        same = (
            out[j]
            for j, before in enumerate(measurements[:i])
            if one is not None and before is not None and one_exposure(one, before)
        )
        out.append(next(same, i))
    return out


def one_exposure(one: Measurement, before: Measurement) -> bool:
    """Whether two photos are the same file, or one a copy of the other."""
    return same_file(one, before) or _lie_alike(one, before)


def same_file(one: Measurement, before: Measurement) -> bool:
    """Whether two measurements are of the same bytes."""
    a, b = one.photo, before.photo
    return a is not None and b is not None and a.sha256 == b.sha256


def copied(one: Measurement, before: Measurement) -> bool:
    """Whether two photos are one exposure measured by one reference.

    Beside another reference a copy does not count as one.
    """
    return _stated(one) == _stated(before) and one_exposure(one, before)


def _lie_alike(one: Measurement, before: Measurement) -> bool:
    """Whether all threads lie where turning, mirroring or shrinking the picture puts them."""
    sizes = [_size(m) for m in (one, before)]
    spans = [_spans(m) for m in (one, before)]
    if sizes[0] is None or sizes[1] is None or not len(spans[0]) or len(spans[0]) != len(spans[1]):
        return False
    return any(_lies(sizes[0], sizes[1], spans[0], spans[1], turn) for turn in TURNS)


def _lies(
    size: Values, other: Values, spans: Values, others: Values, turn: tuple[tuple[int, int], ...]
) -> bool:
    turned = np.array(turn)
    after = np.abs(turned) @ size
    smaller = float(other.max() / after.max())
    if np.abs(after * smaller / other - 1).max() > SAME_SIDES:
        return False
    if turn == AS_IT_WAS and abs(smaller - 1) < SAME_SIDES:
        return False
    moved = (spans - (size - 1) / 2) @ turned.T * smaller + (other - 1) / 2
    # Both pictures err by parts of their own pixels.
    near = COPIED_PX * max(smaller, 1.0)
    return all(
        any(min(np.abs(mine - its).max(), np.abs(mine[::-1] - its).max()) < near for its in others)
        for mine in moved
    )


def _size(measurement: Measurement) -> Values | None:
    photo = measurement.photo
    if photo is None or photo.width_px is None or photo.height_px is None:
        return None
    return np.array([photo.width_px, photo.height_px], float)


def _spans(measurement: Measurement) -> Values:
    """Return the ends of all measured threads, (n, 2, 2), pixels."""
    found = [
        t.span_px
        for p in measurement.parts
        for t in p.threads
        if t.span_px is not None and t.verdict.status != "unreadable"
    ]
    return np.array(found, float)


def _stated(measurement: Measurement) -> tuple[str, float | None] | None:
    scale = measurement.scale
    return None if scale is None else (scale.source, scale.stated_mm)
