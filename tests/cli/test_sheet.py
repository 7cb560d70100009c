"""``pitchcam sheet`` and ``pitchcam calibrate`` as a person types them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from pitchcam.camera.profile import load_profile
from pitchcam.cli.calibrate import command as calibrate
from pitchcam.cli.sheet import command as sheet
from pitchcam.errors import InputError, PitchcamError, UnreadableError, UsageError
from pitchcam.scale.sheet import find_sheet
from tests.scale.test_sheet import photo

HALF = (2016, 1512)
F = 3055.0
TURNS = [(0.02, 0.01, 0.0), (0.45, 0, 0), (-0.45, 0.05, 0), (0, 0.5, 0.1), (0.05, -0.5, 0)]


def run(command, *arguments: object):
    return CliRunner().invoke(command, [str(a) for a in arguments], catch_exceptions=False)


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The sheet from five sides, at half size to save time."""
    folder = tmp_path_factory.mktemp("views")
    paths = []
    for i, turn in enumerate(TURNS):
        big = Image.fromarray(photo("part", F, turn, (0.0, 0.0, 200.0), seed=i))
        paths.append(folder / f"view{i}.png")
        big.resize(HALF, Image.Resampling.BOX).save(paths[-1], compress_level=1)
    return paths


def test_sheet_writes_and_says_what_to_do(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    done = run(sheet, "-o", path, "--paper", "letter", "--size", "box")
    assert done.exit_code == 0
    assert "Print at 100 %" in done.stdout and "120 x 90 mm" in done.stdout
    assert path.read_bytes().startswith(b"%PDF")


def test_sheet_refuses_what_it_cannot_write(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"\.pdf or \.png or \.svg"):
        run(sheet, "-o", tmp_path / "sheet.doc")
    with pytest.raises(PitchcamError, match="no folder"):
        run(sheet, "-o", tmp_path / "none" / "sheet.pdf")


def test_calibrate_makes_a_profile_that_a_photo_is_measured_with(photos, tmp_path: Path) -> None:
    path = tmp_path / "camera.json"
    done = run(calibrate, *photos, "-o", path, "--name", "bench phone", "--sheet-bar", "100.0")
    assert done.exit_code == 0 and "5 views" in done.stdout
    profile = load_profile(path)
    assert profile.f_px == pytest.approx(F / 2, rel=1e-3)
    assert profile.centre_px == pytest.approx((1007.5, 755.5), abs=3)
    assert json.loads(path.read_text())["name"] == "bench phone"
    gray = np.asarray(Image.open(photos[0]).convert("L"))
    pose = find_sheet(gray, None, 100.0, profile=profile)
    assert pose is not None
    # With a profile the height needs no EXIF, and its u is a quarter of EXIF's 2 %.
    assert pose.camera_height_mm.value == pytest.approx(200.0, rel=0.002)
    assert pose.camera_height_mm.u < 0.0075 * 200


def test_calibrate_names_the_photo_that_does_not_belong(photos, tmp_path: Path) -> None:
    other = tmp_path / "other.png"
    Image.new("L", (800, 600), 200).save(other)
    with pytest.raises(InputError, match=r"other\.png.*another lens or size"):
        run(calibrate, photos[0], other, "-o", tmp_path / "camera.json")
    with pytest.raises(UnreadableError, match="only 2"):
        run(calibrate, *photos[:2], "-o", tmp_path / "camera.json")
    assert not (tmp_path / "camera.json").exists()
