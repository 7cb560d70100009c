"""Ends as people write them, and what a pair of them does in words."""

import dataclasses

import pytest

from pitchcam.errors import InputError, UsageError
from pitchcam.joining.mating.crossthread import CrossThread
from pitchcam.joining.mating.ends import (
    End,
    base_family,
    families,
    opposite,
    parse_end,
    profile_of,
    seats_used,
)
from pitchcam.joining.mating.geometry import FORMS, made_thread
from pitchcam.joining.mating.mate import (
    ANSWERS,
    Mating,
    Rule,
    failure_text,
    mate,
    planned_rule,
    rule_for,
    size_key,
)
from pitchcam.joining.mating.matrix import MARKS, family_matrix, matrix_text, traps, traps_text
from pitchcam.joining.mating.text import condition, headline, mating_json, mating_text
from pitchcam.joining.tables import keyed, read_table
from pitchcam.records import Gender
from pitchcam.series import find


@pytest.mark.parametrize(
    ("typed", "gender", "designation", "family", "seat", "text"),
    [
        ("m14x1,5", "external", "M14x1.5", "M", "flat", "M14x1.5 male"),
        ("M14x1.5 flat", "internal", "M14x1.5", "M", "flat", "M14x1.5 female"),
        ("M14x1.5 o-ring", "internal", "M14x1.5", "M-oring", "oring", "M14x1.5 oring female"),
        ("M18x1.5, cone 24", "external", "M18x1.5", "M-cone24", "cone24", "M18x1.5 cone24 male"),
        ("7/16-20 unf CONE37", "external", "7/16-20 UNF", "UN-cone37", "cone37", None),
        ("G 1/4 cone60", "internal", "G 1/4", "G-cone60", "cone60", "G 1/4 cone60 female"),
        ("Rc 1/4", "internal", "Rc 1/4", "Rc", "taper", "Rc 1/4 female"),
        ("1/4 npt", "external", "1/4-18 NPT", "NPT", "taper", "1/4-18 NPT male"),
        ("M10 keg", "external", "M10x1 taper", "M-taper", "taper", "M10x1 taper male"),
        ("3/8 whit", "external", "3/8-16 BSW", "W", "flat", "3/8-16 BSW male"),
        ("hose 10", "external", "hose 10", "hose", "hose", "hose tail 10 mm (3/8 in)"),
        ("tail 3/8in", "external", "hose 10", "hose", "hose", "hose tail 10 mm (3/8 in)"),
        ("hose 9", "internal", "hose 9", "hose", "hose", "hose of 9 mm bore"),
        ("hose 1/2 in", "internal", "hose 12.5", "hose", "hose", "hose of 12.5 mm (1/2 in) bore"),
    ],
)
def test_an_end_as_it_is_written(
    typed: str, gender: Gender, designation: str, family: str, seat: str, text: str | None
) -> None:
    end = parse_end(typed, gender)
    assert (end.designation, end.family, end.seat) == (designation, family, seat)
    assert text is None or end.text == text
    assert end.is_hose == (family == "hose")
    # What is written in a sheet is read back.
    assert parse_end(end.written, gender) == end


@pytest.mark.parametrize(
    ("typed", "gender", "message", "advice"),
    [
        ("R 1/4", "internal", "R 1/4 is a male thread only.", "Its female is Rc or Rp: say which."),
        (
            "M14x1.5 taper",
            "internal",
            "M14x1.5 taper is a male thread only.",
            "Its female is the parallel metric thread of the same size: say which.",
        ),
        (
            "Rc 1/4",
            "external",
            "Rc 1/4 is a female thread only.",
            "Its male is R; swap the two if need be.",
        ),
        (
            "Rp 1/4",
            "external",
            "Rp 1/4 is a female thread only.",
            "Its male is R; swap the two if need be.",
        ),
        (
            "R 1/4 cone60",
            "external",
            "R 1/4 has no standard cone60 end.",
            "Leave the seat out, or see pitchcam mate --matrix.",
        ),
        (
            "2 BA oring",
            "internal",
            "2 BA has no standard oring end.",
            "Leave the seat out, or see pitchcam mate --matrix.",
        ),
        ("hose x", "external", None, "Write hose 10, or hose 3/8in."),
        (
            "hose 151",
            "external",
            "a hose bore of 151 mm is none that a fitter uses.",
            "Give the bore in mm, 1 to 150, or in inches: hose 3/8in.",
        ),
    ],
)
def test_an_end_that_cannot_be(
    typed: str, gender: Gender, message: str | None, advice: str
) -> None:
    with pytest.raises(InputError) as caught:
        parse_end(typed, gender)
    assert message is None or caught.value.message == message
    assert caught.value.advice == advice


