"""Which gauge leaf a person says for a thread: the right one, or one of the usual wrong ones."""

from __future__ import annotations

import functools
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.match.population import LEAD_SCATTER, population
from pitchcam.match.slips import slip_shares
from pitchcam.records import Gender
from pitchcam.series import ThreadSize
from pitchcam.series.gauges import SAME_LEAF, Leaf, load_leaves

Array = NDArray[np.float64]
#: With no leaf of the right unit at hand the nearest other is taken: a gap of two percent is just
#: seen over five turns without a lens (judgement).
U_OTHER_SET = 0.02
#: A careful hand says that no leaf fits where the best is off by more than so many u.
FITS = 3.0


@dataclass(frozen=True, kw_only=True, slots=True)
class LeafChances:
    """Probability of saying each leaf (sizes, pitches), the share of each way counted in.

    They sum to less than 1: the rest is that no leaf is found to fit. ``pitch_mm`` are the pitches
    of all leaves, those of one pitch (1 mm and 0 BA) as one.
    """

    pitch_mm: Array
    careful: Array
    slips: Mapping[str, Array]

    def place(self, pitch_mm: Array) -> NDArray[np.intp]:
        """Return the column of each leaf's pitch, nearest by ratio."""
        ratio = np.abs(np.log(self.pitch_mm / np.asarray(pitch_mm)[:, None]))
        return np.asarray(ratio.argmin(axis=1))


def own_set(size: ThreadSize) -> str:
    """Return which set of leaves a size's own leaf belongs to.

    British sets hold 62 TPI and American ones 56: an inch thread's own set is the one that fits.
    """
    if size.family in ("M", "M taper"):
        return "metric"
    if size.family == "BA":
        return "ba"
    first, second = ("inch55", "inch60") if size.angle_deg == 55.0 else ("inch60", "inch55")
    return first if not _held(second, size.pitch_mm) or _held(first, size.pitch_mm) else second


@functools.cache
def _held(name: str, pitch_mm: float) -> bool:
    return any(abs(x.pitch_mm / pitch_mm - 1) < SAME_LEAF for x in leaf_sets()[name])


@functools.lru_cache(maxsize=4)
def leaf_sets() -> Mapping[str, tuple[Leaf, ...]]:
    """Return the sets of leaves: metric, inch at 60 and at 55 degrees, BA; fine pitch first."""
    leaves = load_leaves()
    inch = [x for x in leaves if x.mark.endswith("tpi")]
    return {
        "metric": tuple(x for x in leaves if x.mark.endswith("mm")),
        "ba": tuple(x for x in leaves if x.mark.endswith("ba")),
        "inch60": tuple(x for x in inch if 60.0 in x.angles_deg),
        "inch55": tuple(x for x in inch if 55.0 in x.angles_deg),
    }


def right_leaf(size: ThreadSize) -> Leaf:
    """Return the leaf of the size's own set that fits it best, or of any set where none does."""
    return _right_leaf(own_set(size), size.pitch_mm)


@functools.cache
def _right_leaf(own: str, pitch_mm: float) -> Leaf:
    def off(leaf: Leaf) -> float:
        return abs(math.log(leaf.pitch_mm / pitch_mm))

    best = min(leaf_sets()[own], key=off)
    return best if off(best) < U_OTHER_SET else min(load_leaves(), key=off)


def other_leaves(size: ThreadSize) -> tuple[Leaf, ...]:
    """Return the leaves of the other unit's set, that a person without the right set holds."""
    return _inch_leaves() if own_set(size) in ("metric", "ba") else leaf_sets()["metric"]


@functools.cache
def _inch_leaves() -> tuple[Leaf, ...]:
    sets = leaf_sets()
    return tuple(dict.fromkeys((*sets["inch60"], *sets["inch55"])))


def steps(size: ThreadSize) -> tuple[Leaf, ...]:
    """Return the leaves beside the right one in its own set; with no right one, the nearest too."""
    return _steps(own_set(size), size.pitch_mm)


@functools.cache
def _steps(own_set: str, pitch_mm: float) -> tuple[Leaf, ...]:
    leaves = leaf_sets()[own_set]
    own = [abs(math.log(x.pitch_mm / pitch_mm)) for x in leaves]
    i = own.index(min(own))
    missing = leaves[i : i + 1] if own[i] > U_OTHER_SET else ()
    return leaves[max(i - 1, 0) : i] + missing + leaves[i + 1 : i + 2]


