"""What a release holds: the wheel all of the package, the sdist all that builds and tests it.

``.ci/run`` installs the wheel in a fresh place and answers with it.
"""

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def release(tmp_path_factory):
    """Build both, the wheel from the sdist as an installer does."""
    pytest.importorskip("hatchling")
    out = tmp_path_factory.mktemp("release")
    build = [sys.executable, "-m", "hatchling", "build", "-d", str(out)]
    subprocess.run([*build, "-t", "sdist"], cwd=ROOT, check=True, capture_output=True)
    (archive,) = out.glob("*.tar.gz")
    with tarfile.open(archive) as tar:
        # The filter is Python's from 3.11.4 on; the archive is our own.
        tar.extractall(
            out / "unpacked", **({"filter": "data"} if hasattr(tarfile, "data_filter") else {})
        )
    (source,) = (out / "unpacked").iterdir()
    subprocess.run([*build, "-t", "wheel"], cwd=source, check=True, capture_output=True)
    (wheel,) = out.glob("*.whl")
    with zipfile.ZipFile(wheel) as zipped:
        names = set(zipped.namelist())
    held = {str(p.relative_to(source)) for p in source.rglob("*") if p.is_file()}
    return names, held


def files(folder):
    return {
        p.relative_to(ROOT / folder).as_posix()
        for p in (ROOT / folder).rglob("*")
        if p.is_file() and "__pycache__" not in p.parts and p.suffix != ".pyc"
    }


def test_the_wheel_holds_the_package_and_its_tables_and_nothing_else(release):
    wheel, _ = release
    there = {n for n in wheel if ".dist-info/" not in n}
    wanted = {f"pitchcam/{n}" for n in files("pitchcam")}
    wanted |= {f"pitchcam/_calibration/{n}" for n in files("calibration")}
    assert there == wanted


def test_the_sdist_holds_what_builds_tests_and_explains_it(release):
    _, sdist = release
    for folder in ("pitchcam", "calibration", "tests", "samples", "docs"):
        missing = {f"{folder}/{n}" for n in files(folder)} - sdist
        assert not missing, sorted(missing)[:5]
    assert {"pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md"} <= sdist


def test_the_package_s_page_is_the_readme_and_the_command_is_named():
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert 'readme = "README.md"' in text
    assert 'pitchcam = "pitchcam.start:main"' in text