def test_a_seat_has_sizes_of_its_own() -> None:
    with pytest.raises(InputError) as caught:
        parse_end("M11x1.5 oring", "internal")
    assert caught.value.message == "M11x1.5 is no size of ISO 6149-1."
    assert caught.value.advice.startswith("Check the thread; sizes there: M8x1, M10x1, M12x1.5")
    with pytest.raises(InputError, match="1/4-20 UNC is no size of ISO 8434-2"):
        parse_end("1/4-20 UNC cone37", "external")
    # The 24 degree cone has a series that the catalogue does not list: any thread will do.
    assert parse_end("M11x1.5 cone24", "external").family == "M-cone24"


@pytest.mark.parametrize(
    ("designation", "seats"),
    [
        ("7/16-20 UNF", ("oring", "cone37")),
        ("M14x1.5", ("oring",)),
        ("M11x1.5", ()),
        ("1/4-20 UNC", ()),
    ],
)
def test_seats_that_a_thread_is_used_with(designation: str, seats: tuple[str, ...]) -> None:
    assert seats_used(designation) == seats


@pytest.mark.parametrize(
    ("typed", "gender", "mate_of_it"),
    [
        ("R 1/4", "external", "Rc 1/4 female"),
        ("Rc 1/4", "internal", "R 1/4 male"),
        ("Rp 1/4", "internal", "R 1/4 male"),
        ("M14x1.5 taper", "external", "M14x1.5 female"),
        ("M14x1.5", "external", "M14x1.5 female"),
        ("M14x1.5 oring", "internal", "M14x1.5 oring male"),
        ("1/4-18 NPT", "internal", "1/4-18 NPT male"),
        ("hose 10", "internal", "hose tail 10 mm (3/8 in)"),
    ],
)
def test_what_an_end_is_made_for(typed: str, gender: Gender, mate_of_it: str) -> None:
    end = parse_end(typed, gender)
    other = opposite(end)
    assert other.text == mate_of_it
    pair = (end, other) if gender == "external" else (other, end)
    assert mate(*pair).answer == "yes"


@pytest.mark.parametrize(
    ("designation", "family"),
    [
        ("M14x1.5", "M"),
        ("M14x1.5 taper", "M-taper"),
        ("1/4-20 UNC", "UN"),
        ("1/2-28 UNEF", "UN"),
        ("1/2-18 UNS", "UN"),
        ("9/16-20 UN", "UN"),
        ("1/4-20 BSW", "W"),
        ("1/4-26 BS Brass", "W"),
        ("5/8-18 BS Conduit", "W"),
        ("G 1/4", "G"),
        ("1/4-18 NPTF", "NPTF"),
        ("9/16-20 BSC", "BSC"),
    ],
)
def test_families_that_mate_alike(designation: str, family: str) -> None:
    assert base_family(designation) == family
    assert any(key == family for key, _ in families())


@pytest.mark.parametrize(
    ("typed", "gender", "form"),
    [
        ("M14x1.5", "external", "flat60"),
        ("1/2-20 UNF", "internal", "flat60"),
        ("1/4-18 NPT", "external", "pipe60"),
        ("1/4-18 NPSM", "internal", "pipe60"),
        ("R 1/4", "external", "round55"),
        ("3/8-16 BSW", "internal", "round55"),
        ("2 BA", "external", "round47.5"),
        ("Pg 16", "external", "round80"),
        ("9/16-20 BSC", "external", "round60"),
    ],
)
def test_the_form_of_an_end(typed: str, gender: Gender, form: str) -> None:
    profile = profile_of(parse_end(typed, gender))
    size = find(typed)
    assert profile.form == form and profile.gender == gender
    assert 2 * profile.half_angle_deg == FORMS[form].angle_deg == size.angle_deg
    assert profile.pitch_mm == size.pitch_mm and profile.taper == size.taper


