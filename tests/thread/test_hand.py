"""The hand of a thread by its flanks' lean, on outlines of helicoids by brute force."""

import math
from dataclasses import fields, replace

import numpy as np
import pytest

from pitchcam import ScaleSpec, identify
from pitchcam.edges.flanks import FlankEdge
from pitchcam.edges.section import Winding, fit_section
from pitchcam.edges.tips import Tip
from pitchcam.thread.hand import Lean, crests_apart, flanks_lean, is_left, may_be_left
from tests.adjustment import bound
from tests.drawn_photo import Stud
from tests.objects.drawing import develop
from tests.thread.helicoid import flanks_of, iso_profile, place, seen_sides, whitworth_profile

LEFT = Winding(hand=-1.0)
#: Half of the thread angle of what is drawn here, about.
HALF_RAD = math.radians(30.0)


SIDES = [(side, flank) for side in (1.0, -1.0) for flank in (1.0, -1.0)]


def lean_of(profile, pitch, lead, noise_px=0.03, off_mm=0.0, rises_px=None, u_px=0.0) -> Lean:
    """Return how flanks lean that are placed to so many pixels.

    ``rises_px`` says how much farther out each flank (SIDES) is taken at its top than at its foot,
    which was thought to be known to ``u_px``.
    """
    _, frame = place(off_mm=off_mm)
    flanks = flanks_of(frame, *seen_sides(profile, pitch, lead, frame.pinhole), pitch)
    # As many points as a photo has: one a pixel, not one of every three hundredth of a pitch.
    flanks = flanks.only(np.arange(len(flanks.side)) % 9 == 0)
    flanks = replace(flanks, height=flanks.height / flanks.height.max())
    at = frame.from_photo(flanks.xy)
    out = np.stack([flanks.flank * math.cos(HALF_RAD), flanks.side * math.sin(HALF_RAD)], axis=1)
    normal = frame.to_photo(np.pad(at + 0.01 * out, ((0, 0), (0, 1)))) - flanks.xy
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    off = np.random.default_rng(2).normal(0, noise_px, flanks.xy.shape)
    edges = tuple(
        FlankEdge(side=side, flank=flank, shift_px=0, u_px=0.05, u_by_height_px=u_px)
        for side, flank in SIDES
    )
    for (side, flank), rise in zip(SIDES, rises_px or [0.0] * 4, strict=True):
        own = (flanks.side == side) & (flanks.flank == flank)
        off[own] += (rise * flanks.height[own])[:, None] * normal[own]
    flanks = replace(flanks, xy=flanks.xy + off)
    return flanks_lean(fit_section(flanks, frame, pitch), flanks, edges, frame)


@pytest.mark.parametrize("profile", [iso_profile, whitworth_profile])
@pytest.mark.parametrize("off_mm", [0.0, 12.0])
def test_either_hand_is_told_from_the_other(profile, off_mm):
    made = profile(2.5, 20.0)
    right, left = (lean_of(made, 2.5, lead, off_mm=off_mm) for lead in (2.5, -2.5))
    assert (right.value, left.value) == (pytest.approx(1, abs=0.15), pytest.approx(-1, abs=0.15))
    assert is_left(left.left, right=0.005, left=0.005)
    assert not may_be_left(right.left)


def test_noise_hides_the_hand_and_turns_it_never():
    made = iso_profile(1.0, 8.0)
    found = [lean_of(made, 1.0, lead, noise_px=0.3).left for lead in (1.0, -1.0)]
    assert not any(is_left(lean, right=0.005, left=0.005) for lean in found)


def test_a_flank_s_edge_that_rises_other_than_its_light_says_turns_no_hand():
    """Flanks of brass rise by more, in turn, than the helix leans: they had made left hands."""
    made, rises = iso_profile(2.0, 20.0), [-0.3, 0.3, 0.3, -0.3]
    sure = lean_of(made, 2.0, 2.0, rises_px=rises)
    known = lean_of(made, 2.0, 2.0, rises_px=rises, u_px=0.3)
    assert is_left(sure.left, right=0.005, left=0.005)
    assert abs(known.value - 1) < 3 * known.u
    assert not is_left(known.left, right=0.005, left=0.005)


