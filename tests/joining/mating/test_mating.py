"""Mating rules against the standards' scopes, and the computed turns against geometry."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from screw_thread_lib import Assembly
from shapely import affinity
from shapely.geometry import Polygon

from pitchcam.cli.mate import command
from pitchcam.errors import PitchcamError, UsageError
from pitchcam.joining.mating.crossthread import _free_length, _straight_play, cross_thread, stations
from pitchcam.joining.mating.ends import families, opposite, parse_end, profile_of
from pitchcam.joining.mating.geometry import MatingProfile, made_thread
from pitchcam.joining.mating.mate import mate, rule_for
from pitchcam.joining.mating.matrix import family_matrix, matrix_text, traps
from pitchcam.joining.mating.rounded import groove_half_width, half_plays
from pitchcam.joining.mating.shear import basic_profile, half_width_mm, shear_areas
from pitchcam.joining.mating.text import mating_text
from pitchcam.joining.tables import keyed, read_table
from pitchcam.series import find, load_series


def pair(male, female):
    return mate(parse_end(male, "external"), parse_end(female, "internal"))


def crossed(male, female):
    return cross_thread(
        profile_of(parse_end(male, "external")), profile_of(parse_end(female, "internal"))
    )


def test_every_pair_of_families_has_a_rule_with_its_source():
    matrix = family_matrix()
    assert len(matrix.external) >= 15 and len(matrix.internal) >= 15
    for rule in matrix.rules:
        assert rule.source and rule.checked and rule.text.endswith(".")
        assert rule.answer in ("yes", "by-agreement", "wrong", "no")
        assert (rule.seal in keyed("seals")) == (rule.answer in ("yes", "by-agreement"))
    used = {i for row in matrix.cells for i in row}
    assert len(used) == len(read_table("mating")), "a rule no pair reaches"
    for number in range(1, len(matrix.rules) + 1):
        assert f"\n{number:>2}. " in matrix_text(matrix)


def test_rules_name_known_families_only():
    names = {key for key, _ in families()} | {"*"}
    for row in read_table("mating"):
        assert set(row["external"].split()) | set(row["internal"].split()) <= names


# ISO 7-1 (scope): R mates with Rc and Rp and seals on the thread. ISO 228-1 (scope): G is not for
# pressure-tight joints on the thread. ASME B1.20.1 (1.4): NPT seals on its flanks with sealant.
# SAE J1926/ISO 11926 and ISO 6149: O-ring ports; ISO 8434-2: 37 degree cone. DIN 158-1: the taper
# male goes into a parallel female. Common practice for the rest.
@pytest.mark.parametrize(
    ("male", "female", "answer", "seal"),
    [
        ("R 1/4", "Rc 1/4", "yes", "taper-sealant"),
        ("R 1/4", "Rp 1/4", "yes", "taper-sealant"),
        ("R 1/4", "G 1/4", "by-agreement", "taper-sealant"),
        ("G 1/4", "G 1/4", "yes", "face"),
        ("G 1/4", "Rp 1/4", "wrong", ""),
        ("G 1/4", "Rc 1/4", "wrong", ""),
        ("1/4-18 NPT", "1/4-18 NPT", "yes", "taper-sealant"),
        ("1/4-18 NPTF", "1/4-18 NPTF", "yes", "taper-dry"),
        ("1/4-18 NPTF", "1/4-18 NPT", "yes", "taper-sealant"),
        ("1/4-18 NPSM", "1/4-18 NPT", "wrong", ""),
        ("M14x1.5", "M14x1.5", "yes", "face"),
        ("M14x1.5 taper", "M14x1.5", "yes", "taper-sealant"),
        ("M14x1.5 oring", "M14x1.5 oring", "yes", "oring"),
        ("M14x1.5 oring", "M14x1.5", "wrong", ""),
        ("M18x1.5 cone24", "M18x1.5 cone24", "yes", "cone"),
        ("7/16-20 UNF cone37", "7/16-20 UNF cone37", "yes", "cone"),
        ("7/16-20 UNF cone37", "7/16-20 UNF oring", "wrong", ""),
        ("7/16-20 UNF oring", "7/16-20 UNF oring", "yes", "oring"),
        ("hose 10", "hose 10", "yes", "hose"),
        ("hose 10", "hose 12", "no", ""),
        ("M14x1.5", "hose 10", "no", ""),
    ],
)
def test_standard_pairs(male, female, answer, seal):
    result = pair(male, female)
    assert (result.answer, result.seal) == (answer, seal)
    assert result.seals == bool(seal)


@pytest.mark.parametrize("size", ["1/8", "1/4", "3/8", "1/2", "3/4", "1"])
def test_npt_and_the_55_degree_pipe_threads_never_mate(size):
    npt = next(s.designation for s in load_series() if s.family == "NPT" and s.size == size)
    for male, female in [
        (npt, f"Rc {size}"),
        (npt, f"Rp {size}"),
        (npt, f"G {size}"),
        (f"R {size}", npt),
        (f"G {size}", npt),
    ]:
        assert not pair(male, female).seals


def test_every_size_mates_with_what_it_is_made_for():
    for size in load_series():
        for gender in size.genders:
            end = parse_end(size.designation, gender)
            other = opposite(end)
            male, female = (end, other) if gender == "external" else (other, end)
            assert mate(male, female).answer == "yes", (male, female)


def test_every_right_parallel_pair_turns_home_and_keeps_the_shear_share_of_the_threshold():
    for size in load_series():
        if size.taper or not size.external or not size.internal:
            continue
        result = crossed(size.designation, size.designation)
        assert result.kind == "fits", size.designation
        assert result.free_turns[0] >= result.wanted_turns - 1e-9
        assert result.shear_share[0] > 0.58


# Hand-tight engagement of the middle of both limits is the gauge length: ISO 7-1 table 1 and
# ASME B1.20.1 table 2 (L1), and DIN 158-1's gauge plane within the parallel female's clearance.
@pytest.mark.parametrize(
    ("male", "female", "length_mm", "within"),
    [
        ("R 1/8", "Rc 1/8", 4.0, 0.01),
        ("R 1/4", "Rc 1/4", 6.0, 0.01),
        ("R 1/2", "Rp 1/2", 8.2, 0.01),
        ("R 1", "Rc 1", 10.4, 0.01),
        ("1/8-27 NPT", "1/8-27 NPT", 4.102, 0.01),
        ("1/2-14 NPT", "1/2-14 NPT", 8.128, 0.01),
        ("M10x1 taper", "M10x1", 2.5, 1.3),
        ("M14x1.5 taper", "M14x1.5", 3.5, 1.6),
    ],
)
def test_taper_pairs_are_hand_tight_at_the_gauge_length(male, female, length_mm, within):
    m = made_thread(profile_of(parse_end(male, "external")), 0.5)
    f = made_thread(profile_of(parse_end(female, "internal")), 0.5)
    assert _free_length(m, f, 40.0) == pytest.approx(length_mm, abs=within)


# What the trade knows of these pairs (common practice, no source): which start and jam, which
# drop in loose, which do not start.
@pytest.mark.parametrize(
    ("male", "female", "kind", "least", "most"),
    [
        ("M10x1", "1/8-27 NPT", "binds", 0.5, 3.0),
        ("G 1/8", "1/8-27 NPT", "binds", 2.0, 6.0),
        ("R 1/4", "1/4-18 NPT", "binds", 1.0, 4.0),
        ("1/2-14 NPT", "Rp 1/2", "binds", 3.0, 6.5),
        ("1/2-14 NPT", "G 1/2", "binds", 3.0, 6.5),
        ("5/8-18 UNF", "M16x1.5", "binds", 0.7, 3.5),
        ("M16x1.5", "5/8-18 UNF", "binds", 0.5, 1.8),
        ("M14x1.5", "M14x1.25", "binds", 0.5, 1.0),
        ("7/16-20 UNF", "M12x1.25", "loose", 7.0, 25.0),
        ("7/8-14 UNF", "G 5/8", "loose", 9.0, 30.0),
        ("M10x1", "G 1/8", "does-not-start", 0.0, 0.5),
        ("M8x1.25", "M12x1.25", "falls-through", 0.0, 99.0),
        ("1/4-20 UNC", "1/4-20 BSW", "fits", 4.0, 99.0),
    ],
)
def test_cross_threaded_pairs(male, female, kind, least, most):
    result = crossed(male, female)
    assert result.kind == kind
    assert least <= result.free_turns[1] <= most
    assert result.free_turns[0] <= result.free_turns[1]
    assert not pair(male, female).seals


def test_free_turns_follow_clearance_over_drift():
    """M16x1.5 takes 5/8-18: play is cot-free arithmetic on the two standards' limits.

    Half the play is the groove's half width over the ridge's: a quarter of the pitch difference
    and the pitch-diameter clearance times tan 30 / 2. Limits: ISO 965-1 and ASME B1.1 worked.
    """
    female_d2, male_d2 = 15.026, 0.5875 * 25.4
    drift = 1.5 - 25.4 / 18
    play = 2 * (drift / 4 + (female_d2 - male_d2) / 2 * math.tan(math.radians(30)))
    assert crossed("5/8-18 UNF", "M16x1.5").free_turns[0] == pytest.approx(play / drift, abs=0.05)


def _profile(gender, pitch, d2, crest, root, angle=60.0, taper=0.0):
    return MatingProfile(
        designation="made",
        gender=gender,
        form="flat60",
        pitch_mm=pitch,
        major_mm=(crest, crest),
        pitch_diameter_mm=(d2, d2),
        minor_mm=(root, root),
        taper=taper,
        length_mm=12.0,
    )


def _polygon(thread, length, gender, taper_from):
    """One side of an axial section as a polygon: metal of a male, or of a female."""
    slope = math.tan(math.radians(30))
    quarter = thread.pitch_mm / 4
    points = []
    for k in range(-1, int(length / thread.pitch_mm) + 2):
        z0 = k * thread.pitch_mm
        for sign, radius in ((-1, "r"), (-1, "c"), (1, "c"), (1, "r")):
            r = thread.r_minor if radius == "r" else thread.r_major
            half = quarter - (r - thread.r_pitch) * slope
            points.append((z0 + sign * half, r))
    zs = [p[0] for p in points]
    far = 0.0 if gender == "external" else 30.0
    return Polygon([(zs[0], far), *points, (zs[-1], far)])


@pytest.mark.parametrize("case", range(6))
def test_free_length_agrees_with_polygons_slid_along_the_axis(case):
    """Outside check: Shapely's polygon intersection decides what fits, for parallel 60 degrees."""
    rng = np.random.default_rng(case)
    pitch = rng.uniform(1.0, 1.6)
    female_pitch = pitch * rng.uniform(1.02, 1.06)
    d2 = 13.0
    clearance = rng.uniform(0.1, 0.4)
    male = made_thread(_profile("external", pitch, d2, d2 + 0.5, d2 - 0.9), 0.5)
    female = made_thread(
        _profile(
            "internal", female_pitch, d2 + clearance, d2 + clearance + 0.9, d2 + clearance - 0.5
        ),
        0.5,
    )

    def fits(length):
        window = Polygon([(0, -1), (length, -1), (length, 40), (0, 40)])
        body = _polygon(female, length + 4 * pitch, "internal", 0)
        screw = _polygon(male, length + 4 * pitch, "external", 0)
        for shift in np.linspace(-0.5, 0.5, 81):
            moved = affinity.translate(screw, xoff=shift)
            if moved.intersection(body).intersection(window).area < 1e-6:
                return True
        return False

    free = _free_length(male, female, 40.0)
    # Ridges are discrete in the polygons: a length between two ridges shows the same overlap.
    assert fits(max(free - 1.2 * pitch, 0.01))
    assert not fits(free + 1.2 * pitch)