def test_a_taper_male_is_met_at_its_small_end_and_a_female_at_her_mouth() -> None:
    male, female = (
        profile_of(parse_end(t, g)) for t, g in (("R 1/2", "external"), ("Rc 1/2", "internal"))
    )
    # ISO 7-1: 8.2 mm before the gauge plane, a sixteenth of that on the diameter.
    for low, high in zip(male.major_mm, female.major_mm, strict=True):
        assert abs(high - low - 8.2 / 16) < 0.06
    assert male.length_mm == find("R 1/2").useful_length_mm == male.engagement_mm
    # The largest male and the smallest female have most metal.
    for share, pick in ((1.0, 1), (0.0, 0), (0.5, None)):
        made = made_thread(male, share)
        want = sum(male.major_mm) / 4 if pick is None else male.major_mm[pick] / 2
        assert made.r_major == pytest.approx(want)
        other = made_thread(female, share)
        want = sum(female.minor_mm) / 4 if pick is None else female.minor_mm[1 - pick] / 2
        assert other.r_minor == pytest.approx(want)
    moved = made_thread(male, 1.0).moved(0.25)
    assert moved.r_pitch - made_thread(male, 1.0).r_pitch == pytest.approx(0.25)


# Pairs in words.


def pair(male: str, female: str) -> Mating:
    return mate(parse_end(male, "external"), parse_end(female, "internal"))


@pytest.mark.parametrize(
    ("male", "female", "answer", "said"),
    [
        ("R 1/4", "Rc 1/4", "yes", "Yes"),
        ("R 1/4", "G 1/4", "by-agreement", None),
        ("G 1/4", "Rc 1/4", "wrong", "No: it starts, then binds"),
        ("M10x1", "M14x1.5", "no", "No"),
        ("M14x1.25", "M14x1.5", "wrong", "No: it starts, then binds"),
        ("1/2-14 NPT", "Rp 1/2", "wrong", "No: it "),
        ("hose 10", "hose 10", "yes", "Yes"),
        ("hose 10", "hose 12.5", "no", "No"),
        ("hose 10", "M10x1", "no", "No"),
    ],
)
def test_the_headline(male: str, female: str, answer: str, said: str | None) -> None:
    result = pair(male, female)
    assert result.answer == answer and answer in ANSWERS
    assert result.seals == (answer in ("yes", "by-agreement")) == bool(result.seal_row)
    head = headline(result)
    if said is None:
        assert head == f"{condition(result)} (by agreement, no standard pair)"
    else:
        assert head.startswith(said.split(" and")[0])


def test_the_words_of_a_pair_that_seals() -> None:
    said = mating_text(pair("R 1/4", "Rc 1/4")).splitlines()
    assert said[0] == "R 1/4 male into Rc 1/4 female: Yes."
    assert said[2].startswith("Seals by taper thread with sealant: Sealant for the fluid")
    assert said[-1] == "Rule: ISO 7-1." and len(said) == 4
    hose = mating_text(pair("hose 10", "hose 10")).splitlines()
    assert hose[0] == "hose tail 10 mm (3/8 in) into hose of 10 mm (3/8 in) bore: Yes."
    assert (
        pair("hose 10", "hose 10").text == "hose of 10 mm (3/8 in) bore on hose tail 10 mm (3/8 in)"
    )


def test_the_words_of_a_pair_that_fails_have_what_happens() -> None:
    result = pair("M14x1.25", "M14x1.5")
    said = mating_text(result)
    assert result.failure and result.failure in said and "Seals by" not in said
    # A plain thread typed may be a seat of its own.
    assert "M14x1.5 is also used as O-ring boss (write oring)." in said
    assert "also used" not in mating_text(pair("R 1/4", "Rc 1/4"))
    both = mating_text(pair("7/16-20 UNF", "7/16-20 UNF"))
    assert both.count("is also used as") == 1
    assert "O-ring boss (write oring) and 37 degree flare (write cone37)" in both


