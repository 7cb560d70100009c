"""What a scale may be, how it is weighed, and what is said of a reference."""

import dataclasses
import math

import numpy as np
import pytest

from pitchcam.camera.focal import U_HELD
from pitchcam.errors import ReadingError
from pitchcam.match.evidence import LENGTHS, log_evidence, log_evidences, rescaled, with_common
from pitchcam.match.likelihood import FLOOR, station_shift, vectors
from pitchcam.match.population import population
from pitchcam.match.ratios import (
    REACH,
    STEP,
    TOLD,
    any_scale,
    caliper_step,
    name_by_ratios,
    ratios_of,
)
from pitchcam.match.reference import (
    FEWEST,
    RATIOS,
    SizeBelief,
    agreeing,
    box_doubt,
    doubt_words,
    explanations,
    size_belief,
    stated_mm,
)
from pitchcam.match.scales import AS_STATED, LEFT_OUT, Scales
from pitchcam.match.slips import slip_shares
from pitchcam.records import Candidate, Quantity, ScaleSpec, ThreadReading
from pitchcam.series import find
from tests.quantities import q

READ = ThreadReading(
    pitch_mm=q(1.5, 0.003),
    major_mm=q(13.85, 0.04),
    minor_mm=q(12.1, 0.05),
    angle_deg=q(60.0, 0.6),
    taper=q(0.0, 0.002),
    diameter_station_mm=q(10.0, 0.1),
    correlation={("pitch_mm", "major_mm"): 0.5},
)


def test_another_scale_makes_lengths_longer_and_nothing_else() -> None:
    twice = rescaled(READ, 2.0)
    assert (twice.pitch_mm, twice.major_mm) == (q(3.0, 0.006), q(27.7, 0.08))
    assert (twice.minor_mm, twice.diameter_station_mm) == (q(24.2, 0.1), q(20.0, 0.2))
    assert (twice.angle_deg, twice.taper) == (READ.angle_deg, READ.taper)
    assert twice.pitch_diameter_mm is None and twice.correlation == READ.correlation
    assert rescaled(twice, 0.5) == READ


def test_a_common_error_widens_lengths_and_ties_them_together() -> None:
    wide = with_common(READ, 0.01)
    assert wide.pitch_mm is not None and wide.major_mm is not None and wide.angle_deg is not None
    assert wide.pitch_mm.u == pytest.approx(math.hypot(0.003, 0.015))
    assert wide.major_mm.u == pytest.approx(math.hypot(0.04, 0.1385))
    assert (wide.angle_deg, wide.taper) == (READ.angle_deg, READ.taper)
    # cov = r u1 u2 + s^2 x1 x2 (JCGM 100, 5.2.2).
    joint = 0.5 * 0.003 * 0.04 + 0.015 * 0.1385
    expected = joint / (wide.pitch_mm.u * wide.major_mm.u)
    assert wide.correlation["pitch_mm", "major_mm"] == pytest.approx(expected)
    assert wide.correlation["pitch_mm", "angle_deg"] == 0.0
    assert with_common(READ, 0.0) is READ and with_common(READ, -1.0) is READ


def test_evidence_is_a_density_of_what_was_read() -> None:
    """Reading twice too long by a scale twice too large is as likely, but for the Jacobian."""
    there = log_evidence(rescaled(READ, 0.5), 2.0)
    lengths = sum(getattr(READ, name) is not None for name in LENGTHS)
    assert lengths == 3
    assert there == pytest.approx(log_evidence(READ) + lengths * math.log(2.0), abs=1e-6)


def test_evidence_falls_off_the_series_but_not_to_nothing() -> None:
    on, off, far = (log_evidence(READ, f) for f in (1.0, 1.1, 1.37))
    assert on > off + 5 and on > far + 5
    # A thread of no series has one in a hundred: no reading is impossible.
    assert np.all(np.isfinite(log_evidences(READ, np.linspace(0.5, 2.0, 31))))


