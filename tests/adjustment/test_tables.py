"""The bound against a simulation of what it bounds; the pipes' settings; both tables' rows."""

from dataclasses import replace

import numpy as np
import pytest

from tests.adjustment import bound, pipes, whole


def test_an_edge_tells_its_place_as_a_simulated_one_does():
    """A step in white noise, placed by least squares: the scatter is that of the information."""
    rng = np.random.default_rng(2)
    x = np.arange(-12.0, 13.0)
    wide = np.hypot(bound.BLUR_PX, 1 / np.sqrt(12))

    def code(at):
        return bound.encode(bound.DARK + (bound.LIT - bound.DARK) * bound.ndtr((x - at) / wide))

    placed = []
    for _ in range(400):
        true = rng.uniform(-0.5, 0.5)
        seen = code(true) + rng.normal(0, 1e-3, len(x))
        at = true
        for _ in range(4):
            slope = (code(at + 1e-4) - code(at - 1e-4)) / 2e-4
            at += slope @ (seen - code(at)) / (slope @ slope)
        placed.append(at - true)
    rounded = np.hypot(1e-3, 1 / 255 / np.sqrt(12))
    # The bound counts the rounding to eight bits, which is not in the simulation.
    expected = (rounded / 1e-3) ** 2 * bound.information(noise=1e-3)
    assert np.var(placed) == pytest.approx(1 / expected, rel=0.15)


def test_the_bound_is_that_of_a_straight_line_through_places():
    """N places that err alike, at even steps: the slope's scatter by numpy's own fit."""
    px, turns = 20.0, 8
    n = int(px * turns)
    told = 2 * bound.FLANKS * bound.SLOPE**2 / np.sqrt(1 + bound.SLOPE**2) * bound.information()
    z = np.arange(n) - (n - 1) / 2
    _, covariance = np.polyfit(z, z, 1, w=np.full(n, np.sqrt(told)), cov="unscaled")
    assert bound.bound(px, turns) == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-3)


def test_pipes_are_drawn_as_they_are_said_to_be():
    for number in range(20):
        at = pipes.setting(number, 1)
        assert 20.0 <= at.px_per_pitch / pipes.PITCH_MM <= 22.0
        assert 8.0 <= at.turns <= 9.0
    rows = [
        {"truth": "R 1/2", "outcome": "right", "answer": "R 1/2"},
        {"truth": "G 3/4", "outcome": "open", "answer": "G 3/4 | R 3/4"},
    ]
    said = pipes.table(rows)
    assert "named right: 1 of 2 = 50.0 %, wrong: 0" in said
    assert "open: G 3/4 read as G 3/4 | R 3/4" in said


def test_a_row_of_the_bound():
    found = bound.Found(
        px_per_pitch=30.0,
        turns=8,
        bound=1e-5,
        scatter=5e-5,
        bias=-2e-5,
        bias_scaled=-3e-4,
        stated=6e-5,
        photos=8,
    )
    assert bound.line(found).split() == [
        "30",
        "8",
        "8",
        "10.0",
        "50.0",
        "5.00",
        "60.0",
        "-20.0",
        "-300.0",
    ]


def test_an_angle_is_that_of_lines_through_places():
    """2 turns a flank of each kind and side, each a line of l places: numpy's own fit."""
    px, turns = 32.0, 8
    n = int(5 / 8 * px)
    x = np.arange(n) - (n - 1) / 2
    weights = np.full(n, np.sqrt(bound.information() * 2 * turns))
    _, covariance = np.polyfit(x, x, 1, w=weights, cov="unscaled")
    both = np.degrees(np.sqrt(2 * covariance[0, 0]))
    assert bound.known_bounds(px, turns)["angle_deg"] == pytest.approx(both, rel=0.01)


def test_a_stud_that_is_inclined_touches_the_plate_and_no_more():
    stud = bound.stud_of(30.0, 8)
    for seed in range(6):
        shot = bound.drawn_inputs(stud, seed)
        end, radius = stud.ends_mm[1], stud.shank_mm / 2
        low = radius + shot.lift_mm - radius * np.cos(shot.incline_rad)
        assert low - end * abs(np.sin(shot.incline_rad)) == pytest.approx(0.0, abs=1e-12)
        assert shot.lift_mm >= -1e-3
    drawn = [bound.drawn_inputs(stud, seed) for seed in range(400)]
    for name, u in (("focal_share", bound.U_FOCAL), ("pin_error_mm", bound.U_PIN_MM)):
        assert np.std([getattr(s, name) for s in drawn]) == pytest.approx(u, rel=0.12)


def test_rows_beside_both_bounds():
    one = whole.Whole(
        px_per_pitch=30.0,
        turns=8,
        known={"pitch_mm": 0.001},
        same={"pitch_mm": 0.002},
        errors={"pitch_mm": np.array([0.002, -0.002, 0.004])},
        over_u={"pitch_mm": np.array([0.5, -0.5, 1.0])},
    )
    said = whole.line([one], "pitch_mm").split()
    # rms: sqrt(6 / 3) of the own model's bound; mean: two thirds of it; three photos tell it to
    # 1 / sqrt(3).
    ratios = ["2.83", "1.41", "0.47", "0.58", "0.71"]
    assert said == ["30", "8", "pitch_mm", "3", "0.001000", "0.002000", "0.002828", *ratios]
    # Of two sizes whose bounds differ each counts by its own: rms of (1, -1, 2, 2, -2, 4) halves.
    other = replace(one, same={"pitch_mm": 0.001})
    both = whole.line([one, other], "pitch_mm").split()
    assert both[:3] == ["all", "pitch_mm", "6"]
    assert both[4] == f"{np.sqrt((6 + 24) / 6):.2f}"
    assert both[5] == f"{3 / 6 / np.sqrt(5) * 2:.2f}"
