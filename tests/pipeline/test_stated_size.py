"""A pin that is not of the stated size: told by what the threads would be else."""

from __future__ import annotations

import pytest

from pitchcam.match import name_thread
from pitchcam.match.evidence import log_evidence, rescaled
from pitchcam.pipeline.stated_size import doubt_names, other_size
from pitchcam.records import PartResult, Quantity, ScaleSpec, ThreadReading, ThreadResult

# Middles of the tolerance zones, pitch, major, pitch diameter and angle. ISO 965-2, 6g (from
# memory): M10x1 9.794-9.974 and 9.206-9.324, M14x1.5 13.732-13.968 and 12.854-12.994. ASME B1.1,
# 2A: 1/2-20 UNF 0.4906-0.4987 in and 0.4619-0.4662 in.
MIDDLES = {
    "M10x1": (1.0, 9.884, 9.265, 60.0),
    "M14x1.5": (1.5, 13.85, 12.924, 60.0),
    "1/2-20 UNF": (1.27, 12.564, 11.787, 60.0),
}


def thread(name: str, factor: float = 1.0, u_scale: float = 0.004) -> ThreadResult:
    """Return a thread measured with a scale that is a factor too large."""
    pitch, major, middle, angle = MIDDLES[name]

    def length(mm: float, u: float) -> Quantity:
        return Quantity(value=mm * factor, u=((u_scale * mm) ** 2 + u**2) ** 0.5 * factor)

    reading = ThreadReading(
        pitch_mm=length(pitch, 0.001), major_mm=length(major, 0.02),
        pitch_diameter_mm=length(middle, 0.02), angle_deg=Quantity(value=angle, u=0.8),
        taper=Quantity(value=0.0, u=0.002),
        correlation={("pitch_mm", "major_mm"): 0.85, ("pitch_mm", "pitch_diameter_mm"): 0.85,
                     ("major_mm", "pitch_diameter_mm"): 0.85},
    )  # fmt: skip
    return ThreadResult(
        reading=reading, half_angles_deg=(None, None), turns=8.0, span_px=((0, 0), (1, 0)),
        budget=(), verdict=name_thread(reading),
    )  # fmt: skip


def part(*threads: ThreadResult) -> list[PartResult]:
    return [PartResult(id=1, box_px=(0, 0, 1, 1), threads=threads)]


@pytest.mark.parametrize("name", sorted(MIDDLES))
@pytest.mark.parametrize("mm", [6.0, 8.0, 10.0, 12.0])
def test_right_pins_keep_their_names(name: str, mm: float) -> None:
    parts, flags = part(thread(name)), []
    assert parts[0].threads[0].verdict.status == "named"
    assert doubt_names(parts, ScaleSpec(source="pin", mm=mm), 230.0, flags) == parts
    assert flags == []


@pytest.mark.parametrize(("name", "true", "stated"), [("M10x1", 8.0, 10.0), ("M14x1.5", 8.0, 6.0)])
def test_a_pin_of_another_size_undoes_a_name(name, true, stated) -> None:
    flags: list = []
    spec = ScaleSpec(source="pin", mm=stated)
    wrong = thread(name, stated / true)
    other = other_size([wrong], spec, 230.0 * stated / true)
    assert other is not None
    assert other.wrong > 0.05
    [found] = doubt_names(part(wrong), spec, 230.0 * stated / true, flags)
    verdict = found.threads[0].verdict
    assert verdict.status != "named"
    # What is of no series by the stated size stays so; the flag says which size would fit.
    if verdict.status == "ambiguous":
        assert name in [c.designation for c in verdict.candidates]
    assert [f.code for f in flags] == ["reference-size"]


def test_two_threads_tell_more_than_one() -> None:
    spec = ScaleSpec(source="pin", mm=10.0)
    one = [thread("M10x1", 1.25)]
    two = [*one, thread("M14x1.5", 1.25)]
    found = [other_size(t, spec, 280.0) for t in (one, two)]
    assert found[0] is not None
    assert found[1] is not None
    assert found[1].mm == 8.0
    assert 1 - found[1].wrong < 0.2 * (1 - found[0].wrong)
    flags: list = []
    doubt_names(part(*two), spec, 280.0, flags)
    assert "does not seem to be 10 mm: with 8 mm everything would fit" in flags[0].message


def test_only_pins_are_doubted() -> None:
    wrong = thread("M10x1", 1.25)
    assert other_size([wrong], ScaleSpec(source="disc", mm=25.0), 250.0) is None
    assert other_size([wrong], ScaleSpec(source="card"), 250.0) is None
    assert other_size([], ScaleSpec(source="pin", mm=8.0), 250.0) is None


def test_a_scale_that_is_undone_leaves_the_density_of_what_was_read() -> None:
    reading = thread("M10x1").reading
    larger = rescaled(reading, 1.25)
    # Three lengths are read: a density over them falls with each as they grow.
    undone = log_evidence(larger, 0.8)
    assert undone == pytest.approx(log_evidence(reading) + 3 * -0.22314, abs=0.02)
