"""Variance components against a published worked example, an analysis of variance, and truth."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from pitchcam.batch.settings import Settings
from pitchcam.batch.source import list_photos
from pitchcam.batch.study import Reading, components, run_study
from pitchcam.errors import UsageError
from pitchcam.records import ScaleSpec
from pitchcam.store.entries import Outcome
from pitchcam.store.store import Store
from tests.batch import double

pytest.importorskip("statsmodels")
PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))

# Ten parts, three appraisers, three trials: the worked example of the reference manual on
# measurement systems analysis that the automotive trade uses (4th edition; from memory).
EXAMPLE = """
.29 .41 .64 .08 .25 .07 .04 -.11 -.15
-.56 -.68 -.58 -.47 -1.22 -.68 -1.38 -1.13 -.96
1.34 1.17 1.27 1.19 .94 1.34 .88 1.09 .67
.47 .50 .64 .01 1.03 .20 .14 .20 .11
-.80 -.92 -.84 -.56 -1.20 -1.28 -1.46 -1.07 -1.45
.02 -.11 -.21 -.20 .22 .06 -.29 -.67 -.49
.59 .75 .66 .47 .55 .83 .02 .01 .21
-.31 -.20 -.17 -.63 .08 -.34 -.46 -.56 -.49
2.26 1.99 2.01 1.80 2.12 2.19 1.77 1.45 1.87
-1.36 -1.25 -1.31 -1.68 -1.62 -1.50 -1.49 -1.77 -2.16
"""


def example() -> list[Reading]:
    return [
        Reading(part=f"part {p}", camera="ABC"[i // 3], value=float(value), u=0.2)
        for p, line in enumerate(EXAMPLE.strip().splitlines())
        for i, value in enumerate(line.split())
    ]


def test_the_published_worked_example_comes_out() -> None:
    """Published: repeatability 0.199933, reproducibility 0.226838, parts 1.042327, 4 categories."""
    got = components("pitch_mm", example())
    assert got.photo == pytest.approx(0.199933, abs=2e-5)
    assert got.reproducibility == pytest.approx(0.226838, abs=2e-4)
    assert got.part == pytest.approx(1.042327, abs=1e-3)
    assert got.gauge == pytest.approx(0.302373, abs=2e-4)
    assert got.categories == 4


def test_components_do_not_depend_on_unit_and_offset() -> None:
    plain = components("pitch_mm", example())
    small = [
        Reading(part=r.part, camera=r.camera, value=14 + 1e-4 * r.value, u=r.u) for r in example()
    ]
    got = components("pitch_mm", small)
    assert got.photo * 1e4 == pytest.approx(plain.photo, rel=1e-3)
    assert got.part is not None and plain.part is not None
    assert got.part * 1e4 == pytest.approx(plain.part, rel=1e-2)


def balanced(seed: int, s: dict[str, float]) -> tuple[list[Reading], np.ndarray]:
    """Return 12 parts by 4 cameras by 3 photos with the stated deviations, also as an array."""
    rng = np.random.default_rng(seed)
    values = (
        rng.normal(0, s["part"], (12, 1, 1))
        + rng.normal(0, s["camera"], (1, 4, 1))
        + rng.normal(0, s["part_camera"], (12, 4, 1))
        + rng.normal(0, s["photo"], (12, 4, 3))
    )
    readings = [
        Reading(part=f"p{i}", camera=f"c{j}", value=float(values[i, j, k]), u=0.1)
        for i, j, k in np.ndindex(values.shape)
    ]
    return readings, values


def test_a_balanced_design_agrees_with_the_analysis_of_variance() -> None:
    """For balanced data with positive estimates, restricted maximum likelihood equals the
    expected mean squares (Searle, Casella and McCulloch, Variance Components; from memory)."""
    readings, y = balanced(3, {"part": 1.0, "camera": 0.4, "part_camera": 0.3, "photo": 0.2})
    a, b, n = y.shape
    mean, cell = y.mean(), y.mean(axis=2)
    part, camera = cell.mean(axis=1), cell.mean(axis=0)
    ms_part = b * n * np.sum((part - mean) ** 2) / (a - 1)
    ms_camera = a * n * np.sum((camera - mean) ** 2) / (b - 1)
    inter = cell - part[:, None] - camera[None] + mean
    ms_inter = n * np.sum(inter**2) / ((a - 1) * (b - 1))
    ms_photo = np.sum((y - cell[..., None]) ** 2) / (a * b * (n - 1))
    got = components("major_mm", readings)
    assert got.photo == pytest.approx(math.sqrt(ms_photo), rel=1e-3)
    assert got.part_camera == pytest.approx(math.sqrt((ms_inter - ms_photo) / n), rel=1e-2)
    assert got.camera == pytest.approx(math.sqrt((ms_camera - ms_inter) / (a * n)), rel=1e-2)
    assert got.part == pytest.approx(math.sqrt((ms_part - ms_inter) / (b * n)), rel=1e-2)


def test_sources_that_the_design_cannot_show_are_left_out() -> None:
    one_camera = [r for r in example() if r.camera == "A"]
    got = components("pitch_mm", one_camera)
    assert got.camera is None and got.part_camera is None and got.part is not None
    one_part = [r for r in one_camera if r.part == "part 0"]
    alone = components("pitch_mm", one_part)
    assert alone.part is None and alone.categories is None
    assert alone.photo == pytest.approx(np.std([0.29, 0.41, 0.64], ddof=1))
    singles = [r for i, r in enumerate(example()) if i % 3 == 0]
    assert components("pitch_mm", singles).part_camera is None


def test_readings_without_scatter_have_none() -> None:
    same = [Reading(part=p, camera="", value=1.5, u=0.1) for p in "aabb"]
    got = components("pitch_mm", same)
    assert (got.photo, got.part) == (0.0, 0.0)


def measured_folder(folder: Path) -> Path:
    """Write 3 parts by 2 cameras by 3 photos, all in the record."""
    with Store(folder / "r.sqlite") as store:
        for part, camera, n in np.ndindex(3, 2, 3):
            path = double.write_photo(
                folder / "photos" / f"part{part}" / f"camera{camera}" / f"{n}.jpg",
                n=int(n),
                c=int(camera),
                major_mm=10.0 + part,
            )
            document = double.measure(path, PIN)
            outcome = Outcome(status="measured", document=document)
            store.add(document["photo"]["sha256"], PIN.text, PIN.key, outcome)
    return folder


def test_a_folder_of_parts_and_cameras_gives_table_and_plot(tmp_path: Path) -> None:
    folder = measured_folder(tmp_path)
    photos = list_photos([folder / "photos"], PIN)
    told = run_study(folder / "r.sqlite", photos, folder)
    assert "major: 18 readings, 3 parts, 2 cameras" in told
    assert (folder / "study.csv").read_text().count("\n") == 5
    plot = (folder / "study.pdf").read_bytes()
    assert plot.startswith(b"%PDF")
    run_study(folder / "r.sqlite", photos, folder)
    assert (folder / "study.pdf").read_bytes() == plot


def test_photos_that_do_not_name_their_part_are_refused(tmp_path: Path) -> None:
    double.write_photo(tmp_path / "a.jpg")
    with Store(tmp_path / "r.sqlite"):
        pass
    with pytest.raises(UsageError, match="which part"):
        run_study(tmp_path / "r.sqlite", list_photos([tmp_path], PIN), tmp_path)
