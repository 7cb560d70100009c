"""What a thread's crests and roots come to: lines of both sides about one axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pitchcam.edges.roots import Place
from pitchcam.edges.section import Section
from pitchcam.edges.sight import Sight
from pitchcam.frozen import dataclass

#: How much farther out the flanks of one side must be seen than those of the other, in pitches, for
#: its root to be taken as covered: roots stand 0.05 to 0.17 over the point of their groove.
COVERED = 0.05
#: What a root is known to at best, in pitches, where both sides' are weighed: the cylinder that
#: both belong to is known no better (judgement).
LEAST_U_PITCHES = 0.005


@dataclass(frozen=True, kw_only=True)
class Tip:
    """The crest or root line of one side: radius at z = 0 and what is known of it, mm.

    ``slope`` is the change of radius per length along the axis, ``by_light_mm`` that of the radius
    with the light beside the part, for all of it. ``hidden_mm`` is what blur and flanks leave open
    of a root besides ``u_mm``.
    """

    side: float
    radius_mm: float
    u_mm: float
    slope: float
    count: int
    misfit: float
    by_light_mm: float = 0.0
    hidden_mm: float = 0.0


def _middle(crests: Sequence[Tip]) -> tuple[float, float]:
    """Return how far the crests' middle lies to the + side of the flanks', and its u, mm.

    That of the flanks may lie pixels beside the body's, since under a slant a side shows its flanks
    by more or by less than is taken: of 45 threads whose ridges cover neither side's roots, these
    stand as far from it as crests do (0.94 of it, 0.68 px, rms, and 0.26 off that).
    """
    at = {t.side: t for t in crests}
    if len(at) < 2:
        return 0.0, 0.0
    one, other = at[1.0], at[-1.0]
    return (one.radius_mm - other.radius_mm) / 2, float(np.hypot(one.u_mm, other.u_mm)) / 2


def among_all(
    roots: Sequence[Tip], scatter_mm: Sequence[float], places: Sequence[Place]
) -> list[Tip]:
    """Return the roots where all that describe the light have them, not the best one alone."""
    out = []
    for t, p, scatter in zip(roots, places, scatter_mm, strict=True):
        if np.isfinite(p.radius_mm):
            fit = float(np.sqrt(max(t.u_mm**2 - scatter**2, 0.0)))
            noise, hidden = p.shared_out(fit, scatter)
            t = replace(t, radius_mm=p.radius_mm, u_mm=noise, hidden_mm=hidden)
        out.append(t)
    return out


def one_root(
    roots: Sequence[Tip], crests: Sequence[Tip], section: Section, sight: Sight
) -> tuple[Tip, ...]:
    """Return both sides' roots where the two together have it: it is the root of one body.

    Each counts by the inverse of its variance. Where its ridges cover the one much more, which lets
    it be seen too far out only, the other is believed alone. What describes the light of both errs
    alike for both: it is not the less for their number.
    """
    if len(roots) < 2:
        return tuple(roots)
    aside, u_aside = _middle(crests)
    roots = [replace(t, radius_mm=t.radius_mm - t.side * aside) for t in roots]
    covered = {t.side: section.covered_mm(sight.frame, t.side) for t in roots}
    shown, hidden = sorted(roots, key=lambda t: covered[t.side])
    more = covered[hidden.side] - covered[shown.side]
    least = LEAST_U_PITCHES * abs(section.fit.pitch_mm)
    weights = [1 / (t.u_mm**2 + t.hidden_mm**2 + least**2) for t in (shown, hidden)]
    if more >= COVERED * abs(section.fit.pitch_mm) and hidden.radius_mm > shown.radius_mm:
        weights[1] = 0.0
    share = np.array(weights) / sum(weights)

    def mean(name: str) -> float:
        return float(share @ [getattr(t, name) for t in (shown, hidden)])

    # As two observations have it: together they have twice the error of the one.
    u, open_ = (2**0.5 * mean(name) for name in ("u_mm", "hidden_mm"))
    # What is not known of the middle is in one side's root, and cancels in the mean of both.
    u = float(np.hypot(u, 2**0.5 * (share[0] - share[1]) * u_aside))
    at, by_light = mean("radius_mm"), mean("by_light_mm")
    return tuple(
        replace(t, radius_mm=at, by_light_mm=by_light, u_mm=u, hidden_mm=open_) for t in roots
    )
