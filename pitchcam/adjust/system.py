"""The adjustment itself: generalised least squares over observations that share their errors.

With y the observations of all photos, H which quantity each is, and C their covariance with what
photos have in common, the estimate is x = (H' C^-1 H)^-1 H' C^-1 y with covariance
(H' C^-1 H)^-1 (Aitken; JCGM 100, 5.2, for C). An input that two photos share enters C as the
product of its effects on both, which is the same as carrying it as an unknown with its prior.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.adjust.observed import Observation, Term
from pitchcam.frozen import dataclass

Values = NDArray[np.float64]

#: Kept off a singular matrix: variance added to each observation, as a share of its own. Errors
#: that agree to a thousandth of a u are nothing to play against one another.
NUGGET = 1e-6
#: What puts millimetres, degrees and a taper on one footing where the sizes of two errors are
#: compared: about the u of a photo, in the order of NAMING_QUANTITIES.
UNITS = np.array([0.005, 0.03, 0.03, 0.03, 1.0, 0.002])


@dataclass(frozen=True, kw_only=True)
class Adjusted:
    """What observations give together.

    ``values`` (6,) with NaN where nothing was measured, ``covariance`` (6, 6), zero there; ``gain``
    (6, n, 6): how much each observation's values count in each result.
    """

    values: Values
    covariance: Values
    gain: Values


def shared(a: Observation, b: Observation) -> Values:
    """Return the covariance between the values of two observations, (6, 6)."""
    out = np.zeros((6, 6))
    theirs = {(t.source, t.key): t for t in b.terms}
    for term in a.terms:
        other = theirs.get((term.source, term.key))
        mine = f"photo {a.photo}"
        if other is None and a.laying == b.laying and term.key.startswith(mine):
            other = theirs.get((term.source, f"photo {b.photo}{term.key.removeprefix(mine)}"))
        if other is None:
            continue
        again = repeats(term, other, unmoved=a.laying == b.laying)
        if again:
            c, d = term.shares, other.shares
            out += again * (np.outer(c, d) if term.together else np.diag(c * d))
    return out


def repeats(a: Term, b: Term, *, unmoved: bool) -> float:
    """Return the correlation of one input's errors in two photos."""
    if a.kind == "A":
        return 0.0
    again = float(np.sqrt(a.sharing.lasting * b.sharing.lasting))
    if unmoved:
        again = 1.0
    if a.sharing.followed and not unmoved:
        return again
    size = [float(np.linalg.norm(t.shares / UNITS)) for t in (a, b)]
    return again * min(size) / max(size) if max(size) > 0 else 0.0


def stacked(observations: Sequence[Observation]) -> tuple[Values, Values]:
    """Return all values (6 n,) and their covariance (6 n, 6 n), rows of what is missing as zero."""
    n = len(observations)
    covariance = np.zeros((n, 6, n, 6))
    for i, a in enumerate(observations):
        covariance[i, :, i] = a.covariance()
        for j in range(i):
            covariance[i, :, j] = shared(a, observations[j])
            covariance[j, :, i] = covariance[i, :, j].T
    y = np.concatenate([o.values for o in observations])
    return y, covariance.reshape(6 * n, 6 * n)


def adjust(observations: Sequence[Observation]) -> Adjusted:
    """Return the generalised least squares estimate of one thread's quantities.

    Raises
    ------
    ValueError
        If there is no observation.
    """
    if not observations:
        raise ValueError("nothing was observed")
    y, c = stacked(observations)
    n = len(observations)
    seen = np.isfinite(y)
    names = np.tile(np.arange(6), n)[seen]
    kept = np.unique(names)
    h = (names[:, None] == kept).astype(float)
    sub = c[np.ix_(seen, seen)]
    u = np.sqrt(np.diagonal(sub))
    scaled = sub / np.outer(u, u) + NUGGET * np.eye(len(u))
    # All in units of u: millimetres and degrees weigh alike in the matrix's condition.
    weighted = np.linalg.solve(scaled, h / u[:, None])
    information = (h / u[:, None]).T @ weighted
    covariance = np.linalg.inv(information)
    gain = covariance @ (weighted / u[:, None]).T
    values = np.full(6, np.nan)
    values[kept] = gain @ y[seen]
    whole = np.zeros((6, 6))
    whole[np.ix_(kept, kept)] = covariance
    gains = np.zeros((6, 6 * n))
    gains[np.ix_(kept, np.flatnonzero(seen))] = gain
    return Adjusted(values=values, covariance=whole, gain=gains.reshape(6, n, 6))


def effect(observations: Sequence[Observation], adjusted: Adjusted, source: str) -> Values:
    """Return the covariance (6, 6) that one source of error leaves in the adjusted quantities."""
    only = [replace(o, terms=tuple(t for t in o.terms if t.source == source)) for o in observations]
    _, c = stacked(only)
    gain = adjusted.gain.reshape(6, -1)
    out: Values = gain @ np.nan_to_num(c) @ gain.T
    return out
