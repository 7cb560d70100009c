"""The part's own crests as scale: where a caliper touches, and which thread it was."""

import json
from pathlib import Path
from types import SimpleNamespace

import pytest

from pitchcam import identify
from pitchcam.pipeline.own_scale import LARGE_END_PITCHES, _touched
from pitchcam.records import ScaleSpec

SAMPLES = Path(__file__).parents[2] / "samples"


def thread(taper):
    return SimpleNamespace(major_mm=20.0, taper=taper, span_mm=(-5.0, 6.0), pitch_mm=1.8)


def test_a_taper_is_read_at_its_large_end():
    beyond = LARGE_END_PITCHES * 1.8
    assert _touched(thread(1 / 16)) == pytest.approx(20.0 + (6.0 + beyond) / 16)
    assert _touched(thread(-1 / 16)) == pytest.approx(20.0 + (5.0 + beyond) / 16)
    assert _touched(thread(0.002)) == 20.0


@pytest.mark.parametrize("which", [0, 1])
def test_the_thread_that_was_read_is_found_out(which):
    """A nipple of two threads, and the caliper's reading of either of them."""
    truth = json.loads(next(SAMPLES.glob("p16-*.json")).read_text(encoding="utf-8"))
    read = truth["threads"][which]["major_mm"]
    result = identify(
        SAMPLES / truth["file"], ScaleSpec(source="major", mm=round(read, 2)), plots=False
    )
    found = {
        t.verdict.designation for p in result.parts for t in p.threads if t.verdict.designation
    }
    assert found <= {t["designation"] for t in truth["threads"]}
    pitches = sorted(t.reading.pitch_mm.value for p in result.parts for t in p.threads)
    true = sorted(t["pitch_mm"] for t in truth["threads"])
    assert pitches == pytest.approx(true, rel=0.015)
