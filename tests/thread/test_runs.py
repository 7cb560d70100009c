"""Ridges that run off their steps: a sample cut out within the light, whose rows are moved."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from pitchcam import Measurement, ScaleSpec, UnreadableError, identify
from pitchcam.thread.runs import MOST_RUN_PX, STRETCH_BY_RUN, U_SHEAR_RAD

SAMPLES = Path(__file__).parents[2] / "samples"
NAME = "p28-bsw12-major"
#: Within the light of the sample: nothing of its border is in view.
LEFT, TOP, RIGHT, BOTTOM = 1400, 1060, 2600, 1990


def waved(folder: Path, amplitude_px: float, length_px: float, phase: float, *, rows: bool) -> Path:
    """Write the middle of the sample, its rows or columns moved aside by a sine."""
    pixels = cv2.imread(str(SAMPLES / f"{NAME}.jpg"))[TOP:BOTTOM, LEFT:RIGHT]
    y, x = np.mgrid[0 : pixels.shape[0], 0 : pixels.shape[1]].astype(np.float32)
    at = y if rows else x
    moved = (amplitude_px * np.sin(2 * np.pi * at / length_px + phase)).astype(np.float32)
    x, y = (x + moved, y) if rows else (x, y + moved)
    out = cv2.remap(pixels, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    path = folder / "waved.jpg"
    cv2.imwrite(str(path), out, [cv2.IMWRITE_JPEG_QUALITY, 95])
    return path


def measured(path: Path) -> Measurement:
    return identify(path, ScaleSpec(source="major", mm=12.62), plots=False)


def test_a_wave_that_leans_flanks_makes_no_left_hand(tmp_path: Path) -> None:
    """Rows moved by a pixel over 600: the minor diameter came out by 10 u too small."""
    found = measured(waved(tmp_path, 1.0, 600.0, 0.7, rows=True))
    (thread,) = found.parts[0].threads
    assert "left-hand" not in {w.code for w in found.warnings}
    truth = json.loads((SAMPLES / f"{NAME}.json").read_text())["threads"][0]
    minor = thread.reading.minor_mm
    assert minor is not None
    root = truth["major_mm"] - 2 * truth["depth_mm"]
    assert abs(minor.value - root) < 4 * minor.u
    assert any(line.source == "rows of the picture" for line in thread.budget)


@pytest.mark.parametrize(("length_px", "rows"), [(100.0, True), (200.0, False)])
def test_a_short_wave_is_seen_by_the_ridges(tmp_path: Path, length_px: float, rows: bool) -> None:
    with pytest.raises(UnreadableError, match="run off their even steps") as caught:
        measured(waved(tmp_path, 1.0, length_px, 0.7, rows=rows))
    assert caught.value.code == "damaged"


def test_a_wave_stretches_by_so_much_of_the_run_it_leaves() -> None:
    """By construction: waves of twice the thread's length at any phase, on nine ridges."""
    at = np.linspace(-0.5, 0.5, 9)
    stretch, run = [], []
    for phase in np.linspace(0, 2 * np.pi, 60, endpoint=False):
        place = np.sin(np.pi * at + phase)
        slope, middle = np.polyfit(at, place, 1)
        rest = place - slope * at - middle
        stretch.append(slope)
        run.append(max(float(np.mean(rest[1:] * rest[:-1])), 0.0))
    found = float(np.sqrt(np.mean(np.square(stretch)) / np.mean(run)))
    assert found == pytest.approx(STRETCH_BY_RUN, rel=0.1)
    assert MOST_RUN_PX < 0.3


def test_rows_out_of_place_shear_a_flank_by_so_much() -> None:
    """By construction: rows moved by a sine of one pixel over 300 slope against each other, rms."""
    row = np.linspace(0.0, 300.0, 3001)
    slope = np.gradient(np.sin(2 * np.pi * row / 300.0), row)
    assert float(np.sqrt(np.mean(slope**2))) == pytest.approx(U_SHEAR_RAD, rel=0.05)