def test_vectors_hold_what_was_read_in_order() -> None:
    read = vectors(READ, np.array([1.0, 2.0]))
    assert read.index.tolist() == [0, 1, 3, 4, 5]
    assert read.value.tolist() == [[1.5, 13.85, 12.1, 60.0, 0.0], [3.0, 27.7, 24.2, 60.0, 0.0]]
    u = np.sqrt(np.diagonal(read.covariance, axis1=1, axis2=2))
    assert u[1] == pytest.approx([0.006, 0.08, 0.1, 0.6, 0.002], rel=1e-5)
    assert read.covariance[0, 0, 1] == pytest.approx(0.5 * 0.003 * 0.04, rel=1e-5)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"pitch_mm": q(0.0, 0.1)}, "pitch_mm is not above 0."),
        ({"major_mm": q(-1.0, 0.1)}, "major_mm is not above 0."),
        ({"angle_deg": q(0.0, 0.1)}, "angle_deg is not above 0."),
    ],
)
def test_a_length_that_is_none_is_refused(change: dict[str, Quantity], says: str) -> None:
    with pytest.raises(ReadingError) as caught:
        vectors(dataclasses.replace(READ, **change))
    assert (caught.value.message, caught.value.advice) == (says, "Repeat the reading.")


def test_an_empty_reading_is_refused() -> None:
    with pytest.raises(ReadingError) as caught:
        vectors(ThreadReading())
    assert caught.value.message == "nothing of the thread was read."
    assert caught.value.advice == "Give a pitch or a diameter."


def test_a_taper_may_be_negative_and_a_u_is_never_nothing() -> None:
    read = vectors(ThreadReading(pitch_mm=q(1.5, 0.0), taper=q(-0.06, 0.0)))
    assert read.value[0].tolist() == [1.5, -0.06]
    u = np.sqrt(np.diagonal(read.covariance[0]))
    assert u == pytest.approx([FLOOR[0], FLOOR[5]]) and np.all(u > 0)


@pytest.mark.parametrize("station", [0.0, 4.0, 12.0])
def test_a_station_moves_a_taper_by_a_sixteenth(station: float) -> None:
    parts = population("external")
    shift, u = station_shift(parts, q(station, 0.8))
    r, m = parts.sizes.index(find("R 1/2")), parts.sizes.index(find("M14x1.5"))
    assert shift[0, r] == pytest.approx((station - 8.2) / 16)
    assert u[0, r] == pytest.approx(0.8 / 16)
    assert shift[0, m] == u[0, m] == 0.0


def test_a_station_counts_with_the_scale() -> None:
    parts = population("external")
    shift, u = station_shift(parts, q(4.0, 0.8), np.array([1.0, 2.0]))
    r = parts.sizes.index(find("R 1/2"))
    assert (shift[1, r], u[1, r]) == pytest.approx(((8.0 - 8.2) / 16, 1.6 / 16))


# Scales.


def scales(*rows: tuple[float, float, float]) -> Scales:
    ratio, spread, weight = (np.array(x) for x in zip(*rows, strict=True))
    return Scales(ratio=ratio, spread=spread, weight=weight)


def test_the_least_probable_explanations_are_left_out() -> None:
    kept = scales((1.0, 0.0, 0.9), (1.1, 0.0, 0.0996), (1.2, 0.0, 0.0003), (1.3, 0.0, 0.0001))
    assert kept.likely().ratio.tolist() == [1.0, 1.1]
    assert kept.likely().weight.sum() == pytest.approx(1.0)
    assert kept.likely().weight[1] == pytest.approx(0.0996 / 0.9996)
    # Up to LEFT_OUT together, not each.
    many = scales((1.0, 0.0, 0.99), *((1 + k / 100, 0.0, 0.0005) for k in range(1, 21)))
    left_out = 1 - many.likely().ratio.size / 21
    assert left_out * 21 * 0.0005 <= LEFT_OUT + 0.0005
    assert AS_STATED.likely().ratio.tolist() == [1.0]


def test_explanations_keep_their_order() -> None:
    kept = scales((1.3, 0.0, 0.1), (1.0, 0.0, 0.5), (1.1, 0.0, 0.4)).likely()
    assert kept.ratio.tolist() == [1.3, 1.0, 1.1]


