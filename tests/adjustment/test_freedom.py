"""The bound of an angle with what else is not known free."""

from dataclasses import replace

import numpy as np
import pytest

from tests.adjustment import bound, freedom


def test_with_its_place_alone_free_a_ridge_tells_what_its_flanks_do():
    """The formula's straight lines of points, against pixels: crests and roots hold their ends."""
    found = freedom.freed_bounds(45.0, 8)
    known = bound.whole_bounds(45.0, 8)["angle_deg"]
    assert found["place"] == pytest.approx(known, rel=0.1)
    values = list(found.values())
    assert values == sorted(values)
    # Light that may rise up the flanks costs a third at least, whatever the blur tells of it.
    assert values[-1] > 1.3 * values[-2]


def test_the_bound_goes_with_the_turns():
    few, many = (freedom.freed_bounds(20.0, turns) for turns in (4, 16))
    for group in freedom.FREE:
        assert few[group] == pytest.approx(2 * many[group])


def test_round_corners_meet_flats_and_flanks():
    sharp = freedom.Ridge()
    z = np.linspace(-0.5, 0.5, 4001)
    for name in ("crest_round", "root_round"):
        round_one = replace(sharp, **{name: 0.5})
        off = round_one.radius(z) - sharp.radius(z)
        moved = np.abs(off) > 1e-9
        assert 0.02 < moved.mean() < 0.3
        assert (off[moved] < 0).all() if name == "crest_round" else (off[moved] > 0).all()
        # No step where the circle begins and ends.
        assert (
            np.abs(np.diff(round_one.radius(z))).max()
            < 1.01 * np.abs(np.diff(sharp.radius(z))).max()
        )


def test_cells_get_the_freed_bound_of_their_size():
    cell = bound.Whole(
        px_per_pitch=20.0,
        turns=8,
        bounds={"angle_deg": 1.0},
        errors={"angle_deg": np.array([0.1])},
        over_u={"angle_deg": np.array([0.5])},
    )
    own = freedom.freed([cell])[0].bounds["angle_deg"]
    assert own == pytest.approx(freedom.freed_bounds(20.0, 8)["mirrored light"])
