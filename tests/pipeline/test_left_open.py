"""Names taken back: of what repeats unevenly, or shows so few pixels that twins look alike."""

from dataclasses import replace

import pytest

from pitchcam.pipeline.left_open import if_a_thread
from pitchcam.records import BudgetLine, Candidate, Quantity
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


def test_what_others_told_of_a_scale_makes_a_thread_no_less_even(thread):
    """It is in the reading's u and in no line of the budget."""
    told = spread(thread, "taper", 0.034)
    told = replace(told, reading=replace(told.reading, taper=replace(told.reading.taper, u=0.03)))
    assert if_a_thread(told).verdict == thread.verdict


def test_a_thread_without_a_span_keeps_its_name(thread):
    assert if_a_thread(replace(thread, span_px=None, turns=None)).verdict == thread.verdict


def named_r(thread, forms=None, angle=(55.2, 0.6), px=30.0, rival="1/2-14 NPT"):
    """The thread named R 1/2, with a rival's 0.3 percent."""
    rivals = (("R 1/2", "ISO 7-1", 0.997), (rival, "ASME B1.20.1", 0.003))
    listed = tuple(Candidate(designation=d, standard=s, probability=p) for d, s, p in rivals)
    verdict = replace(
        thread.verdict,
        designation="R 1/2",
        standard="ISO 7-1",
        probability=0.997,
        candidates=listed,
    )
    reading = replace(
        thread.reading, angle_deg=Quantity(value=angle[0], u=angle[1]), forms=forms or {}
    )
    span = ((0.0, 0.0), (8 * px, 0.0))
    return replace(thread, verdict=verdict, reading=reading, span_px=span, turns=8.0)


@pytest.mark.parametrize("likest, named", [("pipe60", False), ("round55", True)])
def test_no_name_stands_against_its_own_outline(thread, likest, named):
    """55 and 60 degrees by ISO 7-1 and ASME B1.20.1, however sure the lengths are."""
    forms = {"pipe60": -1.5, "round55": -1.5} | {likest: 0.0}
    told = if_a_thread(named_r(thread, forms)).verdict
    assert (told.status == "named") == named
    if not named:
        assert [c.designation for c in told.candidates] == ["R 1/2", "1/2-14 NPT"]
        assert "most like that of a thread of 60 degrees, and R 1/2 has 55" in told.notes[-1]
        assert "R 1/2" in told.next_step and "1/2-14 NPT" in told.next_step


def test_an_outline_that_no_candidate_has_undoes_nothing(thread):
    told = named_r(thread, {"pipe60": 0.0, "round55": -1.5}, rival="G 1/2")
    assert if_a_thread(told).verdict == told.verdict


@pytest.mark.parametrize(
    ("px", "angle", "named"),
    [(7.9, (56.3, 3.4), False), (7.9, (55.2, 1.5), True), (12.0, (56.3, 3.4), True)],
)
def test_few_pixels_leave_a_twin_of_another_angle_open(thread, px, angle, named):
    told = if_a_thread(named_r(thread, angle=angle, px=px)).verdict
    assert (told.status == "named") == named
    if not named:
        assert "leaves 60 degrees open, those of 1/2-14 NPT" in told.notes[-1]
        assert "form gauge" in told.next_step and "nearer" in told.next_step


def test_a_thread_without_an_angle_or_a_name_is_left_as_it_is(thread):
    few = named_r(thread, px=7.9)
    no_angle = replace(few, reading=replace(few.reading, angle_deg=None))
    assert if_a_thread(no_angle).verdict == no_angle.verdict
    open_ = replace(few, verdict=replace(few.verdict, designation=None, status="ambiguous"))
    assert if_a_thread(open_).verdict.status == "ambiguous"