def test_readings_are_widened_once_for_each_spread() -> None:
    groups = scales((1.0, 0.0, 0.5), (1.1, 0.005, 0.2), (0.9, 0.005, 0.2), (1.2, 0.0, 0.1)).groups(
        READ
    )
    assert [places.tolist() for places, _ in groups] == [[0, 3], [1, 2]]
    assert groups[0][1] is READ and groups[1][1] == with_common(READ, 0.005)


def test_threads_that_exist_weigh_a_scale() -> None:
    both = scales((1.0, 0.0, 0.5), (1.1, 0.0, 0.5)).after([READ])
    assert both.weight[0] > 0.99 and both.weight.sum() == pytest.approx(1.0)
    twice = scales((1.0, 0.0, 0.5), (1.1, 0.0, 0.5)).after([READ, READ])
    odds = [w.weight[1] / w.weight[0] for w in (both, twice)]
    assert odds[1] == pytest.approx(odds[0] ** 2, rel=1e-6)


# Without a reference.


def test_any_scale_is_the_distance_of_a_hand() -> None:
    held = any_scale()
    log = np.log(held.ratio)
    assert held.weight.sum() == pytest.approx(1.0)
    assert float(held.weight @ log) == pytest.approx(0.0, abs=0.01)
    spread = math.sqrt(float(held.weight @ log**2))
    assert spread == pytest.approx(U_HELD, rel=0.04)
    assert log.min() == pytest.approx(-REACH * U_HELD) and np.diff(log) == pytest.approx(STEP)
    assert set(held.spread.tolist()) == {STEP / 2}
    wide = any_scale(0.3)
    assert math.log(wide.ratio[0]) == pytest.approx(-REACH * math.hypot(U_HELD, 0.3))


def test_ratios_lose_what_both_share() -> None:
    read = ThreadReading(
        pitch_mm=q(1.5, 0.015),
        major_mm=q(15.0, 0.15),
        minor_mm=q(12.0, 0.12),
        correlation={("pitch_mm", "major_mm"): 1.0, ("major_mm", "minor_mm"): 0.0},
    )
    ratios = ratios_of(read)
    assert ratios.pitch_over_major == q(0.1, 0.0)
    assert ratios.minor_over_major is not None and ratios.pitch_diameter_over_major is None
    # Uncorrelated: the relative u's add in quadrature.
    assert ratios.minor_over_major.value == pytest.approx(0.8)
    assert ratios.minor_over_major.u == pytest.approx(0.8 * 0.01 * math.sqrt(2))
    assert ratios_of(ThreadReading(pitch_mm=q(1.5, 0.01))).pitch_over_major is None


def candidate(name: str, probability: float) -> Candidate:
    return Candidate(designation=name, standard="", probability=probability)


def test_the_caliper_step_says_what_each_would_read() -> None:
    said = caliper_step([candidate("M10x1", 0.6), candidate("M20x2", 0.4)], "external")
    assert said == (
        "Measure the diameter over the crests with a caliper, and state it with --major: "
        "M10x1 has 9.69 to 10.00 mm; M20x2 has 19.51 to 20.00 mm."
    )


def test_candidates_of_one_reading_are_said_together_and_the_many_counted() -> None:
    names = ["1/2-14 NPT", "1/2-14 NPTF", "M10x1", "M12x1", "M14x1", "M16x1", "M20x1", "M24x1"]
    some = [candidate(n, 0.3 - 0.03 * i) for i, n in enumerate(names)]
    said = caliper_step(some, "external")
    assert "1/2-14 NPT or 1/2-14 NPTF has" in said
    assert said.endswith(f"; {len(names) - TOLD} more are less likely.")
    # What has less than two in a hundred is not told in words.
    few = caliper_step([candidate("M10x1", 0.97), candidate("M20x2", 0.019)], "external")
    assert "M20x2" not in few and few.endswith("10.00 mm.")


def test_inside_the_cast_is_measured() -> None:
    assert "M10x1 has 10.00 to" in caliper_step([candidate("M10x1", 0.9)], "internal")


def test_a_thread_without_pitch_or_diameter_tells_no_scale() -> None:
    verdict = name_by_ratios(ThreadReading(angle_deg=q(55.0, 0.5), taper=q(1 / 16, 0.001)))
    assert verdict.status == "ambiguous" and verdict.designation is None
    assert "--major" in (verdict.next_step or "")


