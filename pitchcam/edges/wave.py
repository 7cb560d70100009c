"""Whether the straight edges of a photo wave: rows, columns or pieces of it are not in place.

What is straight is drawn straight by a lens, but for a smooth bow; a picture that was put together
wrongly, or held still over a moving hand, moves whole rows or columns aside. Then edges far apart
wave in step, which no dust and no saw does.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.small import median

Points = NDArray[np.float64]
Values = NDArray[np.float64]

#: Edges are compared by steps of so many pixels, over so many steps at least; an edge whose
#: direction is off the rows or columns by more does not tell their place.
STEP_PX, FEWEST, STEEP = 16.0, 20, 0.8
#: Edges wave in step where the displacement that both share is more than this (standard deviation,
#: pixels), and this share of all that each does, noise too; of 114 whole photos none comes to half
#: of the first, rows moved by a sine of half a pixel come to 0.31-0.37, and the second is of twenty
#: steps of noise one in four hundred.
SHARED_WAVE_PX, ALIKE = 0.2, 0.6
#: What they do not share, their noise aside, is at most this part of its square: two sides of a
#: window, cut by hand in a few waves, are alike by chance but not so much.
APART = 0.25
#: Where no rows or columns move as one, but pieces do, at least so many edges of what is made
#: straight, more than half of them, wave by more than this. A cut window does by up to 1.1, a pin
#: or a card by 0.02-0.15; pieces of 16 to 200 pixels moved by one to two make it 0.3-1.2.
STRAIGHT_EDGES, WAVE_PX = 2, 0.3
#: Degree of the smooth bow that lenses and tilted sensors draw.
BOW = 3


@dataclass(frozen=True, kw_only=True)
class Traced:
    """Places (n, 2) along one straight edge, in order and a few pixels apart, in photo pixels.

    ``of`` is the label of the object whose edge it is, None for the light's. What is not
    ``straight`` as it was made, as pins and cards are, may wave by itself, both its edges together.
    """

    places_px: Points
    of: int | None = None
    straight: bool = False


@dataclass(frozen=True, kw_only=True)
class Wave:
    """How straight edges wave: along the rows, the columns, or in pieces, by how much."""

    kind: Literal["rows", "columns", "pieces"]
    rms_px: float

    @property
    def text(self) -> str:
        """What is seen, for people."""
        how = "piece by piece" if self.kind == "pieces" else f"in step along the {self.kind}"
        return f"its straight edges wave {how} by {self.rms_px:.1f} pixels"


#: An edge with what :func:`_off` returns of it.
_Bow = tuple[Traced, Points, Values, Values]


def find_wave(edges: Sequence[Traced]) -> Wave | None:
    """Return how the straight edges of a photo wave, None where they do not.

    What lies along no straight edge is not seen.
    """
    bows = [(edge, *_off(edge)) for edge in edges]
    waves = [Wave(kind="rows", rms_px=shared) for shared in _in_step(bows, 0)]
    waves += [Wave(kind="columns", rms_px=shared) for shared in _in_step(bows, 1)]
    if waves:
        return max(waves, key=lambda w: w.rms_px)
    pieces = sorted(_wave(off) for edge, _, off, _ in bows if edge.straight and len(off))
    # More than half of them wave by as much.
    typical = pieces[(len(pieces) - 1) // 2] if len(pieces) >= STRAIGHT_EDGES else 0.0
    return Wave(kind="pieces", rms_px=typical) if typical > WAVE_PX else None


def is_shown(edges: Sequence[Traced]) -> bool:
    """Return whether a wave would be seen: two edges are long enough that may not wave alone."""
    seen = [edge for edge in edges if _is_long(edge.places_px)]
    return any(not _by_itself(a, b) for a, b in itertools.combinations(seen, 2))


def _by_itself(a: Traced, b: Traced) -> bool:
    """Return whether two edges are of one object that need not be straight."""
    return a.of is not None and a.of == b.of and not a.straight


def _is_long(places_px: Points) -> bool:
    enough = len(places_px) >= FEWEST
    return enough and float(np.ptp(places_px, axis=0).max()) >= FEWEST * STEP_PX


def _in_step(bows: Sequence[_Bow], across: int) -> Iterator[float]:
    """Yield the displacement along an axis of the picture that pairs of edges share, pixels."""
    curves = [(bow[0], *_curve(bow, across)) for bow in bows]
    for (a, at, off), (b, other_at, other) in itertools.combinations(curves, 2):
        if len(at) == 0 or len(other_at) == 0 or _by_itself(a, b):
            continue
        steps = np.arange(max(at.min(), other_at.min()), min(at.max(), other_at.max()), STEP_PX)
        x, y = _binned(at, off, steps), _binned(other_at, other, steps)
        both = np.isfinite(x) & np.isfinite(y)
        if both.sum() < FEWEST:
            continue
        x, y = x[both] - x[both].mean(), y[both] - y[both].mean()
        shared, each = float(np.mean(x * y)), float(np.std(x) * np.std(y))
        if shared > max(SHARED_WAVE_PX**2, ALIKE * each) and _wave(x - y) ** 2 < APART * shared:
            yield float(np.sqrt(shared))


def _curve(bow: _Bow, across: int) -> tuple[Values, Values]:
    """Return where along the picture's other axis an edge lies, and how far off along this one."""
    _, xy, off, normal = bow
    if len(off) == 0 or abs(normal[across]) < STEEP:
        return np.zeros(0), np.zeros(0)
    return xy[:, 1 - across], off / normal[across]


def _off(edge: Traced) -> tuple[Points, Values, Values]:
    """Return an edge's places, how far each lies off a smooth bow, and the edge's normal (2,).

    Empty where the edge is too short to tell.
    """
    xy = edge.places_px
    if not _is_long(xy):
        return np.zeros((0, 2)), np.zeros(0), np.zeros(2)
    middle = xy.mean(axis=0)
    axes = np.linalg.svd(xy - middle, full_matrices=False)[2]
    s, y = (xy - middle) @ axes[0], (xy - middle) @ axes[1]
    powers = np.stack([(s / np.ptp(s)) ** k for k in range(BOW + 1)], axis=1)
    keep, off = np.ones(len(s), bool), y
    for _ in range(4):
        off = y - powers @ np.linalg.lstsq(powers[keep], y[keep], rcond=None)[0]
        # Four standard deviations: what lies farther off is dust.
        keep = np.abs(off) <= max(4 * 1.4826 * median(np.abs(off[keep])), 0.3)
    return xy[keep], off[keep], axes[1]


def _wave(off: Values) -> float:
    """Return how much neighbours are off together: their noise, which they do not share, is out."""
    return float(np.sqrt(max(float(np.mean(off[1:] * off[:-1])), 0.0)))


def _binned(at: Values, off: Values, steps: Values) -> Values:
    """Return the mean of what lies in each step, NaN where nothing does."""
    if len(steps) == 0:
        return np.zeros(0)
    place = np.digitize(at, steps) - 1
    inside = place >= 0
    count = np.bincount(place[inside], minlength=len(steps))
    total = np.bincount(place[inside], weights=off[inside], minlength=len(steps))
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
