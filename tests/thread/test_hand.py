"""The hand of a thread by its flanks' lean, on outlines of helicoids by brute force."""

from dataclasses import fields, replace

import numpy as np
import pytest

from pitchcam import ScaleSpec, identify
from pitchcam.edges.section import Winding, fit_section
from pitchcam.thread.measure import LEANS, _leans_left
from tests.adjustment import bound
from tests.drawn_photo import Stud
from tests.objects.drawing import develop
from tests.thread.helicoid import flanks_of, iso_profile, place, seen_sides, whitworth_profile

LEFT = Winding(hand=-1.0)


def leans(profile, pitch, lead, noise_px=0.03, off_mm=0.0):
    """Return the log odds for a left hand, its flanks placed to so many pixels."""
    _, frame = place(off_mm=off_mm)
    flanks = flanks_of(frame, *seen_sides(profile, pitch, lead, frame.pinhole), pitch)
    # As many points as a photo has: one a pixel, not one of every three hundredth of a pitch.
    flanks = flanks.only(np.arange(len(flanks.side)) % 9 == 0)
    off = np.random.default_rng(2).normal(0, noise_px, flanks.xy.shape)
    flanks = replace(flanks, xy=flanks.xy + off)
    section = fit_section(flanks, frame, pitch)
    return _leans_left(section, flanks, frame, LEFT)


@pytest.mark.parametrize("profile", [iso_profile, whitworth_profile])
@pytest.mark.parametrize("off_mm", [0.0, 12.0])
def test_either_hand_is_told_from_the_other(profile, off_mm):
    made = profile(2.5, 20.0)
    right, left = (leans(made, 2.5, lead, off_mm=off_mm) for lead in (2.5, -2.5))
    assert left > LEANS
    assert right < -LEANS


def test_noise_hides_the_hand_and_turns_it_never():
    made = iso_profile(1.0, 8.0)
    found = [leans(made, 1.0, lead, noise_px=0.3) for lead in (1.0, -1.0)]
    assert max(np.abs(found)) < LEANS


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