@pytest.mark.parametrize("name", ["10-32", "1/4-20", "1/4-28", "1/2-13", "3/4-16", "1-8"])
def test_shear_areas_agree_with_the_federal_standard(name):
    """FED-STD-H28/2B formulas (2a) and (4a) as screw-thread-lib 0.0.6 computes them, in inches."""
    lib = Assembly.from_ASME_B11_UN_2A2B(name)
    male = MatingProfile(
        designation=name,
        gender="external",
        form="flat60",
        pitch_mm=lib.p,
        major_mm=(lib.dmin, lib.dmin),
        pitch_diameter_mm=(lib.d2min, lib.d2min),
        minor_mm=(lib.d1bsc, lib.d1bsc),
    )
    female = MatingProfile(
        designation=name,
        gender="internal",
        form="flat60",
        pitch_mm=lib.p,
        major_mm=(lib.dbsc, lib.dbsc),
        pitch_diameter_mm=(lib.D2max, lib.D2max),
        minor_mm=(lib.D1max, lib.D1max),
    )
    areas = shear_areas(made_thread(male, 0.5), made_thread(female, 0.5))
    assert areas[0] == pytest.approx(lib.ASs_min_FEDSTD_4a(), rel=1e-4)
    assert areas[1] == pytest.approx(lib.ASn_min_FEDSTD_2a(), rel=1e-4)


