"""What the commands print, function by function; their options and exit codes stand beside."""

import json
from types import SimpleNamespace
from typing import Any

import click
import pytest
from click.testing import CliRunner

from pitchcam.cli import COMMANDS, _typed, check, log, lookup, series
from pitchcam.cli._options import (
    LENGTH,
    SCALE_NAMES,
    output_path,
    record_option,
    scale_spec,
    usual_record,
)
from pitchcam.cli._readings import read_side
from pitchcam.cli._stock import MASS, PRESSURE, TEMPERATURE, load_stock, question, question_limits
from pitchcam.errors import InputError, ReadingError, UsageError
from pitchcam.match.leaf import LeafChance, LeafVerdict
from pitchcam.records import Candidate, ThreadReading, Verdict
from pitchcam.series import find
from pitchcam.series.gauges import parse_leaf
from tests.quantities import q

READ = ThreadReading(pitch_mm=q(1.5, 0.0075), major_mm=q(13.8, 0.03), angle_deg=q(60.0, 0.85))


def candidates(*pairs: tuple[str, float]) -> tuple[Candidate, ...]:
    return tuple(
        Candidate(designation=n, standard=find(n).standard, probability=p) for n, p in pairs
    )


def test_a_named_reading_in_lines() -> None:
    verdict = Verdict(
        status="named",
        designation="M14x1.5",
        standard="ISO 261",
        probability=0.97,
        candidates=candidates(("M14x1.5", 0.97), ("M14x1.25", 0.03)),
        notes=("a note",),
        next_step="look at the seat",
    )
    said = _typed.as_text(READ, verdict).splitlines()
    assert said[0] == "M14x1.5  (ISO 261, probability 97.0 %)"
    assert [x.split()[1] for x in said[1:4]] == ["pitch", "diameter", "angle"]
    assert said[4] == "  also possible: M14x1.25 (3.0 %)"
    assert said[5] == "  note: a note" and said[6].startswith("  seal: Does not seal")
    assert said[-2] == "  next step: look at the seat"
    assert said[-1] == '  then: pitchcam job --port THREAD --part "M14x1.5"'


def test_open_readings_are_a_table_of_what_each_would_measure() -> None:
    verdict = Verdict(
        status="ambiguous",
        candidates=candidates(("G 1/2", 0.6), ("R 1/2", 0.3), ("1/2-14 NPT", 0.1)),
    )
    rows = _typed.as_text(ThreadReading(major_mm=q(20.7, 0.03)), verdict).splitlines()
    assert rows[0] == "Not certain yet. It could be:"
    assert rows[2].split() == [
        "60.0", "%", "G", "1/2", "1.814", "mm", "(14", "TPI)", "crests", "20.67", "to", "20.95",
        "mm", "55", "deg", "parallel",
    ]  # fmt: skip
    assert rows[3].endswith("crests 20.33 to 20.55 mm  55 deg  taper 1:16, at its small end")
    assert "seal:" not in "\n".join(rows) and "then:" not in "\n".join(rows)


@pytest.mark.parametrize(
    ("reading", "what", "form"),
    [
        (ThreadReading(gender="internal", minor_mm=q(18.5, 0.05)), "bore", "at its mouth"),
        (ThreadReading(gender="internal", major_mm=q(20.9, 0.05)), "cast", "at its mouth"),
    ],
)
def test_a_port_is_told_by_its_bore_or_its_cast(
    reading: ThreadReading, what: str, form: str
) -> None:
    verdict = Verdict(status="off-series", candidates=candidates(("Rc 1/2", 0.0)))
    said = _typed.as_text(reading, verdict)
    assert f"  read: {what}" in said and f"  {what} " in said and form in said
    # No probability where no series fits.
    assert "%" not in said


def test_the_many_are_counted() -> None:
    names = ["M14x1.5", "M14x1.25", "M14x2", "M14x1", "M16x1.5", "M16x2", "M12x1.5", "M12x1.25",
             "M18x1.5", "M18x2"]  # fmt: skip
    verdict = Verdict(status="ambiguous", candidates=candidates(*((n, 0.1) for n in names)))
    said = _typed.as_text(READ, verdict)
    assert said.endswith("  and 2 more, each less likely") and "M18x1.5" not in said


