"""Thread forms against geometry, and what two threads share and lack, by construction."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from pitchcam.errors import InputError
from pitchcam.joining.mating.crossthread import CrossThread, cross_thread
from pitchcam.joining.mating.ends import parse_end, profile_of
from pitchcam.joining.mating.geometry import FORMS, MatingProfile
from pitchcam.joining.mating.mate import failure_text, size_key
from pitchcam.series import load_series


@pytest.mark.parametrize("form", ["round55", "round47.5", "round60", "round80"])
def test_a_rounded_crest_is_the_circle_between_its_flanks(form: str) -> None:
    """Half of what a sharp triangle loses lies over a circle that touches both flanks.

    BS 84 (0.137329 P at 55 degrees), BS 93 (0.180835 P), BS 811 (P/6) and DIN 40430 (0.107 P),
    from memory, are all of this kind.
    """
    shape = FORMS[form]
    half = math.radians(shape.angle_deg / 2)
    sharp = 1 / (2 * math.tan(half))
    lost = (sharp - shape.depth) / 2
    assert shape.radius == pytest.approx(lost / (1 / math.sin(half) - 1), rel=2.5e-3)
    assert shape.crest == pytest.approx(shape.depth / 2, abs=1e-6)


def test_flat_crests_have_the_standards_share_of_the_triangle() -> None:
    # ISO 68-1: H/8 off the crest, H/4 off the root. ASME B1.20.1: 0.8 P at the most, evenly.
    sharp = math.sqrt(3) / 2
    metric, pipe = FORMS["flat60"], FORMS["pipe60"]
    assert metric.depth == pytest.approx(5 / 8 * sharp, abs=1e-6)
    assert metric.crest == pytest.approx((1 / 2 - 1 / 8) * sharp, abs=1e-6)
    assert (pipe.depth, pipe.crest) == (0.8, 0.4)
    assert metric.radius == pipe.radius == 0.0


@pytest.mark.parametrize(
    ("family", "form"),
    [
        ("M", "flat60"),
        ("UNC", "flat60"),
        ("G", "round55"),
        ("BSW", "round55"),
        ("BSF", "round55"),
        ("BA", "round47.5"),
        ("BSC", "round60"),
        ("Pg", "round80"),
    ],
)
def test_a_form_has_the_depth_of_its_catalogue(family: str, form: str) -> None:
    """The series' basic diameters come of their own tables."""
    sizes = [s for s in load_series() if s.family == family and s.external]
    assert sizes
    for size in sizes:
        profile = profile_of(parse_end(size.designation, "external"))
        assert profile.form == form
        p, depth, crest = size.pitch_mm, FORMS[form].depth, FORMS[form].crest
        # Standards round diameters to 0.01 mm (Pg: to 0.02).
        assert size.basic_major_mm - size.basic_minor_mm == pytest.approx(2 * depth * p, abs=0.04)
        assert size.basic_major_mm - size.basic_pitch_diameter_mm == pytest.approx(
            2 * crest * p, abs=0.03
        )


def definite(gender: str, pitch: float, middle: float, form: str = "flat60") -> MatingProfile:
    """A thread of one form without tolerance, about a pitch diameter."""
    shape = FORMS[form]
    top = middle + 2 * shape.crest * pitch
    bottom = top - 2 * shape.depth * pitch
    return MatingProfile(
        designation="made",
        gender=gender,
        form=form,
        pitch_mm=pitch,
        major_mm=(top, top),
        pitch_diameter_mm=(middle, middle),
        minor_mm=(bottom, bottom),
        length_mm=12.0,
    )


@pytest.mark.parametrize("off_mm", [0.06, 0.2])
def test_flanks_overlap_by_what_the_pitch_diameters_lack(off_mm: float) -> None:
    """A ridge so much too thick: on either flank half the difference times tan 30."""
    pair = cross_thread(definite("external", 1.5, 13.0 + off_mm), definite("internal", 1.5, 13.0))
    # Its root is too thick for the groove's crest by as much, which presses each flank again.
    each = off_mm / 2 * math.tan(math.radians(30))
    assert pair.interference_mm == pytest.approx((2 * each, 2 * each), rel=1e-6)
    assert pair.free_turns == (0.0, 0.0) and pair.kind == "does-not-start"
    assert pair.drift_mm_per_turn == pair.angle_difference_deg == 0.0


def test_turns_and_depth_are_counted_in_the_females() -> None:
    """0.9 mm into 1.0 mm, large enough to go home: 12 mm are 12 turns of the female."""
    male, female = definite("external", 0.9, 13.0), definite("internal", 1.0, 13.4)
    pair = cross_thread(male, female)
    assert pair.wanted_turns == pytest.approx(12.0)
    shared = (male.major_mm[0] - female.minor_mm[0]) / 2
    assert pair.overlap[1] == pytest.approx(shared / (FORMS["flat60"].depth * 1.0))
    # Room of a pair of flanks over what the pitches drift in a turn of the female.
    wide = 2 * ((1.0 - 0.9) / 4 + 0.4 / 2 * math.tan(math.radians(30)))
    assert pair.free_turns[1] == pytest.approx(wide / 0.1, rel=0.01)