def test_basic_profile_has_the_standard_depth():
    male = made_thread(profile_of(parse_end("M14x1.5", "external")), 1.0)
    basic = basic_profile(male)
    assert basic.r_major - basic.r_minor == pytest.approx(0.541266 * 1.5, abs=1e-5)
    assert basic.r_major - basic.r_pitch == pytest.approx(0.324760 * 1.5, abs=1e-5)


@pytest.mark.parametrize(
    ("text", "gender", "word"),
    [
        ("Rc 1/4", "external", "female thread only"),
        ("R 1/4", "internal", "male thread only"),
        ("M10x1 taper", "internal", "male thread only"),
        ("hose 900", "external", "hose bore"),
        ("M14x1.5 cone37", "external", "no standard cone37 end"),
        ("X9", "external", "no thread"),
        ("", "external", "no thread"),
        ("M20x1.5 oring", "external", "sizes there: M8x1, M10x1"),
        ("1/4-20 UNC cone37", "external", "no size of ISO 8434-2"),
    ],
)
def test_ends_that_cannot_be(text, gender, word):
    with pytest.raises(PitchcamError) as caught:
        parse_end(text, gender)
    assert word in str(caught.value)


def test_two_males_are_no_joint():
    with pytest.raises(UsageError):
        mate(parse_end("M14x1.5", "external"), parse_end("M14x1.5", "external"))