def test_readings_by_hand_are_a_document_without_a_photo() -> None:
    told = _typed.as_document(READ, Verdict(status="ambiguous"))
    assert told["photo"] is told["scale"] is None
    [part] = told["parts"]
    assert part["box_px"] is None and part["threads"][0]["turns"] is None
    assert part["threads"][0]["pitch_mm"] == {"value": 1.5, "u": 0.0075}


def test_uses_of_a_size_by_how_they_seal() -> None:
    flare, *_ = (_typed.use_lines(find("7/16-20 UNF"), g) for g in ("external", "internal"))
    assert flare[0].startswith("  seal: ")
    assert any("37 degree flare, 1/4 in tube" in x and ": seals on" in x for x in flare[1:])
    assert len(_typed.use_lines(find("7/16-20 UNF"), "external", twins=False)) < len(flare)
    assert len({x.partition(": seals ")[2] for x in flare[1:]}) == len(flare) - 1
    assert _typed.use_lines(find("M11x1.5"), "external") == [
        _typed.use_lines(find("M6x1"), "external")[0]
    ]


@pytest.mark.parametrize(
    ("prior", "none", "weights"),
    [
        ((), False, None),
        ((), True, {}),
        (("UNF=3", "M14x1.5 = 0.5"), False, {"UNF": 3.0, "M14x1.5": 0.5}),
    ],
)
def test_priors_as_typed(prior: tuple[str, ...], none: bool, weights: Any) -> None:
    assert lookup._priors(prior, none) == weights  # noqa: SLF001 (no command for it)


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("-d", "13.8", "--prior", "UNF"), "--prior UNF is not understood. Write --prior UNF=3."),
        (
            ("-d", "13.8", "--prior", "UNF=x"),
            "--prior UNF=x is not understood. Write --prior UNF=3.",
        ),
        (
            ("-d", "13.8", "--prior", "UNF=3", "--no-prior"),
            "--prior and --no-prior contradict each other. Use one.",
        ),
        (("-d", "1", "-d", "2", "-d", "3"), "--diameter was given 3 times. Give it once or twice."),
        (("-b", "1", "-b", "2", "-b", "3"), "--bore was given 3 times. Give it once or twice."),
        (("-d", "wide"), "--diameter: 'wide' is not a length; write 8, 8.0mm, 0.315in or 5/16in"),
    ],
)
def test_readings_that_cannot_be_asked(args: tuple[str, ...], says: str) -> None:
    result = CliRunner().invoke(lookup.command, args)
    assert isinstance(result.exception, (UsageError, ReadingError))
    assert str(result.exception) == says


# check.


def verdict_of(
    status: str, probability: float, no_leaf: float = 0.0, turns: float | None = None
) -> LeafVerdict:
    chance = LeafChance(leaf=parse_leaf("19tpi"), probability=probability, turns_to_gap=turns)
    near = LeafChance(leaf=parse_leaf("18tpi"), probability=0.1, turns_to_gap=2.7)
    return LeafVerdict(
        status=status, probability=probability, no_leaf=no_leaf, read=chance, neighbours=(near,)
    )


def checked(verdict: LeafVerdict, **more: Any) -> check.Checked:
    given: dict[str, Any] = {"part": 2, "number": 1, "pitch": q(1.337, 0.003), "angle": None,
                             "angle_agrees": None}  # fmt: skip
    return check.Checked(verdict=verdict, **(given | more))


