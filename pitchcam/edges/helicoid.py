"""A thread as a solid: straight flanks between cylinders, wound along a helix, that rays meet."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass

Values = NDArray[np.float64]

#: Rounds that narrow down where a ray enters: from a step of a fifth of a pitch to 1 um.
_ROUNDS = 4


@dataclass(frozen=True, kw_only=True)
class Helicoid:
    """An external thread on the z axis, mm.

    ``advance`` is the lead over 2 pi, negative for a left-hand thread, ``tan_half`` the tangents of
    the half angles of the + and the - flank (the + flank faces growing z). At ``pitch_radius``
    ridge and groove are equally wide; crests and roots lie at ``crest`` and ``root``; all radii
    grow by ``half_taper`` per z.

    Points and directions are (3, ...) arrays of z, y, x. ``phase`` is the middle of a ridge along
    z, in the half plane x = 0 on the ``side`` of the axis (sign of y) that a point belongs to.
    """

    pitch: float
    advance: float
    tan_half: tuple[float, float]
    pitch_radius: float
    half_taper: float
    crest: float
    root: float

    def _flank(self, at: Values, phase: Values, side: Values) -> tuple[Values, Values]:
        """Return the place within the pitch, -1/2 to 1/2, and the flank's radius there."""
        z, y, x = at
        turn = side * np.arctan2(x, side * y)
        # Not the operator %, which takes three times as long.
        v = z - self.advance * turn - phase
        v -= self.pitch * np.floor(v / self.pitch + 0.5)
        plus, minus = self.tan_half
        quarter = self.pitch / 4
        rise = np.where(v > 0, (quarter - v) / plus, (quarter + v) / minus)
        return v, self.pitch_radius + rise

    def clearance(self, at: Values, phase: Values, side: Values) -> Values:
        """Return how far points lie outside the surface, along the radius; negative inside."""
        _, flank = self._flank(at, phase, side)
        surface = np.minimum(np.maximum(flank, self.root), self.crest) + self.half_taper * at[0]
        out: Values = np.hypot(at[1], at[2]) - surface
        return out

    def normal(self, at: Values, phase: Values, side: Values) -> Values:
        """Return the outward unit normals (3, n) of the surface at points (3, n) on it."""
        _, y, x = at
        v, flank = self._flank(at, phase, side)
        plus, minus = self.tan_half
        fall = np.where(v > 0, -1 / plus, 1 / minus)
        fall = np.where((flank > self.crest) | (flank < self.root), 0.0, fall)
        r = np.hypot(x, y)
        wind = fall * self.advance / r**2
        out = np.stack([-fall - self.half_taper, y / r - wind * x, x / r + wind * y])
        unit: Values = out / np.sqrt((out**2).sum(axis=0))
        return unit

    def first_hit(
        self, start: Values, way: Values, phase: Values, side: Values, steps: Values
    ) -> Values:
        """Return how far rays (3, n) go until they enter the surface; infinite where they don't.

        ``steps`` (m,), mm, are where each ray is looked at: a ray that enters and leaves between
        two of them is not noticed.
        """
        points = start[:, :, None] + steps * way[:, :, None]
        gap = self.clearance(points, phase[:, None], side[:, None])
        inside = gap < 0
        found = np.flatnonzero(inside.any(axis=1))
        after = np.maximum(np.argmax(inside[found], axis=1), 1)
        low, high = steps[after - 1], steps[after]
        outer, inner = gap[found, after - 1], gap[found, after]
        start, way, phase, side = start[:, found], way[:, found], phase[found], side[found]
        for _ in range(_ROUNDS):
            share = outer / np.where(outer > inner, outer - inner, 1.0)
            share = np.minimum(np.maximum(share, 0.05), 0.95)
            t = low + (high - low) * share
            now = self.clearance(start + t * way, phase, side)
            within = now < 0
            low, outer = np.where(within, low, t), np.where(within, outer, now)
            high, inner = np.where(within, t, high), np.where(within, now, inner)
        far = np.full(len(inside), np.inf)
        far[found] = low
        return far
