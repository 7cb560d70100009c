"""Ridges that run off their steps: a sample cut out within the light, whose rows are moved."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from pitchcam import Measurement, ScaleSpec, UnreadableError, identify
from pitchcam.camera.pinhole import Camera
from pitchcam.edges.section import fit_section
from pitchcam.objects.frame import axis_frame
from pitchcam.thread import runs
from pitchcam.thread.budget import budget, rows
from pitchcam.thread.measure import ThreadShape
from pitchcam.thread.runs import MOST_RUN_PX, STRETCH_BY_RUN, U_SHEAR_RAD, run_of
from tests.thread.drawn_shape import AXIS, PLACE, bare_shape, drawn_shape
from tests.thread.helicoid import flanks_of, iso_profile, seen_sides

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


def long_thread(
    corner: float = 0.0, wave_px: float = 0.0, length_px: float = 800.0, phase: float = 0.7
) -> ThreadShape:
    """Eighteen turns, beside the middle of a picture that is bent by so much at its corner.

    Measured as if nothing bent it, with every place along it moved by a sine of so many pixels.
    """
    pitch, height, off = 1.814, 15.0, 20.0
    camera = Camera(f_px=6400.0, u_f_px=64.0, centre_px=(2015.5, 1511.5), distance_mm=200.0)
    middle = 6400.0 * off / (200.0 - height)
    true = axis_frame(camera.bent(corner, 0.005), AXIS, middle, height)
    seen = seen_sides(iso_profile(pitch, 26.4), pitch, pitch, true.pinhole, turns=18)
    flanks = flanks_of(true, *seen, pitch)
    xy = flanks.xy + np.random.default_rng(1).normal(0, 0.05, flanks.xy.shape)
    xy[:, 0] += wave_px * np.sin(2 * np.pi * xy[:, 0] / length_px + phase)
    flanks, frame = replace(flanks, xy=xy), axis_frame(camera, AXIS, middle, height)
    return bare_shape(flanks, fit_section(flanks, frame, pitch), frame)


def test_a_lens_makes_no_damage_of_a_long_thread() -> None:
    """By construction: 1 % at the corner moves its ridges by as much as a damaged picture's rows.

    A lens that nobody has, of 4 %, is told by no thread; nor is one known that is known to be none.
    """
    bent = long_thread(corner=0.0097)
    assert run_of(bent).rms_px < 0.05
    assert run_of(long_thread()).rms_px < 0.02
    assert run_of(long_thread(corner=0.04)).rms_px > MOST_RUN_PX
    known = replace(bent.frame.camera, u_corner=0.0)
    as_known = replace(bent, frame=replace(bent.frame, camera=known))
    assert run_of(as_known).rms_px > 0.9 * MOST_RUN_PX


def test_flanks_that_fit_no_other_lens_run_off_as_they_do(monkeypatch: pytest.MonkeyPatch) -> None:
    def unfitted(*_: object) -> None:
        raise np.linalg.LinAlgError("no fit")

    bent = long_thread(corner=0.0097)
    monkeypatch.setattr(runs, "fit_again", unfitted)
    assert run_of(bent).rms_px > 0.9 * MOST_RUN_PX


def test_a_wave_is_none_of_the_lens() -> None:
    """Its ridges lag and lead by turns, as those of no lens do."""
    assert run_of(long_thread(wave_px=1.0)).rms_px > 0.5


def test_lengths_are_open_by_what_a_wave_that_leaves_such_a_run_stretches() -> None:
    """Waves of twice the thread's length at any phase, drawn, and a lens that is known."""
    errors, stated = [], []
    for phase in (0.0, np.pi / 3, 2 * np.pi / 3):
        shape = long_thread(wave_px=1.0, length_px=2200.0, phase=phase)
        known = replace(shape.frame.camera, u_corner=0.0)
        shape = replace(shape, frame=replace(shape.frame, camera=known))
        lines = budget(shape, replace(PLACE, rows_shown=False))
        (line,) = [x for x in lines if x.source == "rows of the picture"]
        errors.append(shape.pitch_mm / 1.814 - 1)
        stated.append(line.contributions["pitch_mm"] / shape.pitch_mm)
    assert 0.5 < np.linalg.norm(stated) / np.linalg.norm(errors) < 1.5


def test_a_hands_turn_and_a_wave_stretch_each_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two causes that know nothing of each other, as far each: by the root of two as far."""
    stated = []
    for rms_px in (0.0, rows.U_STRETCH * 1000.0 / runs.STRETCH_BY_RUN):
        monkeypatch.setattr(
            rows, "run_of", lambda _, px=rms_px: runs.Run(rms_px=px, length_px=1000.0)
        )
        line = rows.moved_rows(drawn_shape(), replace(PLACE, rows_shown=False))
        assert line is not None
        stated.append(line.contributions["pitch_mm"])
    assert stated[1] == pytest.approx(np.sqrt(2) * stated[0])


def test_ridges_that_are_off_by_themselves_bend_no_lens() -> None:
    """By formula: a lens is told by the run over its own square and the noise's; noise is no run.

    Ridges of 0.3 px each for itself, and a lens that bends them by as little as 0.1 px in all.
    """
    rng = np.random.default_rng(4)
    bent = [0.1 * (np.linspace(-1, 1, 18) ** 2 - 1 / 3) for _ in (0, 1)]
    told = []
    for _ in range(200):
        off = [rng.normal(0, 0.3, 18) - 0.5 * own for own in bent]
        told.append(runs._lens(off, bent))
    weight = sum(float(own @ own) for own in bent)
    expected = 0.5 * weight / (weight + 0.3**2)
    assert np.mean(told) == pytest.approx(expected, abs=0.08)
    # Taken as if each were as sure as the least noise, it is at its limits mostly.
    assert np.mean(np.abs(told) == runs.MOST_BENT) < 0.02
