"""What several photos say of rings together, by Bayes' rule on odds."""

import pytest

from pitchcam.thread.doubts import LEAST_TOLD, together, told

PRIOR = 0.05


def odds(probability: float) -> float:
    return probability / (1 - probability)


@pytest.mark.parametrize("by_one", [0.006, PRIOR, 0.3, 0.9])
def test_one_photo_together_is_what_it_is_alone(by_one: float) -> None:
    assert together([[by_one]], PRIOR) == pytest.approx(by_one)
    # Again of the same laying: nothing but noise is new in it.
    assert together([[by_one, by_one, by_one]], PRIOR) == pytest.approx(by_one)


def test_layings_tell_more_each_by_its_own_odds() -> None:
    """The prior's odds once, times what each laying makes of them."""
    found = together([[0.3], [0.2]], PRIOR)
    assert odds(found) == pytest.approx(odds(0.3) * odds(0.2) / odds(PRIOR))
    assert together([[0.3], [PRIOR]], PRIOR) == pytest.approx(0.3)
    assert together([[1.0], [1.0]], PRIOR) > 0.999
    # A photo that knows no more than the prior says nothing.
    assert together([[0.2], [0.2]], 0.2) == pytest.approx(0.2)


def test_a_photo_under_the_camera_settles_what_a_corner_leaves_open() -> None:
    assert together([[0.3], [0.0]], PRIOR) == 0.0
    assert together([[0.9], [0.0]], PRIOR) == pytest.approx(0.079, abs=0.001)
    assert together([[0.0], [0.0]], PRIOR) == 0.0


def test_little_is_not_told() -> None:
    assert told(0.99 * LEAST_TOLD) == 0.0
    assert told(LEAST_TOLD) == LEAST_TOLD