def cross(**changes: object) -> CrossThread:
    base = CrossThread(
        kind="fits",
        free_turns=(8.0, 9.0),
        wanted_turns=7.0,
        overlap=(0.5, 0.7),
        shear_share=(0.6, 0.8),
        drift_mm_per_turn=0.0,
        angle_difference_deg=0.0,
        interference_mm=(0.0, 0.0),
    )
    return dataclasses.replace(base, **changes)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        (
            {"kind": "falls-through"},
            "The male drops through without touching: there is no thread between them.",
        ),
        (
            {"kind": "does-not-start"},
            "It does not start: no half turn by hand even for the loosest pair. Force starts it "
            "cross-threaded and cuts the softer thread.",
        ),
        (
            {"kind": "binds", "free_turns": (2.0, 3.5), "drift_mm_per_turn": 0.25},
            "It turns 2.0 to 3.5 turns by hand of the 7.0 wanted, then binds: the pitches drift "
            "0.250 mm a turn. The wrench cuts the softer thread; feeling it tighten proves "
            "nothing.",
        ),
        (
            {"kind": "binds", "free_turns": (0.2, 3.5), "angle_difference_deg": 5.0},
            "It turns 0.2 to 3.5 turns (a tight pair does not start) by hand of the 7.0 wanted, "
            "then binds: the flank angles differ by 5 degrees. The wrench cuts the softer thread; "
            "feeling it tighten proves nothing.",
        ),
        (
            {"kind": "binds", "free_turns": (0.3, 1.2)},
            "It starts, 0.3 to 1.2 turns by hand of the 7.0 wanted, then binds: the diameters "
            "close up. The wrench cuts the softer thread; feeling it tighten proves nothing.",
        ),
        (
            {"kind": "loose", "shear_share": (0.12, 0.34)},
            "It goes in loose all the way and holds on 12 to 34 % of a right pair's strength: it "
            "strips or blows out, and nothing seals.",
        ),
        (
            {"angle_difference_deg": 5.0, "drift_mm_per_turn": 0.01},
            "It screws home by hand and feels right, with 60 to 80 % of a right pair's strength. "
            "The pitches drift 0.010 mm a turn and the flank angles differ by 5 degrees: it bears "
            "on edges and leaves a spiral leak.",
        ),
        (
            {"free_turns": (0.2, 9.0), "angle_difference_deg": 5.0},
            "It screws home by hand (a tight pair does not start) and feels right, with 60 to 80 % "
            "of a right pair's strength. The flank angles differ by 5 degrees: it bears on edges "
            "and leaves a spiral leak.",
        ),
        (
            {"free_turns": (3.0, 9.0), "angle_difference_deg": 5.0},
            "It screws home by hand (a tight pair binds after 3.0 turns) and feels right, with 60 "
            "to 80 % of a right pair's strength. The flank angles differ by 5 degrees: it bears on "
            "edges and leaves a spiral leak.",
        ),
    ],
    ids=lambda v: "" if isinstance(v, str) else v.get("kind", "fits"),
)
def test_what_happens_when_it_is_tried(changes: dict[str, object], says: str) -> None:
    assert failure_text(cross(**changes)) == says


@pytest.mark.parametrize(
    ("kind", "free", "head"),
    [
        ("binds", (2.0, 3.0), "No: it starts, then binds"),
        ("loose", (9.0, 9.0), "No: it goes in loose and does not hold"),
        ("fits", (8.0, 9.0), "No: it screws home, and it is wrong"),
        ("fits", (6.9, 9.0), "No: it may screw home, and it is wrong"),
        ("falls-through", (0.0, 0.0), "No: it goes in, but nothing seals"),
        (None, (0.0, 0.0), "No: it goes in, but nothing seals"),
    ],
)
def test_a_wrong_pair_in_one_line(kind: str | None, free: tuple[float, float], head: str) -> None:
    result = dataclasses.replace(
        pair("G 1/4", "Rc 1/4"),
        answer="wrong",
        cross=None if kind is None else cross(kind=kind, free_turns=free),
    )
    assert headline(result) == head


def test_a_pair_as_json() -> None:
    right, wrong = mating_json(pair("R 1/4", "Rc 1/4")), mating_json(pair("M14x1.25", "M14x1.5"))
    assert right["format"] == wrong["format"] == "pitchcam.mating/1"
    assert (right["answer"], right["seal"], right["failure"]) == ("yes", "taper-sealant", None)
    assert right["cross_thread"] is None and right["male"] == "R 1/4 male"
    assert (wrong["answer"], wrong["seal"]) == ("wrong", None)
    assert wrong["cross_thread"]["kind"] == "binds" and wrong["failure"]
    assert wrong["cross_thread"]["drift_mm_per_turn"] == pytest.approx(0.25)
    least, most = wrong["cross_thread"]["free_turns"]
    assert least <= most < wrong["cross_thread"]["wanted_turns"]


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("R 1/4", "G 1/4", True),
        ("Rc 1/4", "R 1/4", True),
        ("1/4-18 NPT", "1/4-18 NPSM", True),
        ("M14x1.5 taper", "M14x1.5", True),
        ("1/4-20 UNC", "1/4-20 BSW", False),
        ("1/4-18 NPT", "G 1/4", False),
        ("M14x1.5", "M14x1.25", False),
        ("hose 10", "hose 10", True),
        ("hose 10", "hose 12.5", False),
    ],
)
def test_sizes_that_are_one(one: str, other: str, same: bool) -> None:
    assert (size_key(one) == size_key(other)) == same