@pytest.mark.parametrize(("male", "female"), [("BA", 47.5), ("BSW", 55.0), ("Pg", 80.0)])
def test_angles_differ_by_the_whole_included_angle(male: str, female: float) -> None:
    size = next(s for s in load_series() if s.family == male and s.external)
    own = profile_of(parse_end(size.designation, "external"))
    pair = cross_thread(own, definite("internal", own.pitch_mm, own.pitch_diameter_mm[1]))
    assert pair.angle_difference_deg == pytest.approx(abs(60.0 - female))


def test_without_a_length_eight_tenths_of_the_largest_diameter_engage() -> None:
    wide = MatingProfile(
        designation="made",
        gender="external",
        form="flat60",
        pitch_mm=1.5,
        major_mm=(13.0, 14.0),
        pitch_diameter_mm=(12.9, 13.0),
        minor_mm=(12.0, 12.1),
    )
    assert wide.engagement_mm == pytest.approx(0.8 * 14.0)
    assert (wide.half_angle_deg, wide.depth_mm) == (30.0, pytest.approx(0.541266 * 1.5))


@pytest.mark.parametrize(
    "same",
    [
        # ISO 7-1 and ISO 228-1 have one column of sizes; ASME B1.20.1 and B1.20.3 another.
        ("R 1/2", "Rc 1/2", "Rp 1/2", "G 1/2"),
        ("1/2-14 NPT", "1/2-14 NPTF", "1/2-14 NPSM"),
        # DIN 158-1: the taper male goes into the parallel thread of its size.
        ("M14x1.5", "M14x1.5 taper"),
    ],
)
def test_families_that_share_their_sizes(same: tuple[str, ...]) -> None:
    keys = {size_key(name) for name in same}
    assert len(keys) == 1
    # Another pitch is another size, and so is another column's.
    assert keys.isdisjoint({size_key(n) for n in ("R 3/8", "3/8-18 NPT", "M14x1.25", "M14x2")})


FITS = CrossThread(
    kind="fits",
    free_turns=(0.2, 9.0),
    wanted_turns=5.0,
    overlap=(0.6, 0.8),
    shear_share=(0.7, 0.9),
    drift_mm_per_turn=0.0,
    angle_difference_deg=5.0,
    interference_mm=(0.0, 0.1),
)


@pytest.mark.parametrize(
    ("least", "said"),
    [
        (0.2, "It screws home by hand (a tight pair does not start) and feels right"),
        (2.0, "It screws home by hand (a tight pair binds after 2.0 turns) and feels right"),
        (6.0, "It screws home by hand and feels right"),
    ],
)
def test_how_the_tightest_pair_goes_is_told(least: float, said: str) -> None:
    text = failure_text(replace(FITS, free_turns=(least, 9.0)))
    assert text.startswith(said) and "70 to 90 % of a right pair's strength" in text
    assert "The flank angles differ by 5 degrees" in text


@pytest.mark.parametrize(
    ("most", "said"), [(1.2, "It starts, 0.1 to 1.2 turns by hand"), (3.0, "It turns 0.1 to 3.0")]
)
def test_under_a_turn_and_a_half_a_thread_starts(most: float, said: str) -> None:
    binds = replace(FITS, kind="binds", free_turns=(0.1, most))
    assert failure_text(binds).startswith(said)
    assert "of the 5.0 wanted, then binds" in failure_text(binds)


@pytest.mark.parametrize("bore", ["1", "19", "100", "150"])
def test_hoses_reach_from_one_to_150_mm(bore: str) -> None:
    assert parse_end(f"hose {bore}", "internal").designation == f"hose {bore}"


@pytest.mark.parametrize("bore", ["0.9", "151"])
def test_beyond_that_it_is_no_hose(bore: str) -> None:
    with pytest.raises(InputError, match="none that a fitter uses"):
        parse_end(f"hose {bore}", "internal")


@pytest.mark.parametrize(
    ("inch", "mm"),
    # ISO 1307 table 1, nominal bores by inches and mm (from memory).
    [
        ("1/4", 6.3),
        ("5/16", 8.0),
        ("3/8", 10.0),
        ("1/2", 12.5),
        ("5/8", 16.0),
        ("3/4", 19.0),
        ("1", 25.0),
        ("1-1/4", 31.5),
        ("1-1/2", 38.0),
        ("2", 51.0),
    ],
)
def test_a_hose_typed_in_inches_is_that_of_its_size(inch: str, mm: float) -> None:
    assert parse_end(f"hose {inch}in", "external").designation == f"hose {mm:g}"
