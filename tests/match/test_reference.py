"""A reference that is not of the stated size: told by what the threads would be else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.match import name_thread
from pitchcam.match.evidence import log_evidence, rescaled, with_common
from pitchcam.match.likelihood import log_off_series, vectors
from pitchcam.match.reference import (
    KINDS,
    SizeBelief,
    belief_of,
    box_doubt,
    doubt_words,
    doubted,
    explanations,
    size_belief,
)
from pitchcam.match.scales import Scales
from pitchcam.records import PartResult, Quantity, ScaleSpec, ThreadReading, ThreadResult
from tests.match.test_naming import q, reading_of

BOX = [reading_of(d, low_mm=0.12) for d in ("M14x1.5", "M10x1", "5/8-18 UNF", "G 1/4")]
# Middles of the tolerance zones, pitch, major, pitch diameter and angle. ISO 965-2, 6g (from
# memory): M10x1 9.794-9.974 and 9.206-9.324, M14x1.5 13.732-13.968 and 12.854-12.994. ASME B1.1,
# 2A: 1/2-20 UNF 0.4906-0.4987 in and 0.4619-0.4662 in.
MIDDLES = {
    "M10x1.25": (1.25, 9.87, 9.11, 60.0),
    "M10x1": (1.0, 9.884, 9.265, 60.0),
    "M14x1.5": (1.5, 13.85, 12.924, 60.0),
    "1/2-20 UNF": (1.27, 12.564, 11.787, 60.0),
}
#: Every kind with a stated size, and another size that is met.
REFERENCES = [
    (ScaleSpec(source="pin", mm=10.0), 8.0),
    (ScaleSpec(source="disc", mm=25.0), 20.0),
    (ScaleSpec(source="jaws", mm=20.0), 17.0),
    (ScaleSpec(source="major", mm=12.0), 10.0),
    (ScaleSpec(source="card"), 90.0),
    (ScaleSpec(source="sheet"), 94.0),
]


def read(name: str, factor: float = 1.0, u_scale: float = 0.004) -> ThreadReading:
    """Return a reading with a scale that is a factor too large."""
    pitch, major, middle, angle = MIDDLES[name]

    def length(mm: float, u: float) -> Quantity:
        return Quantity(value=mm * factor, u=((u_scale * mm) ** 2 + u**2) ** 0.5 * factor)

    return ThreadReading(
        pitch_mm=length(pitch, 0.001),
        major_mm=length(major, 0.02),
        pitch_diameter_mm=length(middle, 0.02),
        angle_deg=Quantity(value=angle, u=0.8),
        taper=Quantity(value=0.0, u=0.002),
        correlation={
            ("pitch_mm", "major_mm"): 0.85,
            ("pitch_mm", "pitch_diameter_mm"): 0.85,
            ("major_mm", "pitch_diameter_mm"): 0.85,
        },
    )


def thread(reading: ThreadReading) -> ThreadResult:
    return ThreadResult(
        reading=reading,
        half_angles_deg=(None, None),
        turns=8.0,
        span_px=((0, 0), (1, 0)),
        budget=(),
        verdict=name_thread(reading),
    )


def part(*readings: ThreadReading) -> list[PartResult]:
    return [PartResult(id=1, box_px=(0, 0, 1, 1), threads=tuple(thread(r) for r in readings))]


def doubt_names(parts, spec, distance_mm, flags):
    return doubted(parts, spec, belief_of(parts, spec, distance_mm), flags)


def size_of(spec: ScaleSpec) -> float:
    return {"card": 85.6, "sheet": 100.0}.get(spec.source, spec.mm or 0.0)


@pytest.mark.parametrize("name", sorted(MIDDLES))
@pytest.mark.parametrize(("spec", "_other"), REFERENCES, ids=lambda v: getattr(v, "source", ""))
def test_right_references_keep_their_names(name: str, spec: ScaleSpec, _other: float) -> None:
    parts, flags = part(read(name)), []
    assert parts[0].threads[0].verdict.status == "named"
    [found] = doubt_names(parts, spec, 230.0, flags)
    assert found.threads[0].verdict.designation == parts[0].threads[0].verdict.designation
    assert flags == []


@pytest.mark.parametrize(("spec", "true"), REFERENCES, ids=lambda v: getattr(v, "source", ""))
def test_threads_that_agree_tell_the_true_size_of_every_kind(spec, true) -> None:
    factor = size_of(spec) / true
    belief = size_belief([rescaled(r, factor) for r in BOX], spec, 230.0)
    assert belief.wrong > 0.99
    assert belief.other_mm == pytest.approx(true, rel=0.003)
    flags: list = []
    found = doubt_names(part(*(rescaled(r, factor) for r in BOX)), spec, 230.0, flags)
    assert all(t.verdict.status == "ambiguous" for t in found[0].threads)
    [said] = flags
    assert said.code == "reference-size"
    assert "not seem to" in said.message
    assert f"{size_of(spec):g} mm" in said.message
    assert f"{size_of(spec):g} or " in (found[0].threads[0].verdict.next_step or "")


@pytest.mark.parametrize(("name", "true", "stated"), [("M10x1", 8.0, 10.0), ("M14x1.5", 8.0, 6.0)])
def test_a_pin_of_another_size_undoes_a_name(name, true, stated) -> None:
    flags: list = []
    wrong = read(name, stated / true)
    [found] = doubt_names(part(wrong), ScaleSpec(source="pin", mm=stated), 230.0, flags)
    verdict = found.threads[0].verdict
    assert verdict.status == "ambiguous"
    assert name in [c.designation for c in verdict.candidates]
    assert [f.code for f in flags] == ["reference-size"]


def test_two_threads_tell_more_than_one() -> None:
    spec = ScaleSpec(source="pin", mm=10.0)
    one = [read("M10x1", 1.25)]
    two = [*one, read("M14x1.5", 1.25)]
    alone, both = (size_belief(t, spec, 280.0) for t in (one, two))
    assert both.other_mm == 8.0
    assert 1 - both.wrong < 0.2 * (1 - alone.wrong)
    flags: list = []
    doubt_names(part(*two), spec, 280.0, flags)
    assert "the pin does not seem to be 10 mm: with 8 mm everything would fit" in flags[0].message


def test_one_thread_that_any_size_would_explain_is_not_said_with_certainty() -> None:
    # An odd thread: any size of the jaws makes it one of some series, as none does.
    odd = replace(read("M14x1.5"), pitch_mm=q(1.62, 0.003))
    flags: list = []
    doubt_names(part(odd), ScaleSpec(source="jaws", mm=20.0), 230.0, flags)
    assert flags and all("may not" in f.message for f in flags)


#: Threads of 9.22 x 1.886 and 9.47 x 1.917 mm, of 60 degrees, as photos of them beside right
#: references read: pitch, major, pitch and minor diameter and angle, u of each by itself and of the
#: scale. No size has them, but some size has nearly every ratio of diameter to pitch.
SPECIAL = [
    (
        ((1.8856, 0.0006), (9.199, 0.008), (7.984, 0.012), (6.896, 0.012), (59.98, 0.21)),
        0.0019,
        ScaleSpec(source="jaws", mm=21.12),
        0.5,
    ),
    (
        ((1.9186, 0.0008), (9.472, 0.010), (8.221, 0.012), (7.119, 0.012), (60.10, 0.13)),
        0.0025,
        ScaleSpec(source="disc", mm=24.25),
        0.98,
    ),
]


@pytest.mark.parametrize(("values", "u_scale", "spec", "most"), SPECIAL)
def test_a_special_thread_of_the_usual_form_is_not_laid_to_its_reference(
    values, u_scale, spec, most
) -> None:
    """Taken to be of any form, it was a standard one beside a wrong reference: 0.999 and more."""
    names = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg")
    held = {n: Quantity(value=v, u=u) for n, (v, u) in zip(names, values, strict=True)}
    reading = ThreadReading(**held, taper=Quantity(value=0.0, u=0.0007))
    reading = with_common(reading, u_scale)
    assert name_thread(reading).status == "off-series"
    belief = size_belief([reading], spec)
    assert belief.threads == 1 and belief.wrong < most


def test_a_special_taper_of_60_degrees_is_of_no_series() -> None:
    """Of an NPT's form at an odd pitch and diameter: roots are deeper than parallel threads'."""
    pitch = 1.71
    names = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg")
    values = (pitch, 19.3, 19.3 - 0.77 * pitch, 19.3 - 1.54 * pitch, 60.0)
    held = {n: Quantity(value=v, u=0.008) for n, v in zip(names, values, strict=True)}
    held |= {"pitch_mm": Quantity(value=pitch, u=0.0008), "angle_deg": Quantity(value=60.0, u=0.3)}
    reading = ThreadReading(**held, taper=Quantity(value=1 / 16, u=0.001))
    own, shallow = (
        float(log_off_series(replace(reading, minor_mm=Quantity(value=v, u=0.008)))[0])
        for v in (values[3], 19.3 - 1.2 * pitch)
    )
    assert own > shallow + 2.0
    assert name_thread(with_common(reading, 0.002)).status == "off-series"


def test_a_name_is_as_probable_as_the_reference_is_right() -> None:
    # By construction: what is left to a name is the share of the stated size, and of others that
    # give the same name, which no size farther off than the reading's doubt does.
    reading = read("M14x1.5")
    spec = ScaleSpec(source="jaws", mm=20.0)
    belief = size_belief([reading], spec, 230.0)
    [found] = doubt_names(part(reading), spec, 230.0, [])
    alone = name_thread(reading).probability or 0.0
    if belief.wrong > 1e-3:
        assert found.threads[0].verdict.probability == pytest.approx(
            alone * (1 - belief.wrong), abs=0.3 * belief.wrong + 1e-4
        )
    assert belief.wrong < 0.05


def test_a_name_that_another_usual_pin_would_turn_into_another_says_so() -> None:
    """M10x1.25 beside a pin of 10 mm is in all ratios M8x1 beside one of 8."""
    [found] = doubt_names(
        part(read("M10x1.25", 0.8)), ScaleSpec(source="pin", mm=8.0), 165.0, flags := []
    )
    verdict = found.threads[0].verdict
    assert verdict.designation == "M8x1" and not flags
    assert verdict.probability < 0.999
    [note] = [n for n in verdict.notes if "as stated" in n]
    assert note.startswith("That the pin is 8 mm is taken as stated; ")
    assert "with 10 mm it would be M10x1.25" in note and "with 8 mm" not in note


def test_a_pin_of_a_neighbouring_size_that_fits_as_well_leaves_no_name_certain() -> None:
    """A thread of 1.25 x 9 beside a pin of 10 mm reads as one of 1.5 x 11 if that is called 12."""
    reading = replace(
        read("M14x1.5", u_scale=0.0046),
        pitch_mm=Quantity(value=1.5021, u=0.0073),
        major_mm=Quantity(value=10.7623, u=0.0559),
        pitch_diameter_mm=Quantity(value=9.8005, u=0.0611),
        angle_deg=Quantity(value=61.4, u=2.0),
    )
    assert name_thread(reading).probability > 0.99
    [found] = doubt_names(part(reading), ScaleSpec(source="pin", mm=12.0), 332.0, [])
    verdict = found.threads[0].verdict
    named = {c.designation: c.probability for c in verdict.candidates}
    assert named["M9x1.25"] > 0.05 and named["M11x1.5"] < 0.95
    # A thread that no other usual pin makes a standard one of stays as sure as it was.
    [sure] = doubt_names(part(read("M14x1.5")), ScaleSpec(source="pin", mm=8.0), 230.0, [])
    assert sure.threads[0].verdict.probability > 0.995


def test_each_other_name_is_said_once_and_never_the_name_itself() -> None:
    """Neighbouring sizes make the same thread of it."""
    ratio = np.array([1.0, 1.002, 1.25, 1.252])
    scales = Scales(ratio=ratio, spread=np.zeros(4), weight=np.array([0.98, 0.008, 0.007, 0.005]))
    belief = SizeBelief(
        scales=scales, sizes_mm=tuple(20 * ratio), ratio=1.002, share=0.4, threads=1
    )
    spec = ScaleSpec(source="disc", mm=20.0)

    def said(most: int) -> list[str]:
        pick = np.r_[0, np.arange(4 - most, 4)]
        few = replace(scales, ratio=ratio[pick], spread=np.zeros(most + 1), weight=weights[pick])
        kept = replace(belief, scales=few, sizes_mm=tuple(20 * ratio[pick]))
        [found] = doubted(part(read("M10x1.25", 0.8)), spec, kept, [])
        assert found.threads[0].verdict.designation == "M8x1"
        return [n for n in found.threads[0].verdict.notes if "as stated" in n]

    weights = scales.weight
    start = "That the disc is 20 mm is taken as stated; "
    assert said(2) == [start + "with 25 mm it would be M10x1.25."]
    assert said(3) == [start + "with 25 mm it would be M10x1.25."]


def test_a_name_must_stand_where_references_are_taken_with_scant_attention() -> None:
    """Between the error rates of a routine task and of one that nobody attends to lie names."""
    reading, spec = read("M10x1.25", 0.8), ScaleSpec(source="pin", mm=8.0)

    def found(wrong: float) -> tuple[ThreadResult, list]:
        scales = Scales(
            ratio=np.array([1.0, 1.25]), spread=np.zeros(2), weight=np.array([1 - wrong, wrong])
        )
        belief = SizeBelief(scales=scales, sizes_mm=(8.0, 10.0), ratio=1.25, share=1.0, threads=1)
        [part_] = doubted(part(reading), spec, belief, flags := [])
        return part_.threads[0], flags

    # By the odds 0.09 to 0.91 against 0.04 to 0.96: 0.021 becomes 0.05.
    name, quiet = found(0.015)
    assert name.verdict.status == "named" and not quiet
    open_, said = found(0.03)
    assert open_.verdict.status == "ambiguous"
    first = open_.verdict.candidates[0]
    assert first.designation == "M8x1" and first.probability < 0.95
    assert "with 10 mm everything would fit" in said[0].message
    assert "8 or 10 mm?" in (open_.verdict.next_step or "")


def test_a_thread_that_tells_nothing_of_the_reference_does_not_speak_against_it() -> None:
    """Without its crests a thread has no ratio of pitch and diameter."""
    spec, whole = ScaleSpec(source="pin", mm=8.0), read("M14x1.5")
    mute = replace(whole, major_mm=None)
    belief = size_belief([mute], spec, 230.0)
    assert belief.threads == 0 and belief.mute and belief.wrong == belief.wrong_before
    [kept] = doubted(part(mute), spec, belief, [])
    name = kept.threads[0].verdict
    assert name.designation == "M14x1.5" and name.probability < 0.98
    # Odds that would open it, were it one that speaks.
    [open_] = doubted(part(mute), spec, replace(belief, wrong_before=0.0), flags := [])
    undone = open_.threads[0].verdict
    assert undone.status == "ambiguous" and "8 or 6 mm?" in (undone.next_step or "")
    assert "several other sizes would fit" in flags[0].message
    # Where one other size explains all as well, the thread speaks of it.
    assert not replace(belief, share=0.9).mute


def test_a_name_beside_jaws_says_which_other_opening_would_make_another() -> None:
    """No size of jaws is usual: any of them is said as about that."""
    reading, spec = read("M10x1.25", 0.8), ScaleSpec(source="jaws", mm=16.0)
    ratio = np.array([1.0, 1.25, 1.26])
    scales = Scales(
        ratio=ratio, spread=np.array([0.0, 0.005, 0.005]), weight=np.array([0.992, 0.005, 0.003])
    )
    belief = SizeBelief(scales=scales, sizes_mm=tuple(16 * ratio), ratio=1.25, share=1.0, threads=1)
    [found] = doubted(part(reading), spec, belief, [])
    [note] = [n for n in found.threads[0].verdict.notes if "as stated" in n]
    assert note == (
        "That the caliper jaws stand at 16 mm is taken as stated; with about 20 mm it would be "
        "M10x1.25."
    )


@pytest.mark.parametrize("kind", ["jaws", "major"])
def test_a_caliper_may_be_misread_by_a_whole_millimetre(kind: str) -> None:
    scales, sizes = explanations(ScaleSpec(source=kind, mm=16.0))
    fixed = [mm for mm, spread in zip(sizes[1:], scales.spread[1:], strict=True) if spread == 0]
    assert fixed == pytest.approx([15.0, 17.0])
    share = float(scales.weight[1:3].sum() / scales.weight[1:].sum())
    assert share == pytest.approx(0.3)
    # Of a wide opening a millimetre is too little to be another size.
    wide, _ = explanations(ScaleSpec(source=kind, mm=60.0))
    assert (wide.spread[1:] > 0).all()


def test_explanations_are_doubted_by_their_odds() -> None:
    scales = Scales(
        ratio=np.array([1.0, 0.8, 1.2]), spread=np.zeros(3), weight=np.array([0.9, 0.06, 0.04])
    )
    more = scales.doubted(3.0).weight
    assert more.sum() == pytest.approx(1.0)
    assert (1 - more[0]) / more[0] == pytest.approx(3 * 0.1 / 0.9)
    assert more[1] / more[2] == pytest.approx(1.5)


def test_a_name_that_no_usual_pin_would_change_rests_on_nothing() -> None:
    [found] = doubt_names(part(read("M14x1.5")), ScaleSpec(source="pin", mm=8.0), 230.0, [])
    assert found.threads[0].verdict.designation == "M14x1.5"
    assert not [n for n in found.threads[0].verdict.notes if "as stated" in n]


def test_where_a_phone_is_held_speaks_for_a_size() -> None:
    reading, spec = read("M10x1", 1.25), ScaleSpec(source="pin", mm=10.0)
    near, far = (size_belief([reading], spec, mm) for mm in (150.0, 600.0))
    assert far.wrong > near.wrong


def test_no_reference_is_doubted_without_a_thread_or_a_size() -> None:
    assert size_belief([], ScaleSpec(source="pin", mm=8.0), 250.0).wrong < 0.05
    assert size_belief([read("M10x1", 1.25)], ScaleSpec(source="none"), 250.0).wrong == 0.0
    assert size_belief([read("M10x1", 1.25)], ScaleSpec(source="pin"), 250.0).wrong == 0.0
    # A bar that was measured cannot have been printed otherwise.
    measured = ScaleSpec(source="sheet", sheet_bar_mm=97.0)
    assert size_belief([read("M10x1", 1.04)], measured, 250.0).wrong == 0.0


@pytest.mark.parametrize("kind", KINDS)
def test_explanations_of_a_kind_add_up_to_its_slips(kind: str) -> None:
    spec = ScaleSpec(source=kind, mm=None if kind in ("card", "sheet") else 20.0)
    scales, sizes = explanations(spec)
    assert scales.weight.sum() == pytest.approx(1.0)
    assert 0.001 < scales.weight[1:].sum() < 0.05
    assert scales.ratio[0] == 1.0
    assert np.all(np.abs(scales.ratio[1:] - 1) > 0.005)
    assert len(sizes) == len(scales.ratio)


@pytest.mark.parametrize("ratio", [0.92, 0.97, 1.016, 1.06, 1.2])
def test_a_box_tells_the_true_size_of_its_reference(ratio: float) -> None:
    spec = ScaleSpec(source="disc", mm=20.0)
    said = box_doubt([rescaled(r, 1 / ratio) for r in BOX], spec)
    assert said is not None
    assert "4 of 4" in said
    belief = size_belief([rescaled(r, 1 / ratio) for r in BOX], spec)
    assert belief.ratio == pytest.approx(ratio, abs=0.004)


def test_a_box_with_the_right_reference_is_not_doubted() -> None:
    spec = ScaleSpec(source="pin", mm=8.0)
    assert box_doubt(BOX, spec) is None
    # One thread of no series does not make the reference wrong, nor does one alone.
    odd = replace(BOX[0], pitch_mm=q(1.62, 0.003))
    assert box_doubt([odd, *BOX[1:]], spec) is None
    assert box_doubt([rescaled(BOX[0], 1.06)], spec) is None
    assert box_doubt([ThreadReading(pitch_mm=q(1.5, 0.003))] * 3, spec) is None


def test_a_box_is_doubted_where_that_is_sure_and_of_most_of_its_threads() -> None:
    spec = ScaleSpec(source="disc", mm=20.0)
    two = [rescaled(r, 1 / 1.2) for r in BOX[:2]]
    assert "2 of 2" in (box_doubt(two, spec) or "")
    alone = read("M14x1.5", 1.25)
    assert size_belief([alone], PIN).wrong > 0.9
    assert box_doubt([alone], PIN) is None
    # No thread has a pitch of a third of its diameter, at whatever size of the reference.
    never = [replace(r, pitch_mm=q(0.33 * r.major_mm.value, 0.004)) for r in BOX[:3]]
    assert size_belief([*two, *never], spec).wrong > 0.9
    assert box_doubt([*two, *never], spec) is None
    # Two that another size explains, and one that speaks for neither: even odds are no doubt.
    even = [*(rescaled(r, 1 / 1.06) for r in BOX[:2]), replace(BOX[0], pitch_mm=q(1.62, 0.003))]
    assert 0.3 < size_belief(even, spec).wrong < 0.9
    assert box_doubt(even, spec) is None


def test_the_share_of_another_size_is_one_of_what_is_wrong() -> None:
    """A size that lies as near as neighbours do does not count the stated one among them."""
    belief = size_belief([read("M14x1.5", 1.012), read("M10x1", 1.012)], JAWS)
    assert belief.ratio == pytest.approx(1 / 1.012, abs=0.002) and belief.wrong < 0.5
    assert 0.9 < belief.share <= 1.0


@pytest.mark.parametrize(("wrong", "asks"), [(0.2, False), (0.9, True)])
def test_between_two_threads_a_reference_that_is_likely_wrong_is_asked_for_first(
    wrong: float, asks: bool
) -> None:
    reading = ThreadReading(pitch_mm=q(1.5, 0.002), major_mm=q(13.85, 0.6))
    stated = name_thread(reading)
    assert stated.status == "ambiguous"
    scales = Scales(
        ratio=np.array([1.0, 0.8]), spread=np.zeros(2), weight=np.array([1 - wrong, wrong])
    )
    belief = SizeBelief(scales=scales, sizes_mm=(10.0, 8.0), ratio=0.8, share=1.0, threads=1)
    [found] = doubted(part(reading), PIN, belief, [])
    step = found.threads[0].verdict.next_step or ""
    assert ("10 or 8 mm?" in step) == asks and (step == stated.next_step) != asks


def test_a_common_error_leaves_the_ratio_as_sure_as_it_was() -> None:
    # By the law of propagation: the common error cancels in pitch over diameter (JCGM 100, 5.2).
    reading = reading_of("M14x1.5")
    wide = vectors(with_common(reading, 0.16))
    plain = vectors(reading)

    def u_ratio(v: object) -> float:
        value, covariance = v.value[0, :2], v.covariance[0, :2, :2]  # type: ignore[attr-defined]
        slope = np.array([1 / value[0], -1 / value[1]])
        return float(np.sqrt(slope @ covariance @ slope))

    assert u_ratio(wide) == pytest.approx(u_ratio(plain), rel=0.02)
    assert np.sqrt(wide.covariance[0, 0, 0]) > 0.1 * wide.value[0, 0]


def test_a_scale_that_is_undone_leaves_the_density_of_what_was_read() -> None:
    reading = read("M10x1")
    # Three lengths are read: a density over them falls with each as they grow.
    undone = log_evidence(rescaled(reading, 1.25), 0.8)
    assert undone == pytest.approx(log_evidence(reading) + 3 * -0.22314, abs=0.02)


PIN, JAWS = ScaleSpec(source="pin", mm=10.0), ScaleSpec(source="jaws", mm=20.0)


@pytest.mark.parametrize(
    ("spec", "change", "says"),
    [
        (PIN, {}, "the pin does not seem to be 10 mm: with 8 mm everything would fit"),
        (PIN, {"wrong": 0.3}, "the pin may not be 10 mm: with 8 mm everything would fit"),
        (PIN, {"listed": False}, "the pin may not be 10 mm: with about 8 mm everything would fit"),
        (
            PIN,
            {"listed": False, "threads": 3},
            "the pin does not seem to be 10 mm: with about 8 mm everything would fit",
        ),
        (PIN, {"share": 0.2}, "the pin does not seem to be 10 mm: several other sizes would fit"),
        (
            JAWS,
            {},
            "the caliper jaws do not seem to stand at 20 mm: with 17 mm everything would fit",
        ),
    ],
)
def test_how_sure_a_doubt_is_said(spec, change, says) -> None:
    stated, ratio = spec.mm or 0.0, {"pin": 8 / 10, "jaws": 17 / 20}[spec.source]
    known = {"wrong": 0.999, "listed": True, "share": 0.99, "threads": 1} | change
    belief = SizeBelief(
        scales=Scales(
            ratio=np.array([1.0, ratio if known["listed"] else ratio * 1.01]),
            spread=np.full(2, 1e-3),
            weight=np.array([1 - known["wrong"], known["wrong"]]),
        ),
        sizes_mm=(stated, stated * ratio),
        ratio=ratio,
        share=known["share"],
        threads=known["threads"],
    )
    assert doubt_words(belief, spec) == says


def test_a_thread_of_several_starts_is_left_as_it_is_by_a_doubt() -> None:
    """No series has it at any scale, so that no size of the reference can make it fit."""
    two = replace(read("M14x1.5", 1.25), starts=2)
    threads = [*(rescaled(r, 1.25) for r in BOX), two]
    before, flags = part(*threads), []
    [after] = doubt_names(before, PIN, 230.0, flags)
    assert [f.code for f in flags] == ["reference-size"]
    assert after.threads[-1] == before[0].threads[-1]
    assert after.threads[0] != before[0].threads[0]


@pytest.mark.parametrize(
    ("spec", "asks", "does"),
    [
        (PIN, "Measure the pin with a caliper: 10 or 8 mm?", "measure it with a caliper"),
        (
            ScaleSpec(source="jaws", mm=10.0),
            "Read the caliper again: do its jaws stand at 10 or 8 mm?",
            "read the caliper again",
        ),
        (
            ScaleSpec(source="major", mm=10.0),
            "Read the crests again with a caliper: 10 or 8 mm?",
            "read the caliper again",
        ),
    ],
)
def test_a_doubted_size_is_asked_for_as_it_is_read(spec, asks, does) -> None:
    """No caliper measures its own jaws."""
    before, flags = part(*(rescaled(r, 1.25) for r in BOX)), []
    [after] = doubt_names(before, spec, 230.0, flags)
    assert (after.threads[0].verdict.next_step or "").startswith(asks)
    assert [f.advice.startswith(does) for f in flags] == [True]