@functools.lru_cache(maxsize=8)
def leaf_chances(gender: Gender, u_gauge: float, folder: Path | None = None) -> LeafChances:
    """Return how probably each leaf is said for each size of a gender's population.

    ``u_gauge`` is the standard uncertainty of a leaf, as a share of the pitch.
    """
    shares, sizes = slip_shares(folder), population(gender, folder).sizes
    pitches: list[float] = []
    for leaf in load_leaves():
        if not pitches or leaf.pitch_mm / pitches[-1] - 1 > SAME_LEAF:
            pitches.append(leaf.pitch_mm)
    grid, own = np.array(pitches), np.array([s.pitch_mm for s in sizes])
    ratio = np.log(grid / own[:, None])
    kinds = {(own_set(s), s.pitch_mm): s for s in sizes}
    place = {kind: i for i, kind in enumerate(kinds)}
    # All that tells the leaves of a size: there are a fifth as many.
    kind_of = np.array([place[own_set(s), s.pitch_mm] for s in sizes])
    unlike = tuple(kinds.values())
    slips = {
        "leaf-step": np.array([_spread(grid, steps(s)) for s in unlike])[kind_of],
        "leaf-other": _nearest_others(grid, unlike)[kind_of],
        "leaf-unit": np.array([_spread(grid, _same_number(right_leaf(s))) for s in unlike])[
            kind_of
        ],
        "leaf-any": np.full(ratio.shape, 1 / len(grid)),
    }
    slips = {name: shares[name] * chance for name, chance in slips.items()}
    spoilt = sum(chance.sum(axis=1) for chance in slips.values())
    fit = np.exp(-0.5 * (ratio / np.hypot(u_gauge, LEAD_SCATTER)) ** 2)
    careful = fit / (fit.sum(axis=1, keepdims=True) + math.exp(-0.5 * FITS**2))
    return LeafChances(pitch_mm=grid, careful=(1 - spoilt)[:, None] * careful, slips=slips)


def _softmax(log: Array) -> Array:
    mass = np.exp(log - log.max(axis=-1, keepdims=True))
    return np.asarray(mass / mass.sum(axis=-1, keepdims=True))


def _spread(grid: Array, leaves: tuple[Leaf, ...]) -> Array:
    """Return even chances over some leaves, (pitches,); all 0 for none."""
    chance = np.zeros(len(grid))
    places = _places(tuple(grid.tolist()))
    for leaf in leaves:
        chance[places[leaf.pitch_mm]] += 1 / len(leaves)
    return chance


@functools.lru_cache(maxsize=16)
def _places(grid: tuple[float, ...]) -> Mapping[float, int]:
    """Return where in a grid the nearest pitch lies to that of each leaf, by ratio."""
    pitches = list(dict.fromkeys(leaf.pitch_mm for leaf in load_leaves()))
    off = np.abs(np.log(np.array(grid) / np.array(pitches)[:, None]))
    return dict(zip(pitches, off.argmin(axis=1).tolist(), strict=True))


def _nearest_others(grid: Array, sizes: Sequence[ThreadSize]) -> Array:
    """Return the chances (sizes, pitches) of the leaves of the other unit's sets."""
    chance = np.zeros((len(sizes), len(grid)))
    groups: dict[tuple[Leaf, ...], list[int]] = defaultdict(list)
    for i, size in enumerate(sizes):
        groups[other_leaves(size)].append(i)
    for leaves, rows in groups.items():
        pitches = np.array([x.pitch_mm for x in leaves])
        own = np.array([sizes[i].pitch_mm for i in rows])
        share = _softmax(-0.5 * (np.log(pitches / own[:, None]) / U_OTHER_SET) ** 2)
        places = _places(tuple(grid.tolist()))
        for leaf, column in zip(leaves, share.T, strict=True):
            chance[rows, places[leaf.pitch_mm]] += column
    return chance


def _same_number(leaf: Leaf) -> tuple[Leaf, ...]:
    """Return the leaf of the other unit with the same number on it, if there is one."""
    swap = {"mm": "tpi", "tpi": "mm"}
    for unit, other in swap.items():
        if leaf.mark.endswith(unit):
            mark = leaf.mark.removesuffix(unit) + other
            return tuple(x for x in load_leaves() if x.mark == mark)
    return ()
