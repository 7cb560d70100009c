"""The budget where a caliper's reading of the crests is the scale."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.records import NAMING_QUANTITIES, BudgetLine
from pitchcam.thread.budget import budget, combined, read, relative_u_scale, values
from pitchcam.thread.budget.geometry import LENGTHS
from tests.thread.drawn_shape import PITCH, PLACE, drawn_shape
from tests.thread.helicoid import iso_profile
from tests.thread.test_crest_lines import seen

V = {
    "pitch_mm": 1.25,
    "major_mm": 10.0,
    "pitch_diameter_mm": 9.2,
    "minor_mm": 8.4,
    "angle_deg": 60.0,
    "taper": 0.0,
}
EDGE = {"pitch_diameter_mm": 0.05, "major_mm": 0.02, "minor_mm": 0.04}
INCLINE = {"pitch_mm": 0.001, "major_mm": -0.01, "taper": 0.002}
NOISE = {"pitch_mm": 0.001, "major_mm": 0.015, "pitch_diameter_mm": 0.01, "angle_deg": 0.4}
LINES = (
    BudgetLine(source="caliper", contributions={k: 0.002 * V[k] for k in LENGTHS}, of_scale=True),
    BudgetLine(source="edge", contributions=EDGE),
    BudgetLine(source="incline", contributions=INCLINE),
    BudgetLine(source="noise", contributions=NOISE, correlated=False),
)


def drawn(count: int) -> dict[str, np.ndarray]:
    """Return quantities of photos whose every input is drawn, laid on the caliper's reading."""
    rng = np.random.default_rng(13)
    seen = {k: np.full(count, v) for k, v in V.items()}
    edge, incline = rng.normal(size=(2, count))
    for k in V:
        seen[k] += EDGE.get(k, 0.0) * edge + INCLINE.get(k, 0.0) * incline
        seen[k] += NOISE.get(k, 0.0) * rng.normal(size=count)
    reading = V["major_mm"] * (1 + 0.002 * rng.normal(size=count))
    scale = reading / seen["major_mm"]
    return {k: x * scale if k in LENGTHS else x for k, x in seen.items()}


@pytest.mark.parametrize("key", NAMING_QUANTITIES)
def test_u_is_that_of_photos_laid_on_the_reading(key):
    """The crests are what was read; what moves them makes all else wrong by the other sign."""
    u = combined(read.by_own_crests(LINES, V))[0][key]
    assert u == pytest.approx(np.std(drawn(200_000)[key]), rel=0.01)


def test_without_crests_nothing_was_read():
    assert read.by_own_crests(LINES, V | {"major_mm": 0.0}) == LINES


@pytest.mark.parametrize("alone", [False, True])
def test_the_thread_that_was_read_knows_its_crests_and_less_of_its_pitch(alone):
    shape = seen(iso_profile(PITCH, 12.0), PITCH, 28.0) if alone else drawn_shape()
    if not alone:  # swept by a hand, beside light that is known to a hundredth
        shape = replace(shape, swept_mm=0.1, u_beside=0.01)
    on_axis = replace(PLACE, scale_on_axis=True)
    other, own = (budget(shape, replace(on_axis, read_crests=is_read)) for is_read in (False, True))
    u_other, u_own = (combined(lines)[0] for lines in (other, own))
    v = values(shape)
    # What was read is the caliper's alone, and the pitch has of the crests what the picture leaves.
    assert u_own["major_mm"] == pytest.approx(PLACE.u_scale * v["major_mm"], rel=0.01)
    crests = read.u_crests_mm(shape) / v["major_mm"]
    moved = [
        line.contributions.get("major_mm", 0.0)
        for line in other
        if not line.of_scale and line.source not in ("inclination of the part", "focal length")
    ]
    assert crests == pytest.approx(np.linalg.norm(moved) / v["major_mm"])
    assert np.count_nonzero(moved) >= 3
    more = np.hypot(u_other["pitch_mm"], crests * v["pitch_mm"])
    assert u_own["pitch_mm"] == pytest.approx(more, rel=0.03)
    # All of it is the scale's.
    scale = np.hypot(relative_u_scale(other, v["pitch_mm"]), crests)
    assert relative_u_scale(own, v["pitch_mm"]) == pytest.approx(scale, rel=0.03)


@pytest.mark.parametrize("alone", [False, True])
def test_a_hand_s_motion_counts_where_nothing_straight_shows_the_rows(alone):
    shape = seen(iso_profile(PITCH, 12.0), PITCH, 28.0) if alone else drawn_shape()
    shown, unshown = (budget(shape, replace(PLACE, rows_shown=is_shown)) for is_shown in (1, 0))
    (line,) = [x for x in unshown if x.source == "rows of the picture"]
    assert [x for x in unshown if x is not line and x not in shown] == []
    v = values(shape)
    assert line.contributions == pytest.approx({k: 3e-4 * v[k] for k in LENGTHS if k in v})
    assert not line.correlated
