"""The share that comes again, of errors that were made with one."""

import numpy as np
import pytest

from tests.several.shares import ANGLE, LINES, Share, kinds_table, of_kinds, share, table


@pytest.mark.parametrize(("again", "bias"), [(0.0, 0.0), (0.5, 0.0), (0.9, 0.0), (0.3, 1.0)])
def test_a_share_that_was_put_in_comes_out(again, bias):
    rng = np.random.default_rng(3)
    groups = [
        bias + np.sqrt(again) * rng.normal() + np.sqrt(1 - again) * rng.normal(size=3)
        for _ in range(600)
    ]
    found = share(groups)
    expected = (again + bias**2) / (1 + bias**2)
    assert abs(found.again - expected) < 3 * found.u_again
    assert 0.001 < found.u_again < 0.05
    assert found.rms == pytest.approx(np.sqrt(1 + bias**2), rel=0.1)
    assert found.bias == pytest.approx(bias, abs=0.12)


def test_a_photo_alone_says_nothing_of_it():
    assert share([np.array([1.0]), np.array([1.0, 1.0]), np.array([-2.0, -2.0])]).parts == 2


def test_the_table_stands_beside_what_is_taken():
    shares = {name: Share(again=0.4, u_again=0.1, bias=0.001, rms=0.002, parts=9) for name in LINES}
    said = table(shares).splitlines()
    assert len(said) == 1 + len(LINES)
    assert said[2].split()[-4:-1] == ["0.40", "+-", "0.10"]


def test_of_photos_that_share_nothing_pitches_and_angles_are_told_apart():
    """Angles that are all 1 u too open have all in common; pitches that err anew have nothing."""
    rng = np.random.default_rng(5)
    rows = [
        {
            "set": "good",
            "reference": "pin, bright",
            "pitch_mm": 1.5,
            "errors": {"pitch_mm": float(rng.normal(0, 0.003)), "angle_deg": 0.5},
            "u": {"pitch_mm": 0.003, "angle_deg": 0.5},
        }
        for _ in range(200)
    ]
    found = of_kinds([*rows, rows[0] | {"set": "wrongref"}])
    assert (found["pin"].parts, found[ANGLE].parts) == (200, 200)
    assert found[ANGLE].again == pytest.approx(1.0)
    assert abs(found["pin"].again) < 0.05
    said = kinds_table(found).splitlines()
    assert said[1].split()[-1] == "0.30" and "%" not in said[1]
    # An angle far off is another fault, and counts as 3 u.
    rows[0]["errors"]["angle_deg"] = 50.0
    assert of_kinds(rows)[ANGLE].bias == pytest.approx(1.01)