def test_a_lean_far_off_its_u_tells_less_than_a_normal_law_would():
    """Of a normal law 2 / u^2 for as sure a lean: no right hand's crests could speak against it."""
    for lean in (Lean(value=-1.0, u=0.38), Lean(value=-1.07, u=0.38)):
        assert 5.0 < lean.left < 9.0 < 2 / lean.u**2
    assert Lean(value=1.0, u=0.38).left == pytest.approx(-Lean(value=-1.0, u=0.38).left)
    # Where little is known both laws say the same.
    assert Lean(value=-0.5, u=3.0).left == pytest.approx(1 / 9, rel=0.15)


def crests_say(lead, off_mm, noise_px=0.0, burr_px=0.0) -> float:
    """Return the log odds of crests about the frame's axis, one side's too far out by a burr."""
    pitch, major = 2.0, 20.0
    _, frame = place(off_mm=off_mm)
    seen = seen_sides(iso_profile(pitch, major), pitch, lead, frame.pinhole)
    flanks = flanks_of(frame, *seen, pitch)
    off = np.random.default_rng(3).normal(0, noise_px, flanks.xy.shape)
    section = fit_section(replace(flanks, xy=flanks.xy + off), frame, pitch)
    radii = {side: major / 2 - side * section.offset_mm for side in (1.0, -1.0)}
    radii[-np.sign(section.covered_mm(frame, -1.0) - section.covered_mm(frame, 1.0))] += (
        burr_px * frame.mm_per_px
    )
    tips = tuple(
        Tip(side=side, radius_mm=r, u_mm=0.004, slope=0.0, count=6, misfit=0.0)
        for side, r in radii.items()
    )
    assert crests_apart(section, tips[:1], frame) == 0.0
    return crests_apart(section, tips, frame)


@pytest.mark.parametrize("noise_px", [0.0, 0.1])
def test_crests_off_the_flanks_axis_tell_the_hand_far_aside(noise_px):
    """25 mm aside flanks are seen out on one side by five pixels more than on the other."""
    assert not may_be_left(crests_say(2.0, 25.0, noise_px))
    assert is_left(crests_say(-2.0, 25.0, noise_px), right=0.005, left=0.005)


def test_a_burr_on_one_side_s_crests_turns_no_hand():
    """Of a right-hand thread 3 mm aside: neither hand makes 2.5 pixels of half a one."""
    told = crests_say(2.0, 3.0, burr_px=2.5)
    assert told > 0.0
    assert not is_left(told, right=0.005, left=0.005)


def test_the_light_tells_only_where_the_lean_leaves_it_open():
    assert not is_left(0.0, right=0.02, left=0.001)
    assert is_left(3.0, right=0.012, left=0.005)
    assert not is_left(3.0, right=0.005, left=0.005)
    assert not is_left(6.0, right=0.005, left=0.012)
    # What the light could turn is asked of it.
    assert may_be_left(3.0)
    assert not may_be_left(0.5)


def test_a_flank_leans_by_what_the_helix_leans_into_the_view():
    """What is left of exact outlines by the wrong hand: as much on both flanks of a side."""
    pitch = 1.5
    _, frame = place()
    sides = seen_sides(iso_profile(pitch, 16.0), pitch, -pitch, frame.pinhole)
    flanks = flanks_of(frame, *sides, pitch)
    own = fit_section(flanks, frame, pitch, LEFT).fit
    other = fit_section(flanks, frame, pitch).fit
    assert other.rms_mm > 100 * own.rms_mm
    assert own.angle_deg == pytest.approx(60.0, abs=0.01)


class LeftHanded(Stud):
    """A stud wound the other way."""

    def radius(self, z, turn):
        return super().radius(z, -turn)


def test_a_black_left_hand_thread_is_told_by_its_outline():
    """Nothing is mirrored, so that no light tells; and it is measured as what it is."""
    right = bound.stud_of(34.0, 8)
    left = LeftHanded(**{f.name: getattr(right, f.name) for f in fields(right)})
    shot = bound.drawn_inputs(right, 3)
    told = []
    for stud in (left, right):
        pixels = develop(bound.light_of(stud, shot), gain=0.0, noise=bound.NOISE, seed=3)
        pin = ScaleSpec(source="pin", mm=bound.PIN_MM)
        told.append(identify(pixels, pin, f35_mm=bound.F35_MM, plots=False))
    assert ["left-hand" in [w.code for w in t.warnings] for t in told] == [True, False]
    one, other = (t.parts[0].threads[0].reading for t in told)
    assert one.pitch_mm.value == pytest.approx(other.pitch_mm.value, rel=5e-4)
    # The wrong hand had made of the lean noise that is three times as large.
    assert one.angle_deg.u < 1.3 * other.angle_deg.u
