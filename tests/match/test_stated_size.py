"""What a doubted reference leaves of lengths: by draws of sizes it may have, and undone again."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.match.evidence import LENGTHS
from pitchcam.match.reference import SizeBelief, belief_of
from pitchcam.match.scales import Scales
from pitchcam.match.stated_size import NOTE, as_stated, left_doubtful, thread_as_stated, u_of
from pitchcam.records import (
    STATED_SIZE,
    Measurement,
    PartPose,
    Quantity,
    ScaleResult,
    ScaleSpec,
    u_stated,
)
from tests.match.test_naming import reading_of
from tests.match.test_reference import part, read

SPREAD = 0.02


def believed(wrong: float) -> SizeBelief:
    """A pin of 10 mm that may be one of 8, or of any size about 12."""
    ratio = np.array([1.0, 0.8, 1.2])
    weight = np.array([1 - wrong, 0.75 * wrong, 0.25 * wrong])
    return SizeBelief(
        scales=Scales(ratio=ratio, spread=np.array([0.0, 0.0, SPREAD]), weight=weight),
        sizes_mm=(10.0, 8.0, 12.0),
        ratio=0.8,
        share=0.75,
        threads=1,
    )


def photo(*names: str) -> Measurement:
    scale = ScaleResult(
        source="pin",
        mm_per_px=Quantity(value=0.04, u=0.0001),
        camera_height_mm=Quantity(value=250.0, u=3.0),
        stated_mm=10.0,
    )
    (found,) = part(*(read(name) for name in names))
    return Measurement(photo=None, scale=scale, parts=(found,))


@pytest.mark.parametrize("wrong", [0.06, 0.5, 1.0])
def test_lengths_are_as_uncertain_as_the_sizes_lie_apart(wrong: float) -> None:
    """Drawn sizes: how far a length is off that of the stated size, root mean square."""
    belief, rng = believed(wrong), np.random.default_rng(3)
    which = rng.choice(3, 200_000, p=belief.scales.weight)
    drawn = rng.normal(belief.scales.ratio[which], belief.scales.spread[which])
    assert u_of(belief) == pytest.approx(np.sqrt(np.mean((drawn - 1) ** 2)), rel=0.01)


def test_every_size_is_open_by_itself_too() -> None:
    """By hand: 0.2^2 + 0.02^2."""
    scales = replace(believed(1.0).scales, weight=np.array([0.0, 0.0, 1.0]))
    assert u_of(replace(believed(1.0), scales=scales)) == pytest.approx(0.20100, abs=1e-5)


def test_what_hardly_comes_into_question_is_a_tail() -> None:
    assert u_of(believed(0.04)) == 0.0
    assert left_doubtful(photo("M10x1"), u_of(believed(0.04))) == photo("M10x1")


def test_the_axis_is_as_high_as_the_part_that_rests_is_thick() -> None:
    """With half the size it lies half as high: 6 mm is as open as the size, and that only once."""
    before = photo("M10x1")
    pose = PartPose(axis_height_mm=Quantity(value=6.0, u=0.1))
    (own,) = before.parts
    before = replace(
        before, parts=(replace(own, threads=tuple(replace(t, pose=pose) for t in own.threads)),)
    )
    doubtful = left_doubtful(before, 0.2)
    height = doubtful.parts[0].threads[0].pose.axis_height_mm
    assert height is not None
    assert height.value == 6.0
    assert height.u == pytest.approx(np.hypot(0.1, 1.2))
    again = as_stated(doubtful).parts[0].threads[0].pose.axis_height_mm
    assert again is not None
    assert again.u == pytest.approx(0.1)
    # One that was stated hangs on no reference.
    known = left_doubtful(before, 0.2, height_known=True)
    assert known.parts[0].threads[0].pose == pose
    assert as_stated(known).parts[0].threads[0].pose == pose


def test_lengths_beside_a_pin_of_another_size_hold_the_true_ones() -> None:
    """M10x1 beside a pin of 8 mm that was stated as 10: with 0.004 of scale, they were 45 u off."""
    (found,) = part(read("M10x1", 1.25))
    belief = belief_of([found], ScaleSpec(source="pin", mm=10.0), 250.0)
    measured = Measurement(photo=None, scale=None, parts=(found,))
    ((thread,),) = (p.threads for p in left_doubtful(measured, u_of(belief)).parts)
    for name, true in (("pitch_mm", 1.0), ("major_mm", 9.884), ("pitch_diameter_mm", 9.265)):
        q = getattr(thread.reading, name)
        assert abs(q.value - true) < 2 * q.u
        assert abs(q.value - true) > 30 * getattr(found.threads[0].reading, name).u
    assert thread.reading.angle_deg == found.threads[0].reading.angle_deg


def test_a_line_of_the_budget_says_it_of_all_lengths_alike() -> None:
    before = photo("M10x1")
    after = left_doubtful(before, 0.1)
    (was,), (thread,) = before.parts[0].threads, after.parts[0].threads
    line = thread.budget[-1]
    assert line.source == STATED_SIZE and line.of_scale and line.correlated
    for name in LENGTHS:
        q = getattr(was.reading, name)
        if q is None:
            assert name not in line.contributions
            continue
        assert line.contributions[name] == pytest.approx(0.1 * q.value)
        assert getattr(thread.reading, name).u == pytest.approx(np.hypot(q.u, 0.1 * q.value))
    assert thread.reading.correlation["pitch_mm", "major_mm"] > 0.99
    assert u_stated(thread) == pytest.approx(0.1)
    assert thread.verdict.notes[-1] == NOTE
    assert after.scale.mm_per_px.u == pytest.approx(np.hypot(0.0001, 0.004))
    assert after.scale.camera_height_mm.u == pytest.approx(np.hypot(3.0, 25.0))


def test_without_the_doubt_a_measurement_is_as_it_was() -> None:
    """Also after it was written and read; twice doubted, it is undone in one."""
    taper = replace(
        reading_of("1/4-18 NPT", low_mm=0.0), diameter_station_mm=Quantity(value=9.0, u=0.4)
    )
    (of_taper,) = part(taper)
    before = replace(photo("M10x1", "M14x1.5"), parts=(*photo("M10x1").parts, of_taper))
    once = left_doubtful(before, 0.2)
    station = once.parts[1].threads[0].reading.diameter_station_mm
    assert station.u == pytest.approx(np.hypot(0.4, 1.8))
    kept = Measurement.from_json(once.to_json())
    for undone in (as_stated(kept), as_stated(left_doubtful(once, 0.15))):
        for was, now in zip(before.parts, undone.parts, strict=True):
            same(was.threads[0], now.threads[0])
        assert undone.scale.mm_per_px.u == pytest.approx(0.0001, rel=1e-6)
        assert undone.scale.camera_height_mm.u == pytest.approx(3.0, rel=1e-6)
    assert as_stated(before) == before
    assert thread_as_stated(before.parts[0].threads[0]) == before.parts[0].threads[0]


def same(was, now) -> None:
    assert (now.budget, now.verdict) == (was.budget, was.verdict)
    a, b = was.reading, now.reading
    for name in (*LENGTHS, "angle_deg", "taper", "diameter_station_mm"):
        q, r = getattr(a, name), getattr(b, name)
        assert (q is None) == (r is None)
        if q is not None:
            assert (r.value, r.u) == (q.value, pytest.approx(q.u, rel=1e-6))
    for pair, r in b.correlation.items():
        assert r == pytest.approx(a.correlation.get(pair, 0.0), abs=1e-6)


def test_a_thread_without_lengths_has_nothing_to_doubt() -> None:
    bare = photo("M10x1")
    (thread,) = bare.parts[0].threads
    no_pitch = replace(thread, reading=replace(thread.reading, pitch_mm=None))
    bare = replace(bare, scale=None, parts=(replace(bare.parts[0], threads=(no_pitch,)),))
    assert left_doubtful(bare, 0.2) == bare
    assert u_stated(no_pitch) == 0.0
