"""Bands across the picture from a light that flickers: screens and lamps that are dimmed in pulses.

A phone reads its sensor row by row, so that each row is lit by another stretch of the pulses: all
that is lit in one row is brighter or darker by the same factor, which can be undone. Rows of the
sensor are rows or columns of the upright picture.
"""

from __future__ import annotations

from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.small import median

Floats = NDArray[np.float32]
Values = NDArray[np.float64]
Along = Literal["rows", "columns"]

#: Of every row so many points tell whether there are bands; all of them, where they are.
EVERY = 8
#: What is darker than this share of a row's bright light (its 90th percentile) lies on the light;
#: so many points beside it are left out, which a blurred edge may darken.
DARK, BESIDE = 0.35, 5
#: A row tells how it differs from the next by so many points on both, at least, and so many rows
#: (100 pixels) whether there are bands: in fewer a quadratic follows any that a screen makes.
FEWEST, FEWEST_ROWS = 5, 25
#: The light's own border, blurred, reaches so many points in at most (as among the objects).
BORDER = 40
#: Both are those of a picture with so many points along its longer side (4,000 pixels): one made
#: smaller tells by as many, and its border is as much narrower.
WHOLE = 1000
#: The picture is looked at in so many strips side by side, most of which have to show the bands.
STRIPS = 6
#: What a smooth background does along the picture is left to the backdrop, whose quadratic is free.
DEGREE = 2
#: Bands of less (root mean square of the logarithm) are left: 233 photos in steady light have up
#: to 0.0103, and bands of 0.03, left as they were, moved no name in 49 photos. Strips agree where
#: they show the same to this correlation, noise and all.
LEAST, ALIKE = 0.02, 0.8
#: From one point to the next light that flickers changes by less than to its half (logarithm): a
#: row is lit for longer than the next one waits. A dark bar right across the picture does so.
STEEPEST = 0.7
#: Where light falls below this share of the mean, noise and the tone curve's foot are what is left.
DARKEST = 0.15
#: The logarithm of no light.
LEAST_LIGHT = 1e-4


@dataclass(frozen=True, kw_only=True)
class Flicker:
    """The logarithm of the light of each row (or column), (channels, n), its mean 0.

    Its n points lie ``step_px`` apart from ``first_px`` on.
    """

    along: Along
    log_light: Values
    first_px: float
    step_px: float

    @property
    def swing(self) -> float:
        """The light's largest fall below its brightest, as a share of that, in any channel."""
        return float(1 - np.exp(-np.ptp(self.log_light, axis=1)).min())

    @property
    def too_dark(self) -> bool:
        """Whether some bands are so dark that nothing is measured in them."""
        return bool(self.log_light.min() < np.log(DARKEST))

    def light(self, x: Values, y: Values) -> Floats:
        """Return the factor at points, to be broadcast against (channels, *shape of x and y)."""
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        at = y if self.along == "rows" else x
        at = at.reshape((1,) * (max(x.ndim, y.ndim) - at.ndim) + at.shape)
        place = self.first_px + self.step_px * np.arange(self.log_light.shape[1])
        own = np.stack([np.interp(at, place, channel) for channel in self.log_light])
        return np.asarray(np.exp(own), np.float32)


def find_flicker(
    light: Floats, inside: NDArray[np.uint8], first_px: float, step_px: float
) -> Flicker | None:
    """Find bands along the rows or the columns, None where there are none.

    Parameters
    ----------
    light
        Linear light of the shrunk picture, (channels, h, w).
    inside
        Where the background may shine, (h, w).
    first_px, step_px
        Where its first point lies in the photo, and how far apart they are.
    """
    found: list[Flicker] = []
    ways: tuple[tuple[Along, Floats, NDArray[np.uint8]], ...] = (
        ("rows", light, inside),
        ("columns", light.transpose(0, 2, 1), inside.T),
    )
    for along, planes, where in ways:
        log_light = _bands(planes, where)
        if log_light is not None:
            found.append(
                Flicker(along=along, log_light=log_light, first_px=first_px, step_px=step_px)
            )
    return max(found, key=lambda bands: float(np.std(bands.log_light)), default=None)


