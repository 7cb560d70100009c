"""The bound against a simulation of what it bounds; the pipes' settings; both tables' rows."""

import numpy as np
import pytest

from tests.adjustment import bound, pipes


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


def test_the_whole_bound_is_how_a_pitch_goes_with_pin_and_lens():
    """Derivatives of the pitch in mm, measured by similar triangles with each input moved."""
    px, turns = 30.0, 8
    stud, shot = bound.stud_of(px, turns), bound.Shot(f35_mm=bound.F35_MM)
    high, away = stud.shank_mm / 2, bound.DISTANCE_MM

    def pitch(pin_mm=bound.PIN_MM, f_px=shot.f_px):
        # Seen: a pin whose axis is half of it over the plate, and the pitch on the stud's axis.
        wide = shot.f_px * bound.PIN_MM / (away - bound.PIN_MM / 2)
        seen = shot.f_px * stud.pitch_mm / (away - high)
        plane = f_px * pin_mm / wide
        return seen * (plane + pin_mm / 2 - high) / f_px

    assert pitch() == pytest.approx(stud.pitch_mm)
    by_pin = pitch(pin_mm=bound.PIN_MM + bound.U_PIN_MM) / pitch() - 1
    by_lens = pitch(f_px=shot.f_px * (1 + bound.U_FOCAL)) / pitch() - 1
    least = np.hypot(by_pin, by_lens)
    found = bound.whole_bounds(px, turns)
    assert found["pitch_mm"] == pytest.approx(least * stud.pitch_mm, rel=0.05)
    assert found["major_mm"] == pytest.approx(least * stud.major_mm, rel=0.05)
    # Noise, of pin and thread, is a hundredth of it.
    assert found["pitch_mm"] > 30 * bound.bound(px, turns) * stud.pitch_mm


def test_an_angle_is_that_of_lines_through_places():
    """2 turns a flank of each kind and side, each a line of l places: numpy's own fit."""
    px, turns = 32.0, 8
    n = int(5 / 8 * px)
    x = np.arange(n) - (n - 1) / 2
    weights = np.full(n, np.sqrt(bound.information() * 2 * turns))
    _, covariance = np.polyfit(x, x, 1, w=weights, cov="unscaled")
    both = np.degrees(np.sqrt(2 * covariance[0, 0]))
    assert bound.whole_bounds(px, turns)["angle_deg"] == pytest.approx(both, rel=0.01)


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


def test_rows_of_the_whole_bound():
    one = bound.Whole(
        px_per_pitch=30.0,
        turns=8,
        bounds={"pitch_mm": 0.002},
        errors={"pitch_mm": np.array([0.002, -0.002, 0.004])},
        over_u={"pitch_mm": np.array([0.5, -0.5, 1.0])},
    )
    said = bound.whole_line([one]).split()
    # rms: sqrt(6 / 3) of the bound; mean: two thirds of it.
    assert said == ["30", "8", "pitch_mm", "3", "0.00200", "1.41", "0.67", "0.47", "0.71"]
    assert bound.whole_line([one, one]).split() == ["all", "pitch_mm", "6", *said[5:]]
