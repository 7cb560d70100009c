"""Whether a measured pitch agrees with the gauge leaf that a person read."""

from __future__ import annotations

import math
from typing import Literal

from pitchcam.frozen import dataclass
from pitchcam.match.naming import NAMED
from pitchcam.match.population import ANGLE_SCATTER_DEG, LEAD_SCATTER
from pitchcam.records import Quantity
from pitchcam.series.gauges import SAME_LEAF, Leaf, load_leaves

#: A gap of light that an eye sees between leaf and thread without a lens, in mm (judgement).
VISIBLE_GAP_MM = 0.1
#: The forms that threads with a leaf have.
FORMS_DEG = (47.5, 55.0, 60.0, 80.0)
#: Leaves farther away than this ratio are not neighbours of a reading.
NEIGHBOUR = 0.12
#: Weight of a pitch that no leaf has, against one for each leaf (judgement).
NO_LEAF = 0.05


@dataclass(frozen=True, kw_only=True, slots=True)
class LeafChance:
    """One leaf beside the measured pitch.

    ``turns_to_gap`` is the number of turns over which the leaf, set true in the middle, shows a
    gap at both ends; None where it fits.
    """

    leaf: Leaf
    probability: float
    turns_to_gap: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class LeafVerdict:
    """Whether a photo agrees with a gauge: ``probability`` is that of the leaf that was read.

    ``no_leaf`` is the probability that the pitch is that of no leaf of any set: then the scale is
    to be doubted before the hand.
    """

    status: Literal["agrees", "disagrees", "cannot tell"]
    probability: float
    no_leaf: float
    read: LeafChance
    neighbours: tuple[LeafChance, ...]


def turns_to_gap(pitch: Quantity, leaf: Leaf) -> float | None:
    """Return over how many turns a leaf drifts by a visible gap at each end, or None if it fits.

    The leaf is held so that it fits in the middle: each half drifts by half the turns. A leaf
    within the pitch's expanded uncertainty fits.
    """
    drift = abs(leaf.pitch_mm - pitch.value)
    return None if drift <= 2 * pitch.u else 2 * VISIBLE_GAP_MM / drift


def compare_leaf(pitch: Quantity, read: Leaf) -> LeafVerdict:
    """Compare a measured pitch with the leaf that was read, as a second opinion.

    Every pitch of the usual sets near the measured one is as likely beforehand as the one that was
    read: the answer is the photo's own. Leaves of one pitch (1 mm and 0 BA) count as one. 'Agrees'
    and 'disagrees' want the naming threshold; between them the photo cannot tell.
    """
    leaves = {read.pitch_mm: read}
    for leaf in load_leaves():
        if abs(math.log(leaf.pitch_mm / pitch.value)) < NEIGHBOUR:
            same = any(abs(leaf.pitch_mm / p - 1) < SAME_LEAF for p in leaves)
            leaves.update({} if same else {leaf.pitch_mm: leaf})
    logs = []
    for p in leaves:
        sigma = math.hypot(pitch.u, LEAD_SCATTER * p)
        z = (pitch.value - p) / sigma
        logs.append(-0.5 * z**2 - math.log(sigma * math.sqrt(2 * math.pi)))
    # A pitch far from every leaf belongs to none: one flat hypothesis over the neighbourhood.
    none = math.log(NO_LEAF / (2 * NEIGHBOUR * pitch.value))
    top = max(*logs, none)
    mass = [math.exp(x - top) for x in logs]
    total = sum(mass) + math.exp(none - top)
    chances = {
        leaf.mark: LeafChance(
            leaf=leaf, probability=m / total, turns_to_gap=turns_to_gap(pitch, leaf)
        )
        for leaf, m in zip(leaves.values(), mass, strict=True)
    }
    mine = chances[read.mark]
    others = [c for c in chances.values() if c.leaf.mark != read.mark]
    others.sort(key=lambda c: abs(c.leaf.pitch_mm - pitch.value))
    status: Literal["agrees", "disagrees", "cannot tell"] = "cannot tell"
    if mine.probability >= NAMED:
        status = "agrees"
    elif mine.probability <= 1 - NAMED:
        status = "disagrees"
    return LeafVerdict(
        status=status,
        probability=mine.probability,
        no_leaf=math.exp(none - top) / total,
        read=mine,
        neighbours=tuple(others[:4]),
    )


def angle_agrees(angle: Quantity | None, leaf: Leaf) -> bool | None:
    """Return whether a measured angle is that of the leaf's form; None where it cannot tell.

    It agrees within its expanded uncertainty (k = 2) of an angle that sets have this leaf in, and
    does not where it lies farther off than that from all of them and nearer to another form.
    """
    if angle is None:
        return None
    u = math.hypot(angle.u, ANGLE_SCATTER_DEG)
    off = min(abs(angle.value - a) for a in leaf.angles_deg)
    others = [a for a in FORMS_DEG if a not in leaf.angles_deg]
    if off <= 2 * u:
        return None if any(abs(angle.value - a) <= 2 * u for a in others) else True
    return False if any(abs(angle.value - a) < off for a in others) else None