# What a reference may be.


@pytest.mark.parametrize(
    ("spec", "mm"),
    [
        (ScaleSpec(source="pin", mm=8.0), 8.0),
        (ScaleSpec(source="disc", mm=23.25), 23.25),
        (ScaleSpec(source="jaws", mm=20.0), 20.0),
        (ScaleSpec(source="major", mm=13.8), 13.8),
        (ScaleSpec(source="card"), 85.6),
        (ScaleSpec(source="sheet"), 100.0),
        (ScaleSpec(source="auto"), 100.0),
        (ScaleSpec(source="none"), None),
    ],
    ids=lambda v: getattr(v, "source", str(v)),
)
def test_stated_sizes(spec: ScaleSpec, mm: float | None) -> None:
    assert stated_mm(spec) == mm


def test_a_stated_pin_is_another_at_the_share_of_the_slip() -> None:
    wrong = slip_shares()["reference-pin"]
    held, sizes = explanations(ScaleSpec(source="pin", mm=8.0))
    assert held.ratio[0] == 1.0 and held.weight[0] == pytest.approx(1 - wrong)
    assert sizes[0] == 8.0 and len(sizes) == held.ratio.size
    low, high = RATIOS
    assert held.ratio.min() >= low - 1e-9 and held.ratio.max() <= high + 1e-9
    usual = held.spread == 0.0
    # Four fifths of the wrong ones are of usual sizes, any other size has the rest.
    assert held.weight[usual][1:].sum() == pytest.approx(0.8 * wrong)
    assert held.weight[~usual].sum() == pytest.approx(0.2 * wrong)
    assert {6.0, 10.0, 12.0, 5.0} <= {round(s, 3) for s, u in zip(sizes, usual, strict=True) if u}


def test_dowel_sizes_are_met_more_often() -> None:
    held, sizes = explanations(ScaleSpec(source="pin", mm=8.0))
    weight = {
        round(s, 4): float(w)
        for s, w, u in zip(sizes, held.weight, held.spread, strict=True)
        if u == 0
    }
    # references.csv: whole mm weigh 1, dowels 2 more, half mm 0.2, sixteenths of an inch 0.3.
    assert weight[6.0] == pytest.approx(3 * weight[7.0])
    assert weight[6.5] == pytest.approx(0.2 * weight[7.0])
    assert weight[9.525] == pytest.approx(0.3 * weight[7.0])


@pytest.mark.parametrize("source", ["jaws", "major"])
def test_jaws_and_crests_may_be_of_any_size(source: str) -> None:
    held, _ = explanations(ScaleSpec(source=source, mm=20.0))
    # As stated, or misread by a millimetre either way.
    assert held.ratio[held.spread == 0.0] * 20.0 == pytest.approx([20.0, 19.0, 21.0])
    assert np.count_nonzero(held.spread > 0.0) > 90
    assert held.weight[1:].sum() == pytest.approx(slip_shares()[f"reference-{source}"])


def test_a_sheet_shrinks_with_the_page_rather_than_grows() -> None:
    held, sizes = explanations(ScaleSpec(source="sheet"))
    assert held.ratio.min() == pytest.approx(0.9, abs=1e-6) and held.ratio.max() <= 1.03
    assert sizes[0] == 100.0
    # A bar that was measured is what it is.
    alone, only = explanations(ScaleSpec(source="sheet", sheet_bar_mm=98.0))
    assert alone.ratio.tolist() == [1.0] and only == (100.0,)
    assert explanations(ScaleSpec(source="none"))[1] == (1.0,)


def belief(**changes: object) -> SizeBelief:
    base = SizeBelief(
        scales=scales((1.0, 0.0, 0.1), (1.25, 0.0, 0.85), (1.1, 0.005, 0.05)),
        sizes_mm=(8.0, 10.0, 8.8),
        ratio=1.25,
        share=0.9,
        threads=2,
    )
    return dataclasses.replace(base, **changes)


def test_a_belief_knows_what_it_believes() -> None:
    assert belief().wrong == pytest.approx(0.9) and belief().other_mm == 10.0
    assert belief().listed and not belief(ratio=1.12).listed


