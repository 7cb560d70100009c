"""Names taken back: of what repeats unevenly, or shows so few pixels that twins look alike."""

from dataclasses import replace

import pytest

from pitchcam.pipeline.left_open import if_a_thread
from pitchcam.records import BudgetLine
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


def spread(thread, field, u, source="edge noise", of_scale=False):
    """Return the thread with a quantity that one line of the budget leaves so far open."""
    told = replace(getattr(thread.reading, field), u=u)
    line = BudgetLine(source=source, contributions={field: u}, of_scale=of_scale)
    return replace(thread, reading=replace(thread.reading, **{field: told}), budget=(line,))


@pytest.mark.parametrize(
    ("field", "u", "named"),
    [
        ("taper", 0.030, True),
        ("taper", 0.033, False),
        ("pitch_mm", 0.028, True),
        ("pitch_mm", 0.032, False),
        ("angle_deg", 19.0, True),
        ("angle_deg", 21.0, False),
    ],
)
def test_what_repeats_unevenly_has_no_name(thread, field, u, named):
    """Crests or flanks off their lines: a gear, a hexagon's noise, a close-wound spring."""
    if field == "pitch_mm":
        u *= thread.reading.pitch_mm.value
    verdict = if_a_thread(spread(thread, field, u)).verdict
    assert (verdict.status == "named") == named
    if not named:
        assert verdict.designation is None and verdict.probability is None
        assert "may be no thread" in verdict.notes[-1] and "winds round" in verdict.next_step


def test_what_lens_and_scale_leave_open_makes_no_thread_uneven(thread):
    """A messenger's copy has no focal length: its taper is open by that, its crests are even."""
    by_lens = spread(thread, "taper", 0.034, source="focal length")
    by_scale = spread(thread, "pitch_mm", 0.04 * thread.reading.pitch_mm.value, of_scale=True)
    assert if_a_thread(by_lens).verdict == if_a_thread(by_scale).verdict == thread.verdict


def test_a_thread_without_a_span_keeps_its_name(thread):
    assert if_a_thread(replace(thread, span_px=None, turns=None)).verdict == thread.verdict
