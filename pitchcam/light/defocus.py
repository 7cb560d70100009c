"""How an edge out of the others' focus is drawn: through a disc, the pupil's, and no bell.

The light of a point out of focus fills a disc, and that of an edge falls over the disc's width as
sqrt(1 - (x / a)^2) does, where a is its radius: it ends, where a bell as wide goes on. An edge that
is blurred by a disc of 2 px keeps to a bell within 0.01 of the light, one of 3 px within 0.02: the
rest passes for a mirrored band, or hides one, and moves the edge of a pin by up to a pixel.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.light.pixels import STILL_PX

Values = NDArray[np.float64]

#: Share of the lens in a blur, at least: where none is left, more of it still counts.
LEAST_LENS_PX = 0.1
#: A disc at least so wide is drawn where edges may be out of focus: how they change by one of no
#: width is not to be had from it.
LEAST_DISC_PX = 1e-4
#: Places across a disc at which an edge is drawn, and its shares of the light there: Gauss and
#: Chebyshev's rule for this very weight. Seven are good to 0.0003 of the light for a disc of 4 px
#: beside a blur of 0.95, five to 0.003.
NODES = 7
_ANGLES = np.arange(1, NODES + 1) * np.pi / (NODES + 1)
AT, SHARES = np.cos(_ANGLES), np.sin(_ANGLES) ** 2 * 2 / (NODES + 1)


@dataclass(frozen=True, kw_only=True)
class Focus:
    """Edges that lie at another height than the others, and so are blurred otherwise.

    ``apart`` (n,) says which; ``u_px`` is how much their blur may differ, standard uncertainty.
    """

    apart: NDArray[np.bool_]
    u_px: float


@dataclass(frozen=True, kw_only=True)
class Defocus:
    """How edges are blurred of which some are out of focus.

    ``blur_px`` (n, 1) is the bell's standard deviation, ``disc_px`` the radius of the disc beside
    it; ``by_usual`` and ``by_more`` are both values' changes, by the blur of edges in focus and by
    what the lens's is more.
    """

    blur_px: Values
    disc_px: float
    by_usual: tuple[Values, float]
    by_more: tuple[Values, float]

    def changes(self, by_blur: Values, by_disc: Values) -> tuple[Values, Values]:
        """Return an edge's changes (n, m) by the usual blur and by what the lens's is more."""
        (blur, disc), (more, wider) = self.by_usual, self.by_more
        return blur * by_blur + disc * by_disc, more * by_blur + wider * by_disc


def defocus(usual_px: float, more_px: float, apart: Values) -> Defocus:
    """Return how edges are blurred, those ``apart`` (n, 1) by a lens that blurs them by more.

    It adds to the lens's own share, not to what the pixels take: a pin of a photo made smaller,
    allowed a blur below them, was given a mirrored band to make up for it and came out 1.6 % wide.
    A lens that blurs nothing is as sharp as any. What is blurred by less is nearer to the focus,
    and its disc so much the smaller that a bell is as good.
    """
    lens = float(np.sqrt(max(usual_px**2 - STILL_PX**2, LEAST_LENS_PX**2)))
    steeper = usual_px / lens if lens > LEAST_LENS_PX else 0.0
    if more_px >= 0:
        # The variance of a disc across an edge is a quarter of its radius squared.
        disc = max(2 * float(np.sqrt(more_px * (2 * lens + more_px))), LEAST_DISC_PX)
        return Defocus(
            blur_px=np.full_like(apart, usual_px),
            disc_px=disc,
            by_usual=(np.ones_like(apart), 4 * more_px / disc * steeper),
            by_more=(np.zeros_like(apart), 4 * (lens + more_px) / disc),
        )
    off = np.where(apart > 0, max(lens + more_px, 0.0), lens)
    blur = np.sqrt(usual_px**2 - lens**2 + off**2)
    return Defocus(
        blur_px=blur,
        disc_px=LEAST_DISC_PX,
        by_usual=((usual_px + (off - lens) * steeper) / blur, 0.0),
        by_more=(apart * off / blur, 0.0),
    )


@dataclass(frozen=True, kw_only=True)
class Discs:
    """Edges each drawn once, or once at every node of its disc.

    ``rows`` (k,) says which of n edges a drawn one is, ``at`` (k, 1) at which share of the disc's
    radius, ``shares`` (n, k) how much of the light of each it is.
    """

    rows: NDArray[np.intp]
    at: Values
    shares: Values

    def placed(self, position: Values, disc_px: float) -> Values:
        """Return where the drawn edges lie, (k, 1), of edges at ``position`` (n, 1)."""
        out: Values = position[self.rows] + disc_px * self.at
        return out

    def together(self, light: Values, slopes: Values, by_place: int) -> tuple[Values, Values]:
        """Return the edges' light (n, m) and slopes (s + 1, n, m), the last of them by the disc.

        ``light`` (k, m) and ``slopes`` (s, k, m) are those of the drawn edges, of which number
        ``by_place`` is by their place.
        """
        moved = (self.shares * self.at[:, 0]) @ slopes[by_place]
        return self.shares @ light, np.concatenate([self.shares @ slopes, moved[None]])


def discs(apart: NDArray[np.bool_]) -> Discs:
    """Return how edges are drawn of which those ``apart`` (n,) may be out of focus."""
    times = np.where(apart, NODES, 1)
    rows = np.repeat(np.arange(len(apart)), times)
    at = np.concatenate([AT if a else np.zeros(1) for a in apart])
    share = np.concatenate([SHARES if a else np.ones(1) for a in apart])
    return Discs(
        rows=rows, at=at[:, None], shares=np.where(rows == np.arange(len(apart))[:, None], share, 0)
    )
