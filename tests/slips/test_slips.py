"""The slip table on fewer readings: what must hold whatever is drawn."""

import numpy as np
import pytest

from pitchcam.match.hand_posterior import hand_posterior
from tests.slips.draw import What, careful, leaves, mixed, sizes
from tests.slips.judge import judge
from tests.slips.study import ROWS, common_sizes, run

ROW = {row.title: row for row in ROWS}


@pytest.mark.parametrize(
    "title",
    [
        "tapers, two diameters, large end first",
        "anywhere on the thread, one diameter",
        "the same with a form gauge",
    ],
)
def test_order_and_place_give_no_wrong_name(title: str) -> None:
    count = run(ROW[title], 1200, 11)
    assert count.n >= 1200 and count.wrong <= 0.005 * count.n
    assert count.named > 0.5 * count.n


def test_common_sizes_are_named_by_caliper_leaf_and_form() -> None:
    shares = common_sizes(3, n=20)
    assert len(shares) == 52
    assert sum(share >= 0.5 for share in shares.values()) >= 0.75 * 52
    assert sum(shares.values()) / 52 >= 0.75


def test_the_mix_is_as_true_as_it_says() -> None:
    count = run(ROW["mix with the stated slips, as met"], 1500, 5)
    assert count.judge is not None
    # Under 0.3 percent in the long run; three sure names more than stated are a chance of 1 in 50.
    assert count.wrong <= 9 and count.sure_wrong <= (count.stated or 0) + 4
    assert count.named > 0.55 * count.n


def test_the_judge_agrees_on_careful_readings() -> None:
    size = next(s for s in sizes() if s.designation == "R 1/4")
    read = careful(size, What(two=True, angle=True), np.random.default_rng(2), 40)
    judged = judge(read, np.ones(len(sizes())))
    ours = hand_posterior(read, priors={}).names()
    assert (judged.names == ours).mean() > 0.9
    assert set(judged.names) - {-1} == {sizes().index(size)}


def test_slips_are_drawn_at_their_shares() -> None:
    size = next(s for s in sizes() if s.designation == "M14x1.5")
    (read,) = mixed(size, What(), np.random.default_rng(4), 40_000)
    assert read.pitch_mm is not None
    off = np.isin(read.pitch_mm, leaves(size).beside).mean()
    # leaf-step's own share, and a little of 'any other leaf'; four standard deviations.
    assert off == pytest.approx(0.008, abs=4 * np.sqrt(0.008 / 40_000) + 1e-4)
    assert (read.pitch_mm == leaves(size).right).mean() == pytest.approx(0.98, abs=0.003)