@pytest.mark.parametrize(
    ("given", "first", "agreed"),
    [
        (
            checked(verdict_of("agrees", 0.98)),
            "The photo agrees with 19tpi (probability of 19tpi: 98.0 %)",
            "the pitch agrees; the angle could not be measured",
        ),
        (
            checked(verdict_of("agrees", 0.98), angle=q(60.0, 0.5), angle_agrees=False),
            "The photo agrees with the pitch of 19tpi, but not with its angle (probability of "
            "19tpi: 98.0 %)",
            "the pitch agrees; the angle does not (60.0 \u00b1 1.0\u00b0; the leaf's form has 55 "
            "degrees)",
        ),
        (
            checked(
                verdict_of("disagrees", 0.01, turns=2.7), angle=q(55.0, 0.5), angle_agrees=True
            ),
            "The photo disagrees with 19tpi (probability of 19tpi: 1.0 %)",
            "the pitch does not agree; the angle agrees (55.0 \u00b1 1.0\u00b0; the leaf's form "
            "has 55 degrees)",
        ),
        (
            checked(verdict_of("cannot tell", 0.5), angle=q(57.0, 2.0)),
            "The photo cannot tell whether 19tpi is right (probability of 19tpi: 50.0 %)",
            "the pitch is not sure enough to tell; the angle is not sure enough to tell (57.0 "
            "\u00b1 4.0\u00b0; the leaf's form has 55 degrees)",
        ),
    ],
    ids=["agrees", "other form", "disagrees", "open"],
)
def test_a_leaf_beside_a_photo(given: check.Checked, first: str, agreed: str) -> None:
    lines = check._text(given, several=False).splitlines()  # noqa: SLF001
    assert lines[0] == first and lines[2].strip() == agreed
    assert lines[1] == "  pitch 1.3370 \u00b1 0.0060 mm, 18.998 \u00b1 0.085 TPI"
    assert "  neighbouring leaves:" in lines
    near = next(x for x in lines if x.startswith("    18tpi"))
    assert near.endswith("10.0 %; leaf 18tpi shows a gap of 0.1 mm at both ends of 2.7 turns")
    gap = "leaf 19tpi shows a gap of 0.1 mm at both ends of 2.7 turns"
    assert (f"  {gap}" in lines) == (given.verdict.status == "disagrees")
    several = check._text(given, several=True)  # noqa: SLF001
    assert several.startswith("Part 2, thread 1: The photo ")


@pytest.mark.parametrize(
    ("verdict", "step"),
    [
        (verdict_of("agrees", 0.98), None),
        (verdict_of("disagrees", 0.01, no_leaf=0.49), None),
        (verdict_of("disagrees", 0.01, no_leaf=0.5), "no leaf of any set has this pitch. Suspect"),
        (verdict_of("cannot tell", 0.5), "hold the leaf over as many turns as it has teeth"),
    ],
)
def test_what_to_do_about_a_leaf(verdict: LeafVerdict, step: str | None) -> None:
    said = check._next_step(verdict)  # noqa: SLF001
    assert said is None if step is None else (said or "").startswith(step)
    document = check._document(checked(verdict))  # noqa: SLF001
    assert document["status"] == verdict.status and document["angle_deg"] is None
    assert document["read"]["leaf"] == "19tpi" and document["no_leaf"] == verdict.no_leaf
    assert [n["leaf"] for n in document["neighbours"]] == ["18tpi"]


def test_a_neighbour_that_fits_says_so() -> None:
    fits = LeafChance(leaf=parse_leaf("19tpi"), probability=0.5, turns_to_gap=None)
    said = check._drift(fits)  # noqa: SLF001
    assert said == "leaf 19tpi fits within the measurement's uncertainty"


# log.


def row(**cells: Any) -> SimpleNamespace:
    given = {
        "id": "0123456789-1.1", "name": "M14x1.5", "designation": "M14x1.5", "status": "named",
        "photo": "a.jpg", "corrected_by": "", "settled": True, "part": 1, "thread": 1,
        "quantities": {"pitch_mm": (1.5, 0.002), "major_mm": (13.8, 0.02)},
    }  # fmt: skip
    return SimpleNamespace(**(given | cells))


NONE: dict[str, Any] = dict.fromkeys(("name", "status", "photo")) | {
    "doubtful": False,
    "corrected": False,
}


@pytest.mark.parametrize(
    ("filters", "cells", "passes"),
    [
        ({}, {}, True),
        ({"name": "M14x1.5"}, {}, True),
        ({"name": "M14x1.25"}, {}, False),
        # As measured or as corrected.
        ({"name": "M14x1.5"}, {"name": "M14x1.25"}, True),
        ({"status": "named"}, {}, True),
        ({"status": "ambiguous"}, {}, False),
        ({"photo": "a."}, {}, True),
        ({"photo": "b."}, {}, False),
        ({"doubtful": True}, {}, False),
        ({"doubtful": True}, {"settled": False}, True),
        ({"corrected": True}, {}, False),
        ({"corrected": True}, {"corrected_by": "bench"}, True),
        ({"status": "named", "photo": "b."}, {}, False),
    ],
)
def test_rows_that_a_filter_lets_through(
    filters: dict[str, Any], cells: dict[str, Any], passes: bool
) -> None:
    assert log._passes(row(**cells), NONE | filters) == passes  # noqa: SLF001


