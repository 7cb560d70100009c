"""Names without a reference: what pitch over diameter, angle and taper tell by themselves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.match import name_thread, ratios
from pitchcam.match.evidence import rescaled
from pitchcam.match.naming import NAMED, posterior
from pitchcam.match.ratios import ONLY, any_scale, name_by_ratios, ratios_of
from pitchcam.records import ThreadReading
from tests.match.test_naming import q, reading_of
from tests.match.test_reference import read


@pytest.mark.parametrize("factor", [0.6, 1.0, 1.6])
def test_the_distance_that_was_assumed_does_not_matter_much(factor: float) -> None:
    here, there = (name_by_ratios(rescaled(read("M10x1"), k)) for k in (1.0, factor))
    # Where a phone is held weighs them, so that shares move; what is listed stays.
    first = {c.designation for c in here.candidates if c.probability > 0.05}
    assert first & {c.designation for c in there.candidates}
    assert "M10x1" in {c.designation for c in there.candidates}


def test_a_ratio_that_several_sizes_share_names_none_of_them() -> None:
    # M10x1, M15x1.5 and M20x2 have nearly the same pitch over diameter, by construction of ISO 261.
    verdict = name_by_ratios(read("M10x1"))
    assert verdict.status == "ambiguous"
    assert verdict.designation is None
    listed = [c.designation for c in verdict.candidates]
    assert {"M10x1", "M15x1.5", "M20x2"} <= set(listed)


def test_the_next_step_is_one_caliper_reading_with_what_each_would_have() -> None:
    step = name_by_ratios(read("M10x1")).next_step or ""
    assert "caliper" in step
    assert "--major" in step
    # ISO 965-2, 6g and the other classes (from memory): M10x1's crests lie within 9.69 and 10.00.
    assert "M10x1 has 9.69 to 10.00 mm" in step


def test_the_only_one_is_named() -> None:
    # 1/8-27 NPT: no other size has a taper of 1:16 and 27 pitches per 10.29 mm. ASME B1.20.1.
    plain = reading_of("1/8-27 NPT")
    verdict = name_by_ratios(rescaled(plain, 0.9))
    assert verdict.designation == "1/8-27 NPT"
    assert (verdict.probability or 0) > 0.999


@pytest.mark.parametrize(
    ("usual", "alike", "named"),
    [(0.9999, 0.9999, True), (0.9999, 0.99, False), (0.99, 0.9999, False)],
)
def test_a_name_by_ratio_is_sure_with_what_is_common_and_without(
    monkeypatch: pytest.MonkeyPatch, usual: float, alike: float, named: bool
) -> None:
    """A thread is not the only one because it is met often, nor despite that it is not."""
    reading = reading_of("1/8-27 NPT")
    sure = name_by_ratios(reading)
    assert sure.status == "named"
    flat = posterior(reading, priors={}, scales=any_scale().after([reading]).likely())
    flat = replace(flat, probability=np.r_[alike, flat.probability[1:]])
    monkeypatch.setattr(ratios, "name_thread", lambda *_, **__: replace(sure, probability=usual))
    monkeypatch.setattr(ratios, "posterior", lambda *_, **__: flat)
    assert (name_by_ratios(reading).status == "named") == named


@pytest.mark.parametrize("size", ["M52x1.5", "0 BA", "11/16-11 BSW"])
def test_what_would_do_for_a_name_with_a_scale_does_not_without_one(size: str) -> None:
    """Between the limit of a name and ONLY: the truth is listed, the caliper settles it."""
    reading = reading_of(size, share=0.5)
    scaled = name_thread(reading, scales=any_scale().after([reading]).likely())
    assert scaled.designation == size
    assert NAMED <= (scaled.probability or 0.0) < ONLY
    verdict = name_by_ratios(reading)
    assert verdict.status == "ambiguous"
    assert verdict.designation is None and verdict.probability is None
    assert verdict.candidates[0].designation == size
    assert f"{size} has " in (verdict.next_step or "")


def test_a_second_thread_tells_the_scale_of_the_first() -> None:
    alone = name_by_ratios(read("M10x1"))
    beside = name_by_ratios(read("M10x1"), [reading_of("1/8-27 NPT")])

    def share(v):
        return {c.designation: c.probability for c in v.candidates}.get("M10x1", 0.0)

    assert share(beside) > max(0.9, share(alone) + 0.2)


def test_ratios_are_free_of_the_scales_error() -> None:
    # By the law of propagation (JCGM 100, 5.2): what both share cancels.
    plain, wide = read("M10x1", u_scale=1e-9), read("M10x1", u_scale=0.02)
    u_pitch, u_major = (0.02**2 + 0.001**2) ** 0.5, ((0.02 * 9.884) ** 2 + 0.02**2) ** 0.5
    held = {("pitch_mm", "major_mm"): 0.02**2 * 9.884 / (u_pitch * u_major)}
    wide = ThreadReading(pitch_mm=wide.pitch_mm, major_mm=wide.major_mm, correlation=held)
    free = ThreadReading(pitch_mm=plain.pitch_mm, major_mm=plain.major_mm)
    a, b = (ratios_of(r).pitch_over_major for r in (free, wide))
    assert a is not None
    assert b is not None
    assert b.u == pytest.approx(a.u, rel=0.01)
    assert a.value == pytest.approx(1 / 9.884)
    turned = {(b, a): r for (a, b), r in held.items()}
    assert ratios_of(replace(wide, correlation=turned)).pitch_over_major == b
    assert ratios_of(ThreadReading(pitch_mm=q(1.0, 0.01))).pitch_over_major is None


def test_any_scale_holds_the_distances_of_a_phone() -> None:
    scales = any_scale()
    assert scales.weight.sum() == pytest.approx(1.0)
    # 220 mm as usual; 100 and 450 mm are held in.
    assert scales.ratio.min() < 100 / 220
    assert scales.ratio.max() > 450 / 220
    assert any_scale(0.3).ratio.max() > scales.ratio.max()


def test_no_size_has_a_pitch_of_a_third_of_its_diameter() -> None:
    """The coarsest of ISO 261 have a quarter (M1.6x0.35 0.22, M2x0.4 0.2)."""
    odd = replace(read("M10x1"), pitch_mm=q(3.3, 0.004))
    verdict = name_by_ratios(odd)
    assert verdict.status == "off-series" and verdict.designation is None
    assert (verdict.next_step or "").endswith("state it with --major.")


def test_several_starts_are_judged_by_the_series_alone() -> None:
    """A lead of several pitches is in no series, with a scale or without one."""
    two = replace(read("M10x1"), starts=2)
    verdict = name_by_ratios(two)
    assert verdict.status == name_thread(two, scales=any_scale().after([two]).likely()).status
    assert verdict.designation is None
    assert "--major" not in (verdict.next_step or "")
