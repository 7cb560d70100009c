"""The ideal judge's densities are those of the draws that it judges."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from pitchcam.records import Gender
from pitchcam.series import find
from tests.confusion.ideal import log_densities
from tests.confusion.parts import Way, draw_parts, quantities_read, read_parts


@pytest.mark.parametrize("way", ["a", "b"])
@pytest.mark.parametrize(
    ("designation", "gender"),
    [
        ("M14x1.5", "external"),
        ("M14x1.5", "internal"),
        ("M14x1.5 taper", "external"),
        ("1/4-18 NPT", "external"),
        ("1/4-18 NPT", "internal"),
        ("R 1/2", "external"),
        ("Rc 1/2", "internal"),
    ],
)
def test_any_density_over_the_true_one_averages_to_one(
    designation: str, gender: Gender, way: Way
) -> None:
    # For draws x of a density p and any density q with shorter tails, q(x) / p(x) averages to 1.
    size = find(designation)
    rng = np.random.default_rng(3)
    values = read_parts(draw_parts(size, gender, rng, 20000), way, rng)
    p = np.exp(log_densities(values, [size], way, gender)[:, 0])
    read = values[:, quantities_read(way, gender)]
    q = multivariate_normal(read.mean(axis=0), 0.4 * np.cov(read.T)).pdf(read)
    ratio = q / p
    assert ratio.mean() == pytest.approx(1.0, abs=4 * ratio.std() / np.sqrt(len(ratio)))
    assert ratio.std() / np.sqrt(len(ratio)) < 0.02
