"""Names taken back where so few pixels show a thread that twins look alike."""

from dataclasses import replace

import pytest

from pitchcam.pipeline.left_open import if_a_thread
from tests.pipeline.test_part_threads import PHOTO, PIN, identify


@pytest.fixture(scope="module")
def thread():
    """A sample's thread, named."""
    return identify(PHOTO, PIN, plots=False).parts[0].threads[0]


@pytest.mark.parametrize(
    ("px", "probability", "named"), [(9.5, 0.985, False), (9.5, 0.995, True), (10.5, 0.96, True)]
)
def test_a_thread_of_few_pixels_a_pitch_needs_a_surer_name(thread, px, probability, named):
    verdict = replace(thread.verdict, probability=probability)
    span = ((0.0, 0.0), (0.6 * 8 * px, 0.8 * 8 * px))
    told = if_a_thread(replace(thread, verdict=verdict, span_px=span, turns=8.0)).verdict
    assert (told.status == "named") == named
    if not named:
        assert told.designation is None and told.candidates == verdict.candidates
        assert "pixels a pitch" in told.notes[-1] and "nearer" in told.next_step


def test_a_thread_without_a_span_keeps_its_name(thread):
    assert if_a_thread(replace(thread, span_px=None, turns=None)).verdict == thread.verdict
