"""A photo's pitch against a gauge leaf."""

import math

import pytest

from pitchcam.match.leaf import (
    LEAD_SCATTER,
    NEIGHBOUR,
    NO_LEAF,
    VISIBLE_GAP_MM,
    angle_agrees,
    compare_leaf,
    turns_to_gap,
)
from pitchcam.records import Quantity
from pitchcam.series.gauges import parse_leaf


@pytest.mark.parametrize(
    ("pitch_mm", "u", "leaf", "status"),
    [
        (1.337, 0.003, "19tpi", "agrees"),
        (1.337, 0.003, "18tpi", "disagrees"),
        (1.374, 0.03, "19tpi", "cannot tell"),
        (0.940, 0.002, "27tpi", "agrees"),
        (0.940, 0.002, "1mm", "disagrees"),
        (0.940, 0.002, "28tpi", "disagrees"),
        (0.7969, 0.004, "0.8mm", "cannot tell"),
        (1.0, 0.002, "0ba", "agrees"),
        (1.0, 0.002, "1mm", "agrees"),
        (1.37, 0.001, "19tpi", "disagrees"),
        (5.0, 0.01, "20tpi", "disagrees"),
    ],
)
def test_status(pitch_mm: float, u: float, leaf: str, status: str) -> None:
    verdict = compare_leaf(Quantity(value=pitch_mm, u=u), parse_leaf(leaf))
    assert verdict.status == status
    assert 0.0 <= verdict.probability <= 1.0


def test_neighbours_stand_with_their_drift() -> None:
    verdict = compare_leaf(Quantity(value=1.337, u=0.003), parse_leaf("19tpi"))
    marks = [c.leaf.mark for c in verdict.neighbours]
    assert {"18tpi", "20tpi"} <= set(marks) and "19tpi" not in marks


def test_drift_over_turns() -> None:
    # 18 and 19 TPI differ by 0.0743 mm a turn; held true in the middle, each end is off by half
    # of what the turns add up to.
    pitch = Quantity(value=25.4 / 19, u=0.002)
    turns = turns_to_gap(pitch, parse_leaf("18tpi"))
    assert turns is not None
    assert turns * (25.4 / 18 - 25.4 / 19) / 2 == pytest.approx(VISIBLE_GAP_MM, rel=1e-5)
    assert turns_to_gap(pitch, parse_leaf("19tpi")) is None


@pytest.mark.parametrize(
    ("angle_deg", "u", "leaf", "agrees"),
    [
        # ISO 68-1 has 60 degrees, BS 84 and ISO 228-1 55, BS 93 47.5.
        (60.3, 0.4, "1.5mm", True),
        (55.2, 0.4, "1.5mm", False),
        (55.2, 0.4, "19tpi", True),
        (60.1, 0.4, "19tpi", False),
        (47.4, 0.4, "0ba", True),
        (57.7, 3.0, "1.5mm", None),  # good to 6 degrees it may be of either form
        (57.8, 0.4, "1.5mm", None),  # off, and nearer to no other form
    ],
)
def test_a_measured_angle_beside_the_leafs_form(angle_deg, u, leaf, agrees) -> None:
    assert angle_agrees(Quantity(value=angle_deg, u=u), parse_leaf(leaf)) is agrees


def test_an_angle_that_was_not_read_tells_nothing() -> None:
    assert angle_agrees(None, parse_leaf("1.5mm")) is None


@pytest.mark.parametrize(("mm", "mark"), [(0.5, "0.5mm"), (6.0, "6mm")])
def test_a_threads_lead_is_true_to_a_share_of_its_pitch(mm: float, mark: str) -> None:
    """Commercial threads keep 0.2 %: 1 um of 0.5 mm, 12 um of 6 mm; so do those read here."""
    near, far = (
        compare_leaf(Quantity(value=mm * (1 + share), u=1e-5 * mm), parse_leaf(mark))
        for share in (0.002, 0.012)
    )
    assert near.status == "agrees"
    assert far.status == "disagrees"


@pytest.mark.parametrize("at", [0.85, 1.0, 4.0, 5.0])
def test_no_leaf_is_as_likely_as_the_density_of_its_flat_share_says(at: float) -> None:
    """By Bayes with one leaf near: a twentieth over a neighbourhood, against a normal density."""
    mark = {0.85: "30tpi", 1.0: "1mm", 4.0: "4mm", 5.0: "5mm"}[at]
    leaf = parse_leaf(mark)
    u, off = 0.002 * leaf.pitch_mm, 3.0
    sigma = math.hypot(u, LEAD_SCATTER * leaf.pitch_mm)
    seen = Quantity(value=leaf.pitch_mm + off * sigma, u=u)
    verdict = compare_leaf(seen, leaf)
    ours = math.exp(-0.5 * off**2) / (sigma * math.sqrt(2 * math.pi))
    flat = NO_LEAF / (2 * NEIGHBOUR * seen.value)
    assert verdict.no_leaf / verdict.probability == pytest.approx(flat / ours, rel=1e-3)
