"""A wrong reference in a photo: pitch over diameter is free of scale."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.match import name_thread
from pitchcam.match.likelihood import vector
from pitchcam.match.reference import (
    doubt_words,
    open_scale,
    reference_doubt,
    scaled,
    without_name,
)
from pitchcam.records import ThreadReading
from tests.match.test_naming import q, reading_of

BOX = [reading_of(d, low_mm=0.12) for d in ("M14x1.5", "M10x1", "5/8-18 UNF", "G 1/4")]


@pytest.mark.parametrize("ratio", [0.92, 0.97, 1.016, 1.06, 1.2])
def test_a_box_tells_the_true_size_of_its_reference(ratio: float) -> None:
    doubt = reference_doubt([scaled(r, 1 / ratio) for r in BOX])
    assert doubt is not None
    assert abs(doubt.ratio.value - ratio) < 3 * doubt.ratio.u + 0.002
    assert doubt.threads == doubt.of == 4


def test_a_box_with_the_right_reference_is_not_doubted() -> None:
    assert reference_doubt(BOX) is None
    # One thread of no series does not make the reference wrong.
    odd = replace(BOX[0], pitch_mm=q(1.62, 0.003))
    assert reference_doubt([odd, *BOX[1:]]) is None


def test_one_thread_alone_doubts_no_reference() -> None:
    assert reference_doubt([scaled(BOX[0], 1.06)]) is None
    assert reference_doubt([ThreadReading(pitch_mm=q(1.5, 0.003))] * 3) is None


def test_the_name_is_taken_back_and_the_true_size_said() -> None:
    doubt = reference_doubt([scaled(r, 1 / 1.0625) for r in BOX])
    assert doubt is not None
    verdict = without_name(name_thread(BOX[0]), doubt, 8.0)
    assert verdict.status == "ambiguous" and verdict.designation is None
    assert verdict.next_step is not None and "8.5" in verdict.next_step
    assert "8 mm was stated" in doubt_words(doubt, 8.0)


def test_a_single_misfit_says_what_the_ratio_would_be() -> None:
    verdict = name_thread(scaled(reading_of("M14x1.5"), 1.03))
    assert verdict.status != "named"
    assert verdict.next_step is not None and "Check the reference" in verdict.next_step


def test_an_open_scale_leaves_the_ratio_as_sure_as_it_was() -> None:
    # By the law of propagation: the common error cancels in pitch over diameter (JCGM 100, 5.2).
    reading = reading_of("M14x1.5")
    wide = vector(open_scale(reading))
    plain = vector(reading)

    def u_ratio(v: object) -> float:
        value, covariance = v.value[:2], v.covariance[:2, :2]  # type: ignore[attr-defined]
        slope = np.array([1 / value[0], -1 / value[1]])
        return float(np.sqrt(slope @ covariance @ slope))

    assert u_ratio(wide) == pytest.approx(u_ratio(plain), rel=0.02)
    assert np.sqrt(wide.covariance[0, 0]) > 0.1 * wide.value[0]