def test_unknown_families_are_a_gap_in_the_table():
    with pytest.raises(LookupError):
        rule_for("M", "never")


def test_command_answers_in_words_and_json_with_its_exit_code():
    run = CliRunner().invoke(command, ["R 1/4", "Rp 1/4"])
    assert run.exit_code == 0 and "Yes." in run.output and "ISO 7-1" in run.output
    run = CliRunner().invoke(command, ["7/16-20", "7/16-20"])
    assert "also used as O-ring boss (write oring) and 37 degree flare (write cone37)" in run.output
    run = CliRunner().invoke(command, ["M10x1", "1/8-27 NPT", "--json"])
    assert run.exit_code == 3
    answer = json.loads(run.output)
    assert answer["answer"] == "wrong" and answer["cross_thread"]["kind"] == "binds"
    run = CliRunner().invoke(command, ["--both", "G 1/8", "M10x1"])
    assert run.output.count("Rule:") == 2
    run = CliRunner().invoke(command, ["R 1/4", "G 1/4"])
    assert "G 1/4 female: Only where the product's own standard says so" in run.output
    assert "ISO 7-1" in CliRunner().invoke(command, ["--matrix"]).output
    assert "M10x1 in 1/8-27 NPT" in CliRunner().invoke(command, ["--traps"]).output


# The trade's word for each trap (common practice; published makers' text for the 14 TPI pairs),
# and what the computation must then be.
TRADE = {
    "starts a turn or two and binds": {"binds"},
    "starts and binds": {"binds"},
    "starts and jams": {"binds"},
    "starts a turn and binds": {"binds"},
    "goes some turns and binds; leaks": {"binds"},
    "starts hard or not at all": {"binds", "does-not-start"},
    "goes some turns loose then binds; leaks": {"binds"},
    "goes some turns": {"binds"},
    "screws in and tightens as if right; leaks": {"binds", "fits"},
    "falls in loose and binds on the pitch": {"binds", "loose"},
    "does not start": {"does-not-start"},
    "screws home or binds on the crests": {"fits", "binds"},
    "falls in loose and strips": {"loose"},
    "goes in loose": {"loose", "binds"},
    "falls in loose": {"loose", "falls-through"},
    "falls in loose: dangerous": {"loose"},
    "screws home and feels right": {"fits"},
    "nearly interchanges": {"fits"},
}


@pytest.mark.parametrize("row", traps(), ids=lambda row: row[0].text)
def test_traps_behave_as_the_trade_says(row):
    result, trade, source = row
    assert result.cross.kind in TRADE[trade] and source
    assert not result.seals
    if "as if right" in trade:
        # The 14 TPI pairs go as far by hand as a right taper pair: 8.1 mm is 4.5 turns.
        assert 3.5 < result.cross.free_turns[1] < 7