def _bands(planes: Floats, inside: NDArray[np.uint8]) -> Values | None:
    """Return the bands along rows, (channels, rows); None where most strips show none."""
    size = min(1.0, max(inside.shape) / WHOLE)
    every = max(1, round(size * EVERY))
    mean, lit = _background(planes, inside, every)
    clear = _clear(inside[:, ::every], round(size * BORDER))
    if not _shown(np.log(np.maximum(mean, LEAST_LIGHT)), lit & clear):
        return None
    _, lit = _background(planes, inside, 1)
    rows = np.flatnonzero((lit[1:] & lit[:-1]).sum(axis=1) >= FEWEST)
    if len(rows) < FEWEST_ROWS:
        # Through a mesh all that was looked at may be clear, and nothing else.
        return None
    span = slice(int(rows[0]), int(rows[-1]) + 1)
    out = np.zeros(planes.shape[:2])
    for own, plane in zip(out, planes, strict=True):
        step, _ = _steps(np.log(np.maximum(plane, LEAST_LIGHT)), lit)
        level = _level(step[span])
        own[...] = np.interp(np.arange(len(own)), np.arange(len(level)) + span.start, level)
    return out


def _background(
    planes: Floats, inside: NDArray[np.uint8], every: int
) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the channels' mean, and where it is background clear of what lies on it, (h, n)."""
    mean = np.asarray(planes[:, :, ::every].mean(axis=0), np.float32)
    tenth = mean.shape[1] // 10
    bright = np.partition(mean, -1 - tenth, axis=1)[:, -1 - tenth]
    lit: Any = ((mean > DARK * bright[:, None]) & (inside[:, ::every] > 0)).astype(np.uint8)
    beside = np.ones((2 * BESIDE + 1, 2 * -(-BESIDE // every) + 1), np.uint8)
    return mean, np.asarray(cv2.erode(lit, beside), np.uint8).view(np.bool_)


def _clear(inside: NDArray[np.uint8], border: int) -> NDArray[np.bool_]:
    """Return where rows are clear of the light's own border, in view or just outside of it."""
    kernel = np.ones((2 * border + 1, 1), np.uint8)
    clear = cv2.erode(np.ascontiguousarray(inside), kernel, borderValue=0)
    return np.asarray(clear, np.uint8).view(np.bool_)


def _shown(shown: Floats, lit: NDArray[np.bool_]) -> bool:
    """Whether the rows differ by more than a smooth background does, and do so all over."""
    step, told = _steps(shown, lit)
    rows = np.flatnonzero(told)
    if len(rows) < FEWEST_ROWS:
        return False
    level = _level(step[rows[0] : rows[-1] + 1])
    if np.abs(step).max() > STEEPEST:
        return False
    return float(np.std(level)) > LEAST and _all_over(shown, lit, step)


def _steps(shown: Floats, lit: NDArray[np.bool_]) -> tuple[Values, NDArray[np.bool_]]:
    """Return how far the light's logarithm steps from each row to the next, and where that is told.

    From row to row the same points are compared, so that neither what lies there nor how the light
    falls across counts; a row that tells nothing is taken to be as the one before.
    """
    both = lit[1:] & lit[:-1]
    count = both.sum(axis=1)
    told = count >= FEWEST
    # Those that do not count are sorted behind all that do.
    rise = np.where(both[told], shown[1:][told] - shown[:-1][told], np.inf)
    rise.sort(axis=1)
    row, half = np.arange(len(rise)), count[told] // 2
    step = np.zeros(len(told))
    step[told] = 0.5 * (rise[row, half] + rise[row, (count[told] - 1) // 2])
    return step, told


def _level(step: Values) -> Values:
    """Return the rows' level that steps add up to, a smooth fall taken out."""
    level = np.concatenate([[0.0], np.cumsum(step)])
    at = np.linspace(-1, 1, len(level))
    return np.asarray(level - np.polynomial.Polynomial.fit(at, level, DEGREE)(at))


def _all_over(shown: Floats, lit: NDArray[np.bool_], step: Values) -> bool:
    """Whether most strips side by side show the same; what lies in one place shows in few."""
    columns = np.flatnonzero(lit.any(axis=0))
    edges = np.linspace(columns[0], columns[-1] + 1, STRIPS + 1).astype(int)
    alike = []
    for left, right in zip(edges[:-1], edges[1:], strict=True):
        own, told = _steps(shown[:, left:right], lit[:, left:right])
        rows = np.flatnonzero(told)
        if len(rows) < FEWEST_ROWS:
            continue
        span = slice(int(rows[0]), int(rows[-1]) + 1)
        level, other = _level(own[span]), _level(np.where(told, step, 0.0)[span])
        size = float(np.linalg.norm(level) * np.linalg.norm(other))
        # Light that is clipped to white is even.
        alike.append(float(level @ other) / size if size > 0 else 0.0)
    return len(alike) >= STRIPS / 2 and median(np.array(alike)) > ALIKE
