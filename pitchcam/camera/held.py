"""How a phone is held over the plate: how far away, and what is known of its tilt.

Whoever takes care holds it square to a degree; by eye alone it comes to two or three, and some
photos are taken from aside. Which of these a photo is shows as soon as anything in it tells the
tilt one way: a phone that leans by 8 degrees along a pin leans across it as well, and one that is
square along it hardly does. Each way of holding is a normal distribution of its own, and what is
seen weighs them against each other.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass

Values = NDArray[np.float64]

#: Distance at which a phone is held over a part, mm, and the spread of its logarithm: 150-350.
HELD_MM, U_HELD = 220.0, 0.45
#: Shares of photos and the spread of their tilt about either axis, degrees: held square with care,
#: by eye, from aside (judgement, common practice without a source; together 2.1 degrees).
WAYS_DEG = ((0.75, 1.0), (0.20, 2.5), (0.05, 7.0))
#: Ways to hold a phone that have less than this share of what is left are tails, which a standard
#: uncertainty does not tell; so are explanations of a focal length.
LEAST_SHARE = 0.05


@dataclass(frozen=True, kw_only=True, eq=False)
class Held:
    """The plate's unit normal in the camera frame, its x and y (rad), as a sum of normals.

    ``shares`` (k,) are those of k ways to hold the phone, ``means`` (k, 2) and ``covariances``
    (k, 2, 2) what each expects.
    """

    shares: Values
    means: Values
    covariances: Values

    def mean(self) -> Values:
        """Return the expected x and y (2,)."""
        out: Values = self.shares @ self.means
        return out

    def covariance(self) -> Values:
        """Return the covariance (2, 2) of x and y."""
        off = self.means - self.mean()
        each = self.covariances + off[:, :, None] * off[:, None, :]
        out: Values = np.einsum("k,kij->ij", self.shares, each)
        return out

    def likely(self) -> Held:
        """Return the same without its tails: of this a standard uncertainty is told."""
        return Held(
            shares=without_tails(self.shares), means=self.means, covariances=self.covariances
        )

    def u_along(self, direction: Values) -> float:
        """Return the standard uncertainty of the tilt along a direction (2,) in the picture."""
        d = np.asarray(direction) / np.hypot(*direction)
        return float(np.sqrt(d @ self.likely().covariance() @ d))

    def told(self, seen: Values, information: Values) -> Held:
        """Return what is known after x and y were seen.

        Parameters
        ----------
        seen : ndarray (2,)
            What was seen.
        information : ndarray (2, 2)
            The inverse of its covariance: of rank one where it tells the tilt one way alone, zero
            where nothing.
        """
        before = np.linalg.inv(self.covariances)
        after = before + information
        pulled = np.einsum("kij,kj->ki", before, self.means)
        means = np.linalg.solve(after, (pulled + information @ seen)[..., None])[..., 0]
        off = self.means - seen
        # What was seen has the variance of both together: I - I (P + I)^-1 I.
        left = information - information @ np.linalg.solve(
            after, np.broadcast_to(information, after.shape)
        )
        fits = -0.5 * np.einsum("ki,kij,kj->k", off, left, off)
        spread = 0.5 * (np.linalg.slogdet(before)[1] - np.linalg.slogdet(after)[1])
        log = np.log(self.shares) + fits + spread
        shares = np.exp(log - log.max())
        return Held(
            shares=shares / shares.sum(),
            means=means,
            covariances=np.asarray(np.linalg.inv(after), float),
        )

    def seen_along(self, direction: Values, value: float, u: float) -> Held:
        """Return what is known after the tilt along a direction (2,) was seen with its u."""
        d = np.asarray(direction) / np.hypot(*direction)
        return self.told(value * d, np.outer(d, d) / u**2)

    def turned(self, direction: Values) -> Held:
        """Return the same along and across a direction (2,) in the picture."""
        d = np.asarray(direction) / np.hypot(*direction)
        turn = np.array([d, [-d[1], d[0]]])
        return Held(
            shares=self.shares,
            means=self.means @ turn.T,
            covariances=turn @ self.covariances @ turn.T,
        )

    def scaled(self, by: float) -> Held:
        """Return the same with all angles that many times as large."""
        return Held(shares=self.shares, means=self.means * by, covariances=self.covariances * by**2)


def without_tails(shares: Values) -> Values:
    """Return shares with the least likely left out, and 1 in all."""
    kept = np.where(shares < LEAST_SHARE, 0.0, shares)
    out: Values = kept / kept.sum()
    return out


def by_hand() -> Held:
    """Return what is known of the tilt before anything of the photo has told it."""
    shares, u = (np.array(column) for column in zip(*WAYS_DEG, strict=True))
    return Held(
        shares=shares,
        means=np.zeros((len(u), 2)),
        covariances=np.radians(u)[:, None, None] ** 2 * np.eye(2),
    )


def known(normal: Values, u_rad: float) -> Held:
    """Return a tilt that is known: the plate's normal (3,), with its u about either axis."""
    return Held(
        shares=np.ones(1),
        means=np.asarray(normal, float)[None, :2],
        covariances=max(u_rad, 1e-6) ** 2 * np.eye(2)[None],
    )


#: The standard uncertainty of the tilt about either axis before anything of the photo has told it.
PRIOR_TILT_RAD = by_hand().u_along(np.array([1.0, 0.0]))
