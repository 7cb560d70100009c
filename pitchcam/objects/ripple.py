"""How much of the two sides of an outline is a wave: every spacing at every place.

A stretch's sums over all stations before its ends tell what a slope, a bow and a wave are of it, at
the same cost however long it is.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass

Values = NDArray[np.float64]

#: Spacings that are looked for, pixels, from the least that is measured; each 4 % longer than the
#: last, which over TURNS of them is a fifth of a turn.
SHORTEST_PX, LONGEST_PX, LONGER = 7.0, 75.0, 1.04
#: Turns over which the wave must run: what a plug of four turns shows between its collar and the
#: chamfer of its end.
TURNS = 3.2
#: Share of what varies on a side that the wave must be, and its least amplitude, pixels. Parabolas
#: in a row leave 0.92 to their first harmonic; renders of 14 such threads gave 0.55 to 0.97, sides
#: without any repeat up to 0.21.
SHARE, AMPLITUDE_PX = 0.52, 0.25
#: The wave is as high on both sides as the light and the slant let it: within this ratio.
UNLIKE = 0.35
#: A side that falls more steeply has several points at a station, of which the outermost counts:
#: steps that look like a wave. No thread's crests fall so.
STEEP = 0.2
#: Stations whose turns of a wave are worked out one by one; the others are these turned on.
BLOCK = 64


@dataclass(frozen=True, kw_only=True)
class Wave:
    """The wave of one spacing: where stretches of its width start, and its share of each, (n,)."""

    spacing: float
    width: int
    start: NDArray[np.intp]
    share: Values


def waves(sides: tuple[Values, Values], free: NDArray[np.bool_]) -> list[Wave]:
    """Return the waves that are more than SHARE of both sides somewhere in what is ``free``.

    Parameters
    ----------
    sides
        Both sides' distances from the axis, outward positive, (n,) each, pixels.
    free
        Where waves are looked for, (n,).
    """
    both, free_to = np.stack(sides), sums(free)
    ends = np.concatenate([both, both[:, -1:]], axis=1)
    moments = _Moments(both)
    found = []
    spacing = SHORTEST_PX
    while spacing < LONGEST_PX:
        width = round(TURNS * spacing)
        if width > both.shape[1] - 8:
            break
        clear = free_to[width:] - free_to[:-width] == width
        if clear.any():
            steep = np.abs(ends[:, width:] - ends[:, :-width])
            clear &= np.maximum(steep[0], steep[1]) < STEEP * width
            start = clear.nonzero()[0]
            if len(start):
                share = moments.shares(spacing, width, start)
                if share.max() > SHARE:
                    found.append(Wave(spacing=spacing, width=width, start=start, share=share))
        spacing *= LONGER
    return found


@dataclass(frozen=True, kw_only=True)
class _Basis:
    """A level, a slope, a bow and a wave's two phases over a width, made square to each other.

    ``norms`` (3, 1, 1) are those of the first three, ``square`` the mean square of places, taken
    off the bow; ``even`` (2,) what the even phase has of level and bow, ``odd`` what the odd one
    has of the slope, ``norm_even`` and ``norm_odd`` the lengths of what is left of them.
    """

    norms: Values
    square: float
    even: tuple[float, float]
    odd: float
    norm_even: float
    norm_odd: float


@lru_cache(maxsize=128)
def _basis(width: int, spacing: float) -> _Basis:
    at = np.arange(width) - (width - 1) / 2
    square = float(at @ at) / width
    bow = at**2 - square
    norms = np.sqrt([float(width), float(at @ at), float(bow @ bow)])
    cosine, sine = np.cos(2 * np.pi * at / spacing), np.sin(2 * np.pi * at / spacing)
    even = float(cosine.sum() / norms[0]), float(cosine @ bow / norms[2])
    odd = float(sine @ at / norms[1])
    return _Basis(
        norms=norms[:, None, None],
        square=square,
        even=even,
        odd=odd,
        norm_even=float(np.sqrt(cosine @ cosine - even[0] ** 2 - even[1] ** 2)),
        norm_odd=float(np.sqrt(sine @ sine - odd**2)),
    )


class _Moments:
    """Sums of both sides over the stations before each one: of their moments and their squares."""

    def __init__(self, sides: Values) -> None:
        """Take both sides, (2, n)."""
        self.level = sides - sides.mean(axis=1, keepdims=True)
        self.place = np.arange(sides.shape[1]) - (sides.shape[1] - 1) / 2
        moments = [self.level * self.place**k for k in range(3)]
        self.sums = sums(np.stack([*moments, self.level**2]))

    def shares(self, spacing: float, width: int, start: NDArray[np.intp]) -> Values:
        """Return the share that a wave is of both sides over stretches, 0 where it is none, (m,).

        ``start`` (m,) is where they begin, ascending. What a slope and a bow explain of a stretch
        is neither's: each is looked at by itself, so that a step right beside it takes nothing
        from it.
        """
        basis, count = _basis(width, spacing), int(start[-1] - start[0]) + 1
        part = self.sums[..., start[0] : start[0] + count + width]
        level, slope, bow, power = part[..., width:] - part[..., :-width]
        middle = self.place[start[0] : start[0] + count] + (width - 1) / 2
        first = slope - middle * level
        second = bow - middle * (slope + first) - basis.square * level
        straight = np.empty((3, *level.shape))
        straight[0], straight[1], straight[2] = level, first, second
        straight /= basis.norms
        left = power - np.add.reduce(straight**2)
        if not (left.min(axis=0) > width / 2 * AMPLITUDE_PX**2).any():
            # What is left of a stretch is no less than a wave in it.
            return np.zeros(len(start))
        turned = _turns(spacing, count + width - 1)
        along = sums(self.level[:, start[0] : start[0] + count + width - 1] * turned.conj())
        wave = (along[:, width:] - along[:, :-width]) * turned[:count]
        wave *= np.exp(1j * np.pi * (width - 1) / spacing)  # about the middle of the stretch
        even = wave.real - basis.even[0] * straight[0] - basis.even[1] * straight[2]
        odd = wave.imag + basis.odd * straight[1]
        both = (even / basis.norm_even) ** 2 + (odd / basis.norm_odd) ** 2
        share = both / np.maximum(left, np.maximum(both, 1e-9))
        height = np.sqrt(2 * both / width)
        lower, higher = np.minimum(height[0], height[1]), np.maximum(height[0], height[1])
        wavy = (lower > AMPLITUDE_PX) & (lower > UNLIKE * higher)
        out: Values = np.where(wavy, np.minimum(share[0], share[1]), 0.0)[start - start[0]]
        return out


def _turns(spacing: float, count: int) -> NDArray[np.complex128]:
    """Return a wave of that spacing at whole places from 0, of modulus 1, (count,)."""
    turn = 2j * np.pi / spacing
    blocks = np.exp(turn * BLOCK * np.arange(-(-count // BLOCK)))
    return np.asarray((blocks[:, None] * np.exp(turn * np.arange(BLOCK))).ravel()[:count])


def sums(values: NDArray[Any]) -> NDArray[Any]:
    """Return the sums of all values (..., n) before each place, and of all, (..., n + 1)."""
    kind = np.intp if values.dtype == bool else values.dtype
    out = np.zeros((*values.shape[:-1], values.shape[-1] + 1), kind)
    np.cumsum(values, axis=-1, out=out[..., 1:])
    return out