@pytest.mark.parametrize(
    ("cells", "line"),
    [
        (
            {},
            "0123456789-1.1    M14x1.5              pitch 1.5000 \u00b1 0.0040  major 13.800 "
            "\u00b1 0.040    a.jpg",
        ),
        ({"name": "", "status": "ambiguous", "quantities": {}}, "(ambiguous)"),
        ({"corrected_by": "bench 2"}, "M14x1.5 [bench 2]"),
        ({"photo": "a\n.jpg"}, "a\\n.jpg"),
    ],
)
def test_a_row_in_one_line(cells: dict[str, Any], line: str) -> None:
    said = log._line(row(**cells))  # noqa: SLF001
    assert line in said and "\n" not in said


def test_a_name_of_no_series_is_asked_back() -> None:
    log.check_listed("M14x1.5")
    with pytest.raises(UsageError) as caught:
        log.check_listed("M14x1.55")
    assert caught.value.message == "no series has 'M14x1.55'."
    assert caught.value.advice == "Did you mean M14x1.5? Otherwise add --unlisted."
    with pytest.raises(UsageError, match=r"no series has 'zz'\. Otherwise add --unlisted"):
        log.check_listed("zz")


# series.


@pytest.mark.parametrize(
    ("filters", "holds", "lacks"),
    [
        ({"family": ("g", "NPT")}, "G 1/4", "R 1/4"),
        ({"diameter": 13.8}, "M14x1.5", "M16x1.5"),
        ({"gauge": "19tpi"}, "R 1/4", "1/4-18 NPT"),
        ({"use": "SPARK"}, "M14x1.25", "M14x2"),
        ({"common": True}, "M14x1.5", "16 BA"),
    ],
    ids=lambda v: next(iter(v)) if isinstance(v, dict) else v,
)
def test_a_filter_of_the_catalogue(filters: dict[str, Any], holds: str, lacks: str) -> None:
    none: dict[str, Any] = {
        "family": (),
        "diameter": None,
        "gauge": None,
        "use": None,
        "common": False,
    }
    names = {s.designation for s in series.filtered(**(none | filters))}
    assert holds in names and lacks not in names


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("-f", "XYZ"), "there is no family 'XYZ'. Families: M, M taper, UNC"),
        (("-f", "Pg", "-d", "3"), "no size of the catalogue fits these filters. Drop one of them."),
        (
            ("--drawing", "a.svg"),
            "--drawing draws one designation. Name it: pitchcam series M14x1.5",
        ),
        (("-g", "1.37mm"), "no gauge set has a leaf of 1.37 mm."),
    ],
)
def test_a_list_that_cannot_be(args: tuple[str, ...], says: str) -> None:
    result = CliRunner().invoke(series.command, args)
    assert result.exception is not None and str(result.exception).startswith(says)


def test_a_size_in_full() -> None:
    said = CliRunner().invoke(series.command, ["R", "1/2"]).stdout.splitlines()
    assert said[0] == "R 1/2  taper pipe thread, external  (ISO 7-1)"
    assert said[1] == "  pitch 1.814 mm (14 TPI), angle 55 deg, taper 1:16 on the diameter"
    assert said[2] == (
        "  basic diameters: major 20.955 mm (0.8250 in), pitch 19.793 mm (0.7793 in), minor "
        "18.632 mm (0.7335 in)"
    )
    assert said[3].startswith(
        "  these hold at the gauge plane, 8.20 mm from the small end; at the "
    )
    assert said[3].endswith("major is 20.44 mm; useful thread 13.2 mm")
    assert any(x.startswith("  taken for: 1/2-14 NPT; ") for x in said)
    assert said[-3].startswith("  met: ") and said[-2].startswith("  source: ISO 7-1")
    assert not any("tapping drill" in x for x in said)
    inside = CliRunner().invoke(series.command, ["Rc 1/2"]).stdout
    assert "which is the mouth; the thread narrows inward; useful thread" in inside


