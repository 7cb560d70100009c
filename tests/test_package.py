"""What ``import pitchcam`` offers: lazily, all of it, in ``dir``, typed, with its versions."""

import re
import subprocess
import sys
from importlib import metadata
from pathlib import Path

import cv2
import numpy as np
import pytest

import pitchcam
from pitchcam.version import LIBRARIES, versions
from tests.breaks import ROOT


def test_dir_shows_what_there_is_and_all_of_it_is_there():
    assert dir(pitchcam) == sorted(pitchcam.__all__)
    assert set(pitchcam.__all__) == {*pitchcam._PUBLIC, "CORE_REVISION", "__version__"}
    for name in pitchcam.__all__:
        assert getattr(pitchcam, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'indentify'"):
        _ = pitchcam.indentify


def test_importing_it_imports_nothing_heavy():
    asks = "import sys, pitchcam; dir(pitchcam); print(sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", asks], capture_output=True, text=True, check=True)
    for heavy in ("numpy", "cv2", "scipy", "click", "matplotlib"):
        assert f"'{heavy}'" not in done.stdout


def test_type_checkers_are_told_that_it_is_typed():
    assert Path(pitchcam.__file__).with_name("py.typed").is_file()  # PEP 561


def test_the_citation_names_this_version():
    lines = (ROOT / "CITATION.cff").read_text(encoding="utf-8").splitlines()
    assert "cff-version: 1.2.0" in lines and f"version: {pitchcam.__version__}" in lines


def test_versions_are_those_installed():
    found = versions()
    assert found["pitchcam"] == pitchcam.__version__ == metadata.version("pitchcam")
    assert found["numpy"] == metadata.version("numpy")
    stated = [r for r in metadata.requires("pitchcam") if "extra" not in r]
    required = {re.split(r"[<>=!~\[ ;]", r)[0] for r in stated}
    assert set(LIBRARIES) <= required


def test_a_library_that_is_not_there_is_said(monkeypatch):
    monkeypatch.setattr("pitchcam.version.LIBRARIES", ("no-such-library",))
    assert versions()["no-such-library"] == "missing"


def test_light_is_read_between_pixels_where_it_is_asked_for():
    """On a ramp, linear interpolation is exact; OpenCV 4 is off by up to half of 1/32 pixel."""
    ramp = np.tile(np.arange(64, dtype=np.float32), (8, 1))
    x = np.linspace(5.0, 6.0, 101, dtype=np.float32)[None, :]
    seen = cv2.remap(ramp, x, np.full_like(x, 3.0), cv2.INTER_LINEAR)
    assert np.abs(seen - x).max() < 1e-5
