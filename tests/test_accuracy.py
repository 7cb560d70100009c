"""The comparison itself, on invented readings: a table that cannot fail would prove nothing."""

from tests.accuracy import Row, assign, compare, judge, right_reason, scale_of, summary, true_values
from tests.report import invented


def truth(designation="M14x1.5", pitch=1.5, major=13.8, taper=0.0, angle=60.0):
    return {
        "designation": designation,
        "pitch_mm": pitch,
        "major_mm": major,
        "taper": taper,
        "angle_deg": angle,
        "thread_length_mm": 12.0,
    }


def found(**options):
    return invented.thread((1000.0, 1000.0), 0.0, plots=False, **options)


def test_scale_keeps_what_a_user_states():
    spec = scale_of({"scale": {"source": "disc", "mm": 23.25, "height_mm": 2.0, "note": "x"}})
    assert (spec.source, spec.mm, spec.height_mm) == ("disc", 23.25, 2.0)
    sheet = scale_of({"scale": {"source": "sheet", "mm": 99.6}})
    assert (sheet.source, sheet.mm, sheet.sheet_bar_mm) == ("sheet", None, 99.6)


def test_errors_are_signed_and_in_units_of_u():
    row = Row("p", "clean", "M14x1.5", "named", "M14x1.5")
    compare(row, truth(pitch=1.4972), found())
    assert abs(row.errors["pitch_mm"] - (1.5002 - 1.4972) / 1.4972) < 1e-12
    assert abs(row.in_u["pitch_mm"] - (1.5002 - 1.4972) / 0.0016) < 1e-9
    assert row.beyond == ["pitch_mm"]
    assert not row.passed


def test_taper_diameters_are_compared_where_they_were_measured():
    values = true_values(truth(taper=0.0625), found())
    assert abs(values["major_mm"] - (13.8 - 0.0625 * 0.5)) < 1e-12


def test_diameters_may_be_stated_at_a_station_of_their_own():
    stated = truth(taper=0.0625) | {"diameter_station_mm": 9.5, "minor_mm": 12.0}
    del stated["thread_length_mm"]
    values = true_values(stated, found())  # measured at 11.5 from the small end: 2 mm nearer
    assert abs(values["major_mm"] - (13.8 + 0.0625 * 2.0)) < 1e-12
    assert abs(values["minor_mm"] - (12.0 + 0.0625 * 2.0)) < 1e-12


def test_what_a_truth_does_not_say_is_not_compared():
    stated = truth(taper=0.0625)
    del stated["thread_length_mm"], stated["angle_deg"]
    assert set(true_values(stated, found())) == {"pitch_mm", "taper"}
    assert set(true_values(stated | {"taper": 0.0}, found())) == {"pitch_mm", "taper", "major_mm"}


def test_assignment_takes_the_best_pairs_and_leaves_strangers():
    truths = [truth(major=15.8), truth(major=13.8), truth(pitch=0.907)]
    assert assign(truths, [found()]) == {1: 0}
    assert assign([], [found()]) == {}


def test_a_wrong_name_is_wrong_and_a_twin_is_not():
    assert judge("M14x1.5", found()) == "named"
    assert judge("9/16-18 UNF", found()) == "WRONG"
    assert judge("R 1/2", found(verdict=invented.ambiguous())) == "candidate"
    assert judge("M14x1.5", found(verdict=invented.ambiguous())) == "missed"


def test_summary_counts():
    rows = [
        Row("a", "clean", "M14x1.5", "WRONG", "G 1/4", in_u={"pitch_mm": 3.0, "taper": 1.0}),
        Row("b", "refuse", "blurred", "refused", "blurred"),
    ]
    told = summary(rows)
    assert "wrong names: 1" in told
    assert "clean: 0 of 1" in told
    assert "within 2u: 1 of 2" in told
    assert "refusals: 1 of 1 without a designation, 1 with the true reason" in told


def test_a_refusal_for_another_reason_is_told_apart():
    assert right_reason(Row("a", "refuse", "no threaded part", "refused", "no-thread: none"))
    assert not right_reason(Row("a", "refuse", "unreadable: blurred", "refused", "no-thread"))
