"""Threads of one picture and photos of one part: what is told, how sure it makes, and which way."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitchcam.adjust.combine import combine
from pitchcam.adjust.copies import copied, copies
from pitchcam.adjust.next_photo import choices, separation
from pitchcam.adjust.observed import TAPER, observe
from pitchcam.adjust.picture import Placed, adjusted, rescaled, seen_of, strains
from pitchcam.adjust.system import adjust
from pitchcam.adjust.told import Telling, thread_tells
from pitchcam.adjust.whole import Seen, told_by_all, told_by_others
from pitchcam.match.population import population
from pitchcam.records import NAMING_QUANTITIES
from pitchcam.series import find
from tests.adjust import made

LENGTHS = made.LENGTHS


def normal(mean: float, u: float, floor: float = 0.0, weight: float = 1.0) -> Telling:
    return Telling(weight=np.array([weight]), mean=np.array([mean]), u=np.array([u]), floor=floor)


def seen(tells: Telling | None, **shares: float) -> Seen:
    return Seen(shares=shares, tells=tells)


# One picture: inputs and what is told of them.


def test_the_scales_u_is_the_root_of_its_inputs_squares() -> None:
    assert seen(None, reference=0.003, focal=0.004).u_scale == pytest.approx(0.005)
    assert seen(None).u_scale == 0.0


@settings(max_examples=40)
@given(mean=st.floats(-0.02, 0.02), u=st.floats(1e-4, 0.01), share=st.floats(1e-3, 0.01))
def test_one_that_tells_is_weighed_against_what_was_known(
    mean: float, u: float, share: float
) -> None:
    told = told_by_others([seen(None, reference=share), seen(normal(mean, u), reference=share)], 0)
    weight = share**2 / (share**2 + u**2)
    assert told.shift == pytest.approx(weight * mean, abs=1e-12)
    assert told.u == pytest.approx(share * math.sqrt(1 - weight), rel=1e-6)
    assert told.inputs["reference"] == pytest.approx(told.shift / share)


def test_who_hangs_on_other_inputs_tells_nothing() -> None:
    told = told_by_others([seen(None, a=0.004), seen(normal(0.01, 1e-4), b=0.004)], 0)
    assert (told.shift, told.u) == (0.0, pytest.approx(0.004))


def test_an_input_of_the_other_sign_tells_the_other_way() -> None:
    """A tilt makes longer to one side of the reference and shorter to the other."""
    speaker = seen(normal(0.006, 1e-5), tilt=0.005)
    same, other = (told_by_others([seen(None, tilt=a), speaker], 0) for a in (0.004, -0.004))
    assert same.shift == pytest.approx(0.0048, rel=1e-3)
    assert other.shift == pytest.approx(-same.shift)


def test_the_order_of_objects_does_not_matter() -> None:
    objects = [
        seen(normal(0.004, 0.001), reference=0.003, tilt=0.002),
        seen(normal(-0.002, 0.002), reference=0.003, tilt=-0.001),
        seen(normal(0.001, 0.001), reference=0.003, height=0.004),
    ]
    one, other = told_by_all(objects), told_by_all(objects[::-1])
    assert one.inputs == pytest.approx(other.inputs)


def test_more_speakers_never_make_it_less_sure() -> None:
    objects = [seen(None, reference=0.005)]
    before = told_by_others(objects, 0).u
    for i in range(4):
        objects.append(seen(normal(0.001 * (-1) ** i, 0.003), reference=0.005))
        now = told_by_others(objects, 0).u
        assert now < before
        before = now


def test_an_explanation_counts_by_its_weight() -> None:
    two = Telling(
        weight=np.array([0.8, 0.2]),
        mean=np.array([-0.004, 0.004]),
        u=np.array([1e-5, 1e-5]),
        floor=0.0,
    )
    told = told_by_others([seen(None, reference=0.01), seen(two, reference=0.01)], 0)
    assert told.shift == pytest.approx(-0.8 * 0.004 + 0.2 * 0.004, rel=1e-3)
    assert told.u == pytest.approx(2 * 0.004 * math.sqrt(0.8 * 0.2), rel=1e-2)


def test_one_of_no_size_is_silent_only_where_none_is_likelier() -> None:
    far, near = (seen(normal(m, 1e-3, floor=2.0), reference=0.003) for m in (0.04, 0.001))
    assert told_by_others([seen(None, reference=0.003), far], 0).silent == (1,)
    assert told_by_others([seen(None, reference=0.003), near], 0).silent == ()


# One picture: threads with budgets.


def placed(
    factor: float = 1.0, truth: dict | None = None, name: str = "part 1", **shares: float
) -> Placed:
    """A thread whose lengths were read so many times too long."""
    values = made.true_values(truth) * np.where(
        [k in LENGTHS for k in NAMING_QUANTITIES], factor, 1.0
    )
    m = made.measurement(values, made.lines(truth), named=True)
    return Placed(thread=m.parts[0].threads[0], called=name, shares=shares or {"reference": 0.004})


def test_a_thread_tells_how_much_its_lengths_are_off() -> None:
    """M14x1.5 read 0.5 % too long: its true lengths are shorter by that."""
    for factor in (1.0, 1.005, 0.996):
        p = placed(factor)
        tells = thread_tells(p.thread.reading, p.thread.budget, 1, 0.004)
        assert tells is not None
        best = int(np.argmax(tells.weight / tells.u))
        assert tells.mean[best] == pytest.approx(-math.log(factor), abs=0.0012)


def test_what_has_no_pitch_two_starts_or_a_known_scale_tells_nothing() -> None:
    p = placed()
    reading, budget = p.thread.reading, p.thread.budget
    assert thread_tells(replace(reading, pitch_mm=None), budget, 1, 0.004) is None
    assert thread_tells(replace(reading, starts=2), budget, 1, 0.004) is None
    assert thread_tells(reading, budget, 1, 0.0) is None


def test_a_thread_alone_in_its_picture_is_as_it_was() -> None:
    p = placed()
    ((thread, factor, left),) = adjusted([p])
    assert thread is p.thread and (factor, left) == (1.0, 1.0)
    assert strains(seen_of([p])) == {}


def test_threads_of_one_reference_mend_each_other() -> None:
    """Both read 0.6 % too long: each is told by the other, and says who spoke."""
    both = [placed(1.006), placed(1.006, name="part 2")]
    for thread, factor, left in adjusted(both):
        assert factor == pytest.approx(1 / 1.006, abs=0.0025)
        assert left < 0.75
        assert thread.reading.pitch_mm.value == pytest.approx(1.5, abs=0.004)
        assert any("The scale is told by part" in note for note in thread.verdict.notes)


def test_a_rescaled_thread_has_all_lengths_and_terms_by_one_factor() -> None:
    p = placed()
    after = rescaled(p.thread, 0.99, 0.5)
    for k in NAMING_QUANTITIES:
        by = 0.99 if k in LENGTHS else 1.0
        assert getattr(after.reading, k).value == pytest.approx(
            by * getattr(p.thread.reading, k).value
        )
    for one, other in zip(p.thread.budget, after.budget, strict=True):
        share = 0.99 * (0.5 if one.of_scale else 1.0)
        for k, c in one.contributions.items():
            assert other.contributions[k] == pytest.approx(c * (share if k in LENGTHS else 1.0))


def test_a_scale_known_whole_leaves_a_thread_its_own_u() -> None:
    p = placed()
    own = rescaled(p.thread, 1.0, 0.0).reading
    lines = [x for x in p.thread.budget if not x.of_scale]
    expected = math.sqrt(sum(x.contributions["pitch_mm"] ** 2 for x in lines))
    assert own.pitch_mm.u == pytest.approx(expected, rel=1e-3)
    assert own.angle_deg.u == p.thread.reading.angle_deg.u


def test_an_input_that_all_contradict_is_strained() -> None:
    """A pin of another size: both threads would be 2 % longer, five times its u."""
    both = [placed(0.98, reference=0.004), placed(0.98, made.M14, "part 2", reference=0.004)]
    objects = [replace(o, tells=normal(0.02, 0.001)) for o in seen_of(both)]
    found = strains(objects)
    assert set(found) == {"reference"}
    assert found["reference"] == pytest.approx(0.02 / 0.004, rel=0.1)
    assert strains([replace(o, tells=normal(0.004, 0.001)) for o in objects]) == {}


# Several photos.


def photos(count: int, **how) -> list:
    return [
        made.measurement(made.true_values(), made.lines(), i, turned=bool(i % 2), **how)
        for i in range(count)
    ]


def test_one_photo_by_itself_is_unchanged() -> None:
    (m,) = photos(1)
    told = combine([m]).parts[0].threads[0].reading
    read = m.parts[0].threads[0].reading
    for k in NAMING_QUANTITIES:
        assert getattr(told, k).value == pytest.approx(getattr(read, k).value, abs=1e-9)
        assert getattr(told, k).u == pytest.approx(getattr(read, k).u, rel=1e-3)


@pytest.mark.parametrize("count", [2, 4])
def test_more_photos_are_surer_of_every_quantity(count: int) -> None:
    one, many = (combine(photos(n)).parts[0].threads[0].reading for n in (1, count))
    for k in NAMING_QUANTITIES:
        assert getattr(many, k).u < getattr(one, k).u


def test_photos_in_any_order_give_one_answer() -> None:
    many = photos(3)
    one, other = (combine(x).parts[0].threads[0].reading for x in (many, many[::-1]))
    for k in NAMING_QUANTITIES:
        assert getattr(other, k).value == pytest.approx(getattr(one, k).value, abs=1e-9)
        assert getattr(other, k).u == pytest.approx(getattr(one, k).u, rel=1e-6)


@pytest.mark.parametrize("turned", [True, False])
def test_a_copy_lies_where_its_original_does_turned(turned: bool) -> None:
    m = made.measurement(made.true_values(), made.lines(), 0)
    part, thread = m.parts[0], m.parts[0].threads[0]
    w, h = m.photo.width_px, m.photo.height_px
    span = tuple((w - 1 - x, h - 1 - y) for x, y in thread.span_px) if turned else thread.span_px
    there = replace(part, threads=(replace(thread, span_px=span),))
    other = replace(m, parts=(there,), photo=replace(m.photo, sha256="b"))
    assert copied(other, m) is turned, "an unturned one may be another exposure"
    assert copies([m, other, None]) == ({1: 0} if turned else {})


@pytest.mark.parametrize("off", [1.0, 2.5])
def test_no_hand_lays_a_part_so_that_it_agrees_to_a_pixel(off: float) -> None:
    m = made.measurement(made.true_values(), made.lines(), 0)
    part, thread = m.parts[0], m.parts[0].threads[0]
    w, h = m.photo.width_px, m.photo.height_px
    span = tuple((w - 1 - x + off, h - 1 - y) for x, y in thread.span_px)
    there = replace(part, threads=(replace(thread, span_px=span),))
    other = replace(m, parts=(there,), photo=replace(m.photo, sha256="b"))
    assert copied(other, m) is (off < 1.5)
    stated = replace(other, scale=replace(m.scale, stated_mm=6.0))
    assert not copied(stated, m), "another reference stated tells something new"


# The next photo.


def first():
    m = made.measurement(made.true_values(), made.lines(), 0)
    high = replace(m.scale.camera_height_mm, value=300.0)
    m = replace(m, scale=replace(m.scale, camera_height_mm=high))
    return m, observe(m, 0, m.parts[0], m.parts[0].threads[0])


def test_choices_turn_the_part_and_a_taper_with_it() -> None:
    m, one = first()
    offered = choices(m, one)
    assert any("turned end for end" in c.words for c in offered)
    for c in offered:
        after = c.seen(one)
        assert after.values[:5] == pytest.approx(one.values[:5])
        assert np.isfinite(after.covariance()).all()


def test_a_card_takes_the_place_of_the_pins_own_scale() -> None:
    m, one = first()
    (card,) = [c for c in choices(m, one) if "bank card" in c.words]
    after = card.seen(one)
    scale = [t for t in after.terms if t.source == "scale of the reference"]
    assert len(scale) == 1 and scale[0].key == "any card"
    assert scale[0].shares[0] == pytest.approx(0.0016 * 1.5)
    assert scale[0].shares[TAPER] == scale[0].shares[4] == 0.0


def test_nearer_has_less_noise_and_more_of_what_goes_by_the_way() -> None:
    m, one = first()
    (near,) = [c for c in choices(m, one) if " from " in c.words]
    assert near.words == "turned end for end and from 210 mm"
    after = {t.source: t for t in near.seen(one).terms if t.source != "scale of the reference"}
    before = {t.source: t for t in one.terms if t.source != "scale of the reference"}
    assert after["edge noise"].shares[:4] == pytest.approx(before["edge noise"].shares[:4] / 1.4)
    assert after["focal length"].shares[:4] == pytest.approx(
        before["focal length"].shares[:4] * 1.4
    )
    assert after["form of the model"].shares == pytest.approx(before["form of the model"].shares)


def test_two_sizes_lie_apart_by_what_is_known_of_both() -> None:
    _, one = first()
    parts = population(one.thread.reading.gender)
    rows = [parts.sizes.index(find(n)) for n in ("M14x1.5", "M14x1")]
    far = separation(adjust([one]), parts, rows)
    twins = [parts.sizes.index(find(n)) for n in ("M14x1.5", "M14x1.5")]
    assert separation(adjust([one]), parts, twins) == 0.0
    assert separation(adjust([one]), parts, rows[::-1]) == pytest.approx(far)
    vague = replace(one, terms=tuple(replace(t, shares=5 * t.shares) for t in one.terms))
    assert separation(adjust([vague]), parts, rows) < far