@pytest.mark.parametrize("size", ["1/8", "1/4", "3/8", "1/2", "3/4", "1"])
def test_the_14_tpi_trap_is_told_of_its_own_sizes_only(size):
    tpi = {"1/8": "27", "1/4": "18", "3/8": "18", "1/2": "14", "3/4": "14", "1": "11.5"}[size]
    npt = f"{size}-{tpi} NPT"
    for pair in ((npt, f"Rc {size}"), (f"R {size}", npt), (f"G {size}", npt)):
        text = mating_text(mate(parse_end(pair[0], "external"), parse_end(pair[1], "internal")))
        assert ("that is the trap" in text) == (size in ("1/2", "3/4")), text
        assert "1/2 and 3/4" not in text and "{" not in text


def test_headlines_agree_with_the_computed_turns():
    for male in ("1/4-18 NPT", "M10x1", "R 1/4", "M12x1.25", "7/16-20 UNF", "1/4-20 UNC"):
        for female in ("Rc 1/4", "1/8-27 NPT", "1/2-20 UNF", "M12x1.25", "1/4-20 BSW", "G 1/4"):
            result = mate(parse_end(male, "external"), parse_end(female, "internal"))
            text = mating_text(result)
            if result.cross is None or result.cross.kind != "binds":
                continue
            assert "No: it starts, then binds" in text
            least, most = result.cross.free_turns
            assert (f"It starts, {least:.1f} to {most:.1f} turns" in text) == (most < 1.5)


def test_one_side_missing_is_wrong_usage():
    run = CliRunner().invoke(command, ["M10x1"])
    assert isinstance(run.exception, UsageError)


def test_joint_by_trade_size_follows_the_tables():
    assert find("R 1/2").size == find("G 1/2").size == "1/2"


@pytest.mark.parametrize("name", ["M10x1", "1/8-27 NPT", "G 1/4", "0 BA", "Pg 9"])
def test_one_place_of_a_groove_is_that_of_the_whole_line(name):
    thread = made_thread(profile_of(parse_end(name, "internal")), 0.5)
    offset = np.linspace(-1.0, 1.0, 41) * thread.depth_mm
    line = groove_half_width(thread, offset)
    assert [half_width_mm(thread, float(x)) for x in offset] == pytest.approx(line, abs=1e-12)


@pytest.mark.parametrize(
    ("male", "female"),
    [
        ("M10x1", "1/8-27 NPT"),
        ("1/4-18 NPT", "M14x1.5"),
        ("M14x1.5", "1/2-20 UNF"),
        ("M8x1", "M8x1"),
    ],
)
@pytest.mark.parametrize("half_angle_deg", [23.0, 30.0, 40.0])
def test_play_between_straight_flanks_is_least_at_an_end(male, female, half_angle_deg):
    """Beside the same by samples all over the flank; the male's angle is any."""
    ends = zip((male, female), ("external", "internal"), strict=True)
    one, other = (made_thread(profile_of(parse_end(*end)), 0.3) for end in ends)
    pair = replace(one, half_angle_deg=half_angle_deg), other
    for length in (0.0, 9.0):
        along = stations(length)
        sampled = half_plays(*pair, along, length)
        assert [_straight_play(*pair, x, length) for x in along] == pytest.approx(
            sampled, abs=1e-12
        )


def test_a_hose_tail_has_no_thread_to_be_measured():
    with pytest.raises(PitchcamError, match="a hose tail has no thread"):
        profile_of(parse_end("hose 10", "external"))


@pytest.mark.parametrize(
    ("text", "bore_mm"),
    [("hose 3/8in", 10.0), ("hose 1/2 in", 12.5), ("hose 10", 10.0), ("tail 8 mm", 8.0)],
)
def test_hoses_by_their_bore(text, bore_mm):
    """ISO 4397 (from memory): 3/8 in is the size of 10 mm, 1/2 in that of 12.5."""
    assert parse_end(text, "external").designation == f"hose {bore_mm:g}"


@pytest.mark.parametrize("text", ["hose x", "hose 0", "hose 9in"])
def test_hoses_that_are_none(text):
    with pytest.raises(PitchcamError):
        parse_end(text, "external")