def test_a_list_has_one_line_for_each_size_and_counts_them() -> None:
    said = CliRunner().invoke(series.command, ["-f", "Pg"]).stdout.splitlines()
    assert said[0].split()[0] == "designation" and len(said) == 12
    assert said[-1] == "10 sizes; basic diameters, of a taper at its gauge plane"
    assert said[5].split() == ["Pg", "16", "1.411", "18", "22.500", "21.155", "80", "parallel",
                               "DIN", "40430"]  # fmt: skip
    one = CliRunner().invoke(series.command, ["-f", "Pg", "-d", "12.5"]).stdout
    assert one.splitlines()[-1].startswith("1 size;")


def test_a_size_as_json_has_limits_uses_and_what_it_is_taken_for() -> None:
    told = json.loads(CliRunner().invoke(series.command, ["M14x1.5", "--json"]).stdout)
    assert told["format"] == "pitchcam.size/1" and told["taper"] == 0.0
    first = told["limits"]["external"][0]
    assert first["class"] == "6g" and first["major_mm"] == pytest.approx([13.732, 13.968])
    assert set(told["limits"]) == {"external", "internal"} and told["gauge_length_mm"] is None
    assert any(c["designation"] == "9/16-18 UNF" for c in told["confusable"])
    assert all(u["seal"] and u["source"] for u in told["uses"]) and told["commonness"] == "common"


# Options.


@pytest.mark.parametrize(
    ("kind", "typed", "value"),
    [
        (LENGTH, "5/16in", 7.9375),
        (LENGTH, 8, 8.0),
        (PRESSURE, "1 MPa", 10.0),
        (PRESSURE, 3, 3.0),
        (TEMPERATURE, "212 F", 100.0),
        (MASS, "1 kg", 1000.0),
    ],
)
def test_an_option_with_a_unit(kind: Any, typed: Any, value: float) -> None:
    assert kind.convert(typed, None, None) == pytest.approx(value)


@pytest.mark.parametrize(
    ("kind", "typed", "says"),
    [
        (LENGTH, "wide", "'wide' is not a length; write 8, 8.0mm, 0.315in or 5/16in"),
        (PRESSURE, "1 atm", "'1 atm' is not a pressure; write 16 bar, 1.6 MPa or 230 psi"),
        (MASS, "0", "'0' is not a mass above zero; leave it empty if not known"),
    ],
)
def test_an_option_that_is_no_amount_fails_in_one_line(kind: Any, typed: str, says: str) -> None:
    with pytest.raises(click.BadParameter) as caught:
        kind.convert(typed, None, None)
    assert caught.value.message == says


ONE = "state one; of two that lie in one photo the second follows in --also"


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"pin": 0.9}, "--pin 0.9 mm is smaller than any reference; if the reading is in inches "
                       "write --pin 0.9in"),
        ({"disc": 501.0}, "--disc 501 mm does not fit in a photo; check the unit"),
        ({"pin": 8.0, "card": True}, "--card and --pin contradict each other; " + ONE),
        ({"major": 9.0, "no_reference": True}, "--major and --no-reference contradict each other; "
                                               + ONE),
    ],
)  # fmt: skip
def test_a_reference_that_cannot_be_stated(options: dict[str, Any], says: str) -> None:
    with pytest.raises(UsageError) as caught:
        scale_spec(**options)
    assert str(caught.value) == says


def test_options_that_are_not_used_change_nothing() -> None:
    unused = {name: None for name in SCALE_NAMES} | {"card": False, "no_reference": False}
    assert scale_spec(**unused) == scale_spec()
    for mm in (1.0, 500.0):
        assert scale_spec(disc=mm).mm == mm
    full = scale_spec(pin=8.0, axis_height=9.5, camera="c.json")
    assert (full.axis_height_mm, full.camera_profile, full.height_mm) == (9.5, "c.json", None)