def test_a_rule_says_of_some_sizes_what_holds_for_them() -> None:
    plain, half, other = (rule_for("NPT", "G", s) for s in (None, ("1/2", "1/2"), ("1/8", "1/8")))
    assert "At 1/2 and 3/4: here the pitches agree and it starts: that is the trap." in plain.text
    assert "Here the pitches agree and it starts: that is the trap." in half.text
    assert "At 1/2" not in half.text and "pitches agree" not in other.text
    assert "{" not in plain.text + half.text + other.text
    # Two sizes that are not one are no such pair.
    assert "pitches agree" not in rule_for("NPT", "G", ("1/2", "3/4")).text


def test_a_plan_asks_the_rule_alone() -> None:
    for male, female in (("R 1/4", "Rc 1/4"), ("R 1/4", "G 1/4"), ("hose 10", "hose 10")):
        one, other = parse_end(male, "external"), parse_end(female, "internal")
        rule = planned_rule(one, other)
        assert rule == planned_rule(other, one) == mate(one, other).rule
    for male, female in (("G 1/4", "Rc 1/4"), ("R 1/4", "Rc 3/8"), ("hose 10", "hose 9")):
        one, other = parse_end(male, "external"), parse_end(female, "internal")
        found = planned_rule(one, other)
        assert found is None or found.answer == "no"
    assert planned_rule(parse_end("R 1/4", "external"), parse_end("R 1/4", "external")) is None


@pytest.mark.parametrize(("male", "female"), [("external", "external"), ("internal", "internal")])
def test_a_joint_is_one_male_and_one_female(male: Gender, female: Gender) -> None:
    with pytest.raises(UsageError) as caught:
        mate(parse_end("M14x1.5", male), parse_end("M14x1.5", female))
    assert caught.value.message == "a joint needs one male and one female end."
    assert caught.value.advice == "Swap or change one."


def test_two_sizes_of_families_that_mate_are_no_pair() -> None:
    result = pair("R 1/4", "Rc 3/8")
    assert result.answer in ("no", "wrong") and not result.seals and result.seal_row is None
    assert result.rule.text == "R 1/4 and Rc 3/8 are different sizes: no pair."
    assert result.rule.source == "ISO 7-1"


def test_the_matrix_has_a_rule_in_every_cell() -> None:
    held = family_matrix()
    assert len(held.cells) == len(held.external)
    assert all(len(row) == len(held.internal) for row in held.cells)
    said = matrix_text(held).splitlines()
    assert said[0].startswith("Male down, female across: YES seals; agr by agreement only;")
    assert said[1] == "The number is the rule below."
    for name in held.external:
        assert any(line.startswith(name + " ") for line in said)
    for number, rule in enumerate(held.rules, start=1):
        assert f"{number:>2}. {rule.answer}: {rule.text}" in said
        assert set(MARKS) == set(ANSWERS)
    at = held.external.index("R"), held.internal.index("Rc")
    assert held.rules[held.cells[at[0]][at[1]]].answer == "yes"


def test_the_traps_as_a_table() -> None:
    said = traps_text().splitlines()
    assert said[0].split() == [
        "male",
        "in",
        "female",
        "computed",
        "free",
        "turns",
        "of",
        "strength",
        "the",
        "trade",
        "says",
    ]
    assert len(said) == len(traps()) + 2 == len(read_table("traps")) + 2
    for result, trade, source in traps():
        assert not result.seals and trade and source
        [line] = [
            x
            for x in said
            if x.endswith(trade)
            and x.startswith(f"{result.male.written} in {result.female.written}")
        ]
        assert result.cross is not None and result.cross.kind in line
    assert said[-1].endswith("None of them seals.")


def test_a_table_with_a_key_twice_is_ours_to_mend(monkeypatch: pytest.MonkeyPatch) -> None:
    keyed.cache_clear()
    monkeypatch.setattr("pitchcam.joining.tables.read_table", lambda name: ({"key": "a"},) * 2)
    with pytest.raises(ValueError, match=r"made\.csv: a key stands twice"):
        keyed("made")
    keyed.cache_clear()


def test_rules_and_ends_are_values() -> None:
    one = Rule(answer="yes", seal="face", text="t", source="s", checked="")
    assert one == dataclasses.replace(one) and hash(one) == hash(dataclasses.replace(one))
    end = End(designation="M14x1.5", gender="external", family="M")
    assert end == parse_end("M14x1.5", "external")
