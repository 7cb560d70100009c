"""Where flanks are taken as straight, against the roundings that the standards draw."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcam.edges.flank_points import ROUNDED, Slant

#: Included angle, radius of crest and root and depth, pitches. BS 84: 0.137329 P and 0.640327 P;
#: BS 93: 2/11 P and 0.6 P; BS 811 (cycle): P/6 and 0.5327 P (both from memory).
FORMS = {
    "whitworth": (55.0, 0.137329, 0.640327),
    "ba": (47.5, 2 / 11, 0.6),
    "cycle": (60.0, 1 / 6, 0.5327),
}


def rounded(form: str) -> float:
    """Return how far below the crest a rounding ends, in pitches: where its tangent is a flank."""
    angle, radius, _ = FORMS[form]
    return radius * (1 - float(np.sin(np.radians(angle / 2))))


def wider(form: str, pitch_px: float) -> float:
    """Return how much wider a form's angle is than drawn, by a line through what is taken of it."""
    angle, radius, depth = FORMS[form]
    half = np.radians(angle / 2)
    start = Slant(blur_px=0.8).below_crest(pitch_px)
    below = np.linspace(start, depth - start, 4001)
    across = below * np.tan(half)
    middle = rounded(form) * np.tan(half) - radius * np.cos(half)
    for end, sign in ((below, 1), (depth - below, -1)):
        on = end < rounded(form)
        arc = middle + np.sqrt(radius**2 - (radius - end[on]) ** 2)
        across[on] = arc if sign > 0 else depth * np.tan(half) - arc
    return 2 * float(np.degrees(np.arctan(np.polyfit(below, across, 1)[0]))) - angle


def test_whitworth_s_rounding_is_left_out_and_others_end_farther_on() -> None:
    assert rounded("whitworth") == pytest.approx(ROUNDED, abs=2e-4)
    assert rounded("cycle") == pytest.approx(0.083, abs=5e-4)
    assert rounded("ba") == pytest.approx(0.109, abs=5e-4)


@pytest.mark.parametrize(
    ("form", "pitch_px", "deg"),
    [
        ("whitworth", 90.0, 0.0),
        ("cycle", 90.0, 0.0),
        ("ba", 45.0, 0.001),
        ("ba", 60.0, 0.014),
        ("ba", 90.0, 0.059),
    ],
)
def test_so_much_of_a_wider_rounding_is_left(form: str, pitch_px: float, deg: float) -> None:
    """Solved by construction, for the sharpest of usual photos."""
    assert wider(form, pitch_px) == pytest.approx(deg, abs=0.003)
