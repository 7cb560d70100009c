"""The short answer: every figure that a person needs is in it, and a refusal names nothing."""

from dataclasses import replace

from pitchcam.records import Measurement, Verdict
from pitchcam.report import text, verdicts
from tests.report import invented


def test_a_named_thread():
    measurement, _ = invented.single(warnings=["tilt"])
    told = text(measurement)
    assert told.startswith("M14x1.5  (ISO 261, probability 96.8 %)")
    for piece in (
        "1.5002 ± 0.0032 mm",
        "16.931 ± 0.036 TPI",
        "13.802 ± 0.048 mm",
        "0.5434 ± 0.0019 in",
        "60.12 ± 0.80°",
        "parallel",
        "8.0 turns seen, single start",
        "also possible: 9/16-18 UNF (3.1 %)",
        "Scale from the plain pin",
        "Warning: the camera looked down at an angle; hold the phone level over the part",
    ):
        assert piece in told
    assert told.endswith("\n")


def test_an_ambiguous_thread_has_no_name_but_a_next_step():
    measurement, _ = invented.single(verdict=invented.ambiguous())
    told = text(measurement)
    assert told.startswith("Not certain yet: 1/2-14 NPT (60.0 %) or R 1/2 (40.0 %)")
    assert "next step: measure the thread angle" in told
    assert "also possible" not in told


def test_off_series_and_unreadable():
    off, _ = invented.single(verdict=Verdict(status="off-series"))
    assert text(off).startswith("Measured, but no thread of the standard series fits")
    bad, _ = invented.single(verdict=Verdict(status="unreadable"))
    assert text(bad).startswith("Not readable")


def test_twins_and_notes_are_listed():
    twin = Verdict(
        status="named",
        designation="1/4-26 BSF",
        standard="BS 84",
        probability=0.99,
        same_geometry=("1/4-26 brass",),
        notes=("prior changed the order",),
    )
    told = text(invented.single(verdict=twin)[0])
    assert "same size as 1/4-26 brass" in told
    assert "note: prior changed the order" in told


def test_after_a_name_come_seal_and_next_command_and_uses_once():
    use = "37 degree flare, 5/16 in tube"
    verdict = Verdict(
        status="named",
        designation="1/2-20 UNF",
        standard="ASME B1.1",
        probability=0.999,
        same_geometry=(f"1/2-20 UNF as {use}",),
        next_step=f"One size serves several uses, told apart by seat or marking: {use}: seals on "
        "the cone.",
    )
    told = text(invented.single(verdict=verdict)[0])
    assert told.count(use) == 1
    lines = [line.strip().partition(":")[0] for line in told.splitlines()]
    assert lines.index("seal") < lines.index("next step") < lines.index("then")
    assert 'then: pitchcam job --port THREAD --part "1/2-20 UNF"' in told
    bare = text(invented.single(verdict=replace(verdict, next_step=None))[0])
    assert bare.count(use) == 1
    assert "seal:" not in text(invented.single(verdict=invented.ambiguous())[0])


def test_cases_of_a_step_stand_under_one_another():
    """Three sizes and what a caliper reads of each, then a further photo: not one long line."""
    step = (
        "Read the crests: M12x1.25 has 11.64 to 12.00 mm; 1-3/16-8 UN has 29.54 to 30.16 mm; "
        "1/4-18 NPSM has 13.13 to 13.36 mm. Or take one more photo, from 200 mm."
    )
    verdict = replace(invented.ambiguous(), next_step=step)
    assert text(invented.single(verdict=verdict)[0]).splitlines()[8:-1] == [
        "  next step: Read the crests:",
        "    - M12x1.25 has 11.64 to 12.00 mm",
        "    - 1-3/16-8 UN has 29.54 to 30.16 mm",
        "    - 1/4-18 NPSM has 13.13 to 13.36 mm",
        "  Or take one more photo, from 200 mm.",
        "",
    ]
    two = "Hold a form gauge to the flanks: M6x1 60 deg; 0 BA 47.5 deg."
    assert f"  next step: {two}\n" in text(
        invented.single(verdict=replace(verdict, next_step=two))[0]
    )


def test_a_second_measurement_has_its_cases_under_what_to_do():
    """As two measurements are told: the first word is none of its lead."""
    step = "Try a plug of 10 BA. Then: Make a cast: 10 BA 1.3 mm; M1.6x0.35 1.2 mm; M2x0.4 1.6 mm."
    assert verdicts.step_lines(step) == [
        "  next step: Try a plug of 10 BA.",
        "  Then: Make a cast:",
        "    - 10 BA 1.3 mm",
        "    - M1.6x0.35 1.2 mm",
        "    - M2x0.4 1.6 mm",
    ]


def test_a_cell_that_is_rounded_to_nothing_is_not_impossible():
    words = "M6x1 (under 0.1 %) or M6x0.75 (over 99.9 %)"
    assert verdicts.candidates_words("M6x1 0.000; M6x0.75 1.000") == words


def test_candidates_of_a_table_are_read_as_percent_and_few():
    assert verdicts.candidates_words("") == ""
    cell = "M10x1 0.773; M15x1.5 0.174; 5/16-32 UNEF 0.021; M20x2 0.016; 1/2-20 UNF 0.006"
    words = "M10x1 (77.3 %) or M15x1.5 (17.4 %) or 5/16-32 UNEF (2.1 %) or 2 more"
    assert verdicts.candidates_words(cell) == words


def test_several_parts_are_numbered():
    places = [((1200.0, 1200.0), 0.0), ((2200.0, 1200.0), 90.0)]
    told = text(invented.scene(places)[0])
    assert "Part 1: M14x1.5" in told
    assert "Part 2: M14x1.5" in told


def test_a_refusal_carries_no_designation():
    measurement, _ = invented.single(warnings=["blurred"])
    empty = replace(measurement, parts=(), scale=None)
    told = text(empty)
    assert told.startswith("No thread was named.")
    assert "M14" not in told
    assert "retake" in told
    assert isinstance(empty, Measurement)


def test_taper_tells_the_station():
    told = text(invented.single(taper=invented.q(0.0621, 0.002))[0])
    assert "diameters at 11.5 mm from the small end" in told
