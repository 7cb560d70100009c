"""The share that comes again, of errors that were made with one."""

import numpy as np
import pytest

from tests.several.shares import LINES, Share, share, table


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