def test_names_of_files_are_judged_before_the_work(tmp_path) -> None:
    for path, says in (
        ("a.txt", "--report a.txt: the name must end in .html or .htm"),
        ("none/a.html", "--report none/a.html: there is no folder none"),
    ):
        with pytest.raises(UsageError) as caught:
            output_path(path, "--report", (".html", ".htm"))
        assert str(caught.value) == says


def test_the_record_may_be_named_for_all_commands(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PITCHCAM_RECORD", raising=False)
    assert str(usual_record()) == "pitchcam.sqlite"
    monkeypatch.setenv("PITCHCAM_RECORD", "other.sqlite")
    assert str(usual_record()) == "other.sqlite"

    @click.command()
    @record_option("The record.")
    def said(record: Any) -> None:
        click.echo(record)

    assert CliRunner().invoke(said).stdout == "other.sqlite\n"
    assert CliRunner().invoke(said, ["--record", "own"]).stdout == "own\n"


LIMITS: dict[str, Any] = dict.fromkeys(
    ("bore", "service", "pressure", "temperature", "hose_pressure", "hose_temperature", "probe",
     "wall", "immersion", "room", "stand_off", "port_depth", "part_mass")
) | {"one_wire": False, "max_pieces": 3}  # fmt: skip


def test_a_service_brings_its_usual_duty_and_what_is_stated_goes_before_it() -> None:
    plain = question_limits(LIMITS)
    assert plain["pressure_bar"] is plain["temperature_c"] is None
    assert (
        plain["bore_mm"] == plain["wall_mm"] == plain["immersion_mm"] == plain["part_mass_g"] == 0
    )
    coolant = question_limits(LIMITS | {"service": "coolant", "hose_temperature": 140.0})
    assert (coolant["pressure_bar"], coolant["temperature_c"]) == (1.5, 115.0)
    assert coolant["hose_c"] == 140.0
    own = question_limits(LIMITS | {"service": "coolant", "pressure": 2.0, "temperature": 0.0})
    assert (own["pressure_bar"], own["temperature_c"]) == (2.0, 0.0)


def test_a_question_has_a_female_port_and_a_male_part() -> None:
    asked = question("M18x1.5", "M14x1.5", LIMITS | {"probe": 60.0, "one_wire": True})
    assert asked.port.text == "M18x1.5 female" and asked.part.text == "M14x1.5 male"
    assert asked.probe_mm == 60.0 and asked.one_wire and asked.max_pieces == 3


def test_stock_that_is_not_there_says_how_to_take_it_in(tmp_path) -> None:
    with pytest.raises(UsageError, match="there is no stock: .* does not exist.* stock import"):
        load_stock(None, tmp_path / "none.sqlite")
    with pytest.raises(InputError, match="there is no file"):
        load_stock(tmp_path / "none.csv", tmp_path / "none.sqlite")


@pytest.mark.parametrize(
    ("role", "text", "wanted", "origin"),
    [
        ("part", "-d 13.8 -g 1.5mm --form parallel", "external", "readings -d 13.8 -g"),
        ("port", "-d 13.8 -g 1.5mm --form parallel", "internal", "the old part out of it"),
    ],
)
def test_readings_in_place_of_a_name(role: str, text: str, wanted: Any, origin: str) -> None:
    side = read_side(role, text, cast=False, wanted=wanted)
    assert origin in side.origin and side.certain and side.role == role
    [name] = side.names
    assert name.end.designation == "M14x1.5" and name.end.gender == wanted


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("-d wide", "the part: --diameter: 'wide' is not a length"),
        ("--no-such", "--part '--no-such': No such option"),
        ("-d 'open", "--part '-d 'open': No closing quotation"),
        ("-d", "--part '-d': Option '-d' requires an argument"),
    ],
)
def test_readings_that_are_none_name_the_side(text: str, says: str) -> None:
    with pytest.raises((UsageError, ReadingError)) as caught:
        read_side("part", text, cast=False, wanted="external")
    assert str(caught.value).startswith(says)


def test_every_command_has_a_line_of_its_own() -> None:
    assert len({line for _, line in COMMANDS.values()}) == len(COMMANDS)
    for _, line in COMMANDS.values():
        assert line[0].isupper() and line.endswith(".") and len(line) < 80