@pytest.mark.parametrize(
    ("source", "mm", "changes", "says"),
    [
        ("pin", 8.0, {}, "the pin does not seem to be 8 mm: with 10 mm everything would fit"),
        ("disc", 8.0, {}, "the disc does not seem to be 8 mm: with 10 mm everything would fit"),
        (
            "jaws",
            8.0,
            {},
            "the caliper jaws do not seem to stand at 8 mm: with 10 mm everything would fit",
        ),
        (
            "major",
            8.0,
            {},
            "the crests do not seem to measure 8 mm: with 10 mm everything would fit",
        ),
        (
            "auto",
            None,
            {},
            "the marker sheet's bar does not seem to be 8 mm: with 10 mm everything would fit",
        ),
        (
            "pin",
            8.0,
            {"ratio": 1.123},
            "the pin does not seem to be 8 mm: with about 8.98 mm everything would fit",
        ),
        (
            "pin",
            8.0,
            {"ratio": 1.123, "threads": 1},
            "the pin may not be 8 mm: with about 8.98 mm everything would fit",
        ),
        (
            "pin",
            8.0,
            {"share": 0.4},
            "the pin does not seem to be 8 mm: several other sizes would fit",
        ),
        (
            "jaws",
            8.0,
            {"scales": scales((1.0, 0.0, 0.6), (1.25, 0.0, 0.4))},
            "the caliper jaws may not stand at 8 mm: with 10 mm everything would fit",
        ),
    ],
)
def test_a_doubt_in_words(source: str, mm: float | None, changes: dict, says: str) -> None:
    assert doubt_words(belief(**changes), ScaleSpec(source=source, mm=mm)) == says


def box(*factors: float) -> list[ThreadReading]:
    names = ("M14x1.5", "M10x1", "M24x3")
    read = []
    for name, factor in zip(names, factors, strict=False):
        size = find(name)
        limits = size.external[0]
        values = {
            "pitch_mm": q(size.pitch_mm, 0.002),
            "major_mm": q(sum(limits.major_mm) / 2, 0.03),
            "pitch_diameter_mm": q(sum(limits.pitch_diameter_mm) / 2, 0.03),
            "angle_deg": q(60.0, 0.6),
            "taper": q(0.0, 0.002),
        }
        read.append(rescaled(ThreadReading(**values), factor))
    return read


def test_a_box_says_what_to_measure_and_how_many_would_fit() -> None:
    said = box_doubt(box(0.8, 0.8, 0.8), ScaleSpec(source="pin", mm=8.0))
    assert said == (
        "Measure the reference: 3 of 3 threads fit the series if it is 10.00 mm (8 mm was "
        "stated); then state that and measure again."
    )


def test_a_box_is_not_doubted_by_one_thread_or_a_right_reference() -> None:
    pin = ScaleSpec(source="pin", mm=8.0)
    assert box_doubt(box(0.8)[: FEWEST - 1], pin) is None
    assert box_doubt(box(1.0, 1.0, 1.0), pin) is None
    assert box_doubt([ThreadReading(angle_deg=q(60, 1))] * 3, pin) is None


def test_threads_that_agree_are_counted_at_the_other_size() -> None:
    assert agreeing(box(0.8, 0.8, 0.8), 1.25) == 3
    assert agreeing(box(0.8, 0.8, 1.0), 1.25) == 2
    assert agreeing([ThreadReading(angle_deg=q(60, 1))], 1.0) == 0


def test_a_distance_where_nobody_holds_a_phone_speaks_against_the_stated_size() -> None:
    pin = ScaleSpec(source="pin", mm=8.0)
    near, usual, far = (size_belief([], pin, d).wrong for d in (60.0, 230.0, 900.0))
    assert near > usual and far > usual
    # No distance is no word: neither a nan nor one below 0.
    plain = size_belief([], pin)
    for silent in (math.nan, -1.0, 0.0):
        assert size_belief([], pin, silent).wrong == pytest.approx(plain.wrong)
    assert plain.threads == 0 and plain.ratio == 1.0 and plain.share == 0.0
