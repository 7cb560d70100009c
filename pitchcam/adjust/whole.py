"""One adjustment of a whole picture: what its objects tell of each other's scale.

Everything in a picture is seen by one camera, over one plate, beside one reference. The scale of
object i is wrong by

    s_i = sum over k of  a_ik x_k

with x the errors of the inputs in units of their u: the reference's scale, the focal length, two
tilts of the plate, the lens's distortion, and the height of each part's axis. What an object tells
of s_i is a mixture (:mod:`pitchcam.adjust.told`). Under each combination of explanations this is
linear least squares with the priors of x, solved one object after the other; the combinations
compete by how well they fit, so that no thread is taken to be of any size beforehand.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.adjust.told import Telling
from pitchcam.frozen import dataclass

Values = NDArray[np.float64]

#: Combinations that are carried on, and the logarithm by which others fall behind the best.
MOST, FAR = 32, 14.0
#: An object whose every explanation is less likely than none tells nothing.
NOTHING = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Seen:
    """One object of a picture: the inputs that its scale hangs on, and what it tells of it.

    ``shares`` are the a_ik by the input's name: the relative error of its lengths for one u of each
    input, with its sign. ``tells`` is None for what tells nothing.
    """

    shares: Mapping[str, float]
    tells: Telling | None

    @property
    def u_scale(self) -> float:
        """Relative standard uncertainty of its scale before others speak."""
        return math.sqrt(sum(a * a for a in self.shares.values()))


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """What others tell of one object's scale.

    ``shift`` is the mean of ln(true length / read length), ``u`` its standard uncertainty;
    ``silent`` are the places of objects that tell nothing after all, ``inputs`` the errors of all
    inputs in units of their u.
    """

    shift: float
    u: float
    silent: tuple[int, ...]
    inputs: Mapping[str, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class _Guess:
    """One combination of explanations: the inputs' errors, and which objects tell nothing."""

    log: float
    mean: Values
    covariance: Values
    silent: tuple[int, ...] = ()


def told_by_others(objects: Sequence[Seen], place: int) -> Told:
    """Return what all objects but one tell of that one's scale.

    Its own lengths do not speak: a thread that was taken for the nearest size would measure itself.
    """
    return _told(objects, [i for i in range(len(objects)) if i != place], place)


def told_by_all(objects: Sequence[Seen]) -> Told:
    """Return what all objects tell of the inputs; the scale is that of the first."""
    return _told(objects, list(range(len(objects))), 0)


def _told(objects: Sequence[Seen], speakers: Sequence[int], place: int) -> Told:
    names = list(dict.fromkeys(name for o in objects for name in o.shares))
    rows = np.array([[o.shares.get(name, 0.0) for name in names] for o in objects])
    guesses = [_Guess(log=0.0, mean=np.zeros(len(names)), covariance=np.eye(len(names)))]
    for i in speakers:
        tells = objects[i].tells
        if tells is not None:
            guesses = _likely([g for old in guesses for g in _heard(old, rows[i], tells, i)])
    log = np.array([g.log for g in guesses])
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    a = rows[place]
    means = np.array([a @ g.mean for g in guesses])
    variances = np.array([a @ g.covariance @ a for g in guesses])
    shift = float(weight @ means)
    silent = tuple(
        i for i in speakers if weight @ np.array([float(i in g.silent) for g in guesses]) > NOTHING
    )
    inputs = weight @ np.array([g.mean for g in guesses])
    return Told(
        shift=shift,
        u=math.sqrt(float(weight @ (variances + (means - shift) ** 2))),
        silent=silent,
        inputs=dict(zip(names, inputs.tolist(), strict=True)),
    )


def _heard(guess: _Guess, row: Values, tells: Telling, place: int) -> list[_Guess]:
    """Return a guess under each explanation of one object more.

    The last is that the object tells nothing.
    """
    reach = guess.covariance @ row
    prior = float(row @ reach)
    at = float(row @ guess.mean)
    out = []
    for weight, mean, u in zip(tells.weight, tells.mean, tells.u, strict=True):
        total = prior + u * u
        off = mean - at
        log = math.log(weight) - 0.5 * (off * off / total + math.log(2 * math.pi * total))
        gain = reach / total
        out.append(
            _Guess(
                log=guess.log + log,
                mean=guess.mean + gain * off,
                covariance=guess.covariance - np.outer(gain, reach),
                silent=guess.silent,
            )
        )
    if tells.floor > 0:
        out.append(
            _Guess(
                log=guess.log + math.log(tells.floor),
                mean=guess.mean,
                covariance=guess.covariance,
                silent=(*guess.silent, place),
            )
        )
    return out


def _likely(guesses: list[_Guess]) -> list[_Guess]:
    best = max(g.log for g in guesses)
    kept = [g for g in guesses if g.log > best - FAR]
    return sorted(kept, key=lambda g: -g.log)[:MOST]
