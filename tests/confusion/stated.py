"""Prints how right stated probabilities are: ``python -m tests.confusion.stated``.

Threads are drawn as often as they are met, as often as they are photographed, or all alike, from
the population that the match takes them to be of, and read as photos of 16 to 60 pixels a pitch
read them: one in five hides its flanks. Beside it special threads of 60 degrees, of no series, new
and worn, beside a pin that is what was stated: a name there is wrong.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pitchcam.match.naming import name_thread
from pitchcam.match.population import ANGLE, DIAMETERS, MAJOR, PITCH, TAPER, population
from pitchcam.match.priors import PHOTO_TEMPER, prior_weights
from pitchcam.match.reference import belief_of, doubted
from pitchcam.records import (
    NAMING_QUANTITIES,
    PartResult,
    Quantity,
    ScaleSpec,
    ThreadReading,
    ThreadResult,
    Verdict,
)
from tests.fresh.threads import Cut, special

Array = NDArray[np.float64]
EDGES = (0.0, 0.5, 0.8, 0.9, 0.95, 0.99, 0.999, 1.0)
#: The powers of the priors: as met, as photographed, all alike.
RATES = {"as met": 1.0, "as photographed": PHOTO_TEMPER, "all alike": 0.0}
#: A photo's own u: of the scale, as a share, from least to most;
U_SCALE = (0.0015, 0.003)
#: of the diameters, by their places, in pixels and on top of that in mm;
U_PX, U_LEAST_MM = {1: 0.25, 2: 0.3, 3: 0.5}, 0.005
#: of the angle, from least to most, and of the taper.
U_ANGLE_DEG, U_TAPER = (0.3, 1.6), 0.0013
#: Pixels a pitch, from least to most, and the share of threads whose flanks are hidden.
PIXELS, HIDDEN = (16.0, 60.0), 0.2
#: How far off a special thread's crest is worn, on the mean, in pitches.
WORN = 0.06


@dataclass
class Bins:
    """Of the first candidates of each bin of stated probability: how many, right, stated."""

    n: Array = field(default_factory=lambda: np.zeros(len(EDGES) - 1))
    right: Array = field(default_factory=lambda: np.zeros(len(EDGES) - 1))
    stated: Array = field(default_factory=lambda: np.zeros(len(EDGES) - 1))
    named: int = 0
    wrong: Counter[str] = field(default_factory=Counter)
    #: Of threads that are seldom met: drawn, named, wrongly.
    rare: Array = field(default_factory=lambda: np.zeros(3, int))


def read(true: Array, rng: np.random.Generator, hidden: bool = False) -> ThreadReading:
    """Return a thread as a photo reads it, by its true quantities (6,) of NAMING_QUANTITIES."""
    pixel = true[PITCH] / float(np.exp(rng.uniform(*np.log(PIXELS))))
    u = np.zeros(6)
    u[PITCH] = 0.0006 * true[PITCH] + 0.01 * pixel
    for place in DIAMETERS:
        u[place] = U_PX[place] * pixel + U_LEAST_MM
    u[ANGLE], u[TAPER] = rng.uniform(*U_ANGLE_DEG), U_TAPER
    scale = float(rng.uniform(*U_SCALE))
    seen = true + u * rng.normal(size=6)
    seen[:ANGLE] *= 1 + scale * rng.normal()
    seen[TAPER] = abs(seen[TAPER])
    common = np.where(np.arange(6) < ANGLE, scale * seen, 0.0)
    whole = np.hypot(u, common)
    told = (PITCH, MAJOR, TAPER) if hidden else tuple(range(6))
    names = NAMING_QUANTITIES
    return ThreadReading(
        correlation={
            (names[a], names[b]): float(common[a] * common[b] / (whole[a] * whole[b]))
            for a in told
            for b in told
            if a < b < ANGLE
        },
        **{names[i]: Quantity(value=float(seen[i]), u=float(whole[i])) for i in told},
    )


def calibration(number: int, seed: int, temper: float) -> Bins:
    """Return stated probability beside right names, of parallel threads drawn at a rate."""
    rng, parts, found = np.random.default_rng(seed), population("external"), Bins()
    lead = [i for i in parts.leaders if not parts.taper[i]]
    rate = prior_weights(parts.sizes, None, temper=temper)[lead]
    for i in rng.choice(lead, number, p=rate / rate.sum()).tolist():
        size = parts.sizes[i]
        weight = np.exp(parts.log_weight_worn[i, : parts.classes[i]])
        place = int(rng.choice(weight.size, p=weight.ravel() / weight.sum()))
        kind, cell = divmod(place, weight.shape[1])
        true = rng.multivariate_normal(parts.mean[i, kind, cell], parts.covariance[i, kind])
        verdict = name_thread(read(true, rng, hidden=rng.random() < HIDDEN))
        if not verdict.candidates:
            continue
        first = verdict.candidates[0]
        right = first.designation == size.designation
        at = min(int(np.searchsorted(EDGES, first.probability, side="right")) - 1, len(EDGES) - 2)
        found.n[at] += 1
        found.right[at] += right
        found.stated[at] += first.probability
        named, rare = verdict.status == "named", size.commonness == "rare"
        found.named += named
        if named and not right:
            found.wrong[f"{size.designation} as {first.designation}"] += 1
        found.rare += rare * np.array([1, named, named and not right])
    return found


def specials(number: int, seed: int, worn: bool) -> Iterator[tuple[Cut, Verdict]]:
    """Yield special threads and what each is called beside a pin that is what was stated."""
    rng = np.random.default_rng(seed)
    for _ in range(number):
        cut = special(rng)
        thread = cut.thread
        lost = rng.exponential(WORN) * thread.pitch if worn else 0.0
        true = np.array(
            [
                thread.pitch,
                thread.major - min(lost, 0.5 * thread.pitch),
                2 * thread.pitch_radius,
                2 * thread.minor_radius,
                thread.form.angle_deg,
                0.0,
            ]
        )
        reading = read(true, rng)
        result = ThreadResult(
            reading=reading,
            half_angles_deg=(None, None),
            turns=8.0,
            span_px=((0.0, 0.0), (300.0, 0.0)),
            budget=(),
            verdict=name_thread(reading),
        )
        part = PartResult(id=1, box_px=(0.0, 0.0, 1.0, 1.0), threads=(result,))
        spec = ScaleSpec(source="pin", mm=float(rng.choice([5.0, 6.0, 8.0, 10.0, 12.0])))
        (after,) = doubted([part], spec, belief_of([part], spec, 230.0), [])
        yield cut, after.threads[0].verdict


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--number", type=int, default=2500)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    for name, temper in RATES.items():
        found = calibration(args.number, args.seed, temper)
        print(f"{name}: named {found.named} of {args.number}, wrongly {found.wrong.total()}")
        for low, high, n, right, stated in zip(
            EDGES[:-1], EDGES[1:], found.n, found.right, found.stated, strict=True
        ):
            if n:
                print(f"  {low:5.3f}-{high:5.3f}  {n:5.0f}  right {right / n:.3f}", end="")
                print(f"  stated {stated / n:.3f}")
        drawn, named, wrong = found.rare
        print(f"  seldom met: {drawn}, named {named}, wrongly {wrong}; {dict(found.wrong)}")
    for worn in (False, True):
        verdicts = list(specials(args.number, args.seed, worn))
        named = [f"{cut.name} as {v.designation}" for cut, v in verdicts if v.status == "named"]
        print(
            f"special, {'worn' if worn else 'new'}: named {len(named)} of {len(verdicts)}: {named}"
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
