"""One page for all tests of this folder, and one browser where there is one."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

import pytest

from tests.page.running import ROOT, START, running_page

#: Set where the browser must be there, so that its tests cannot be passed over.
NEEDED = "PITCHCAM_TEST_BROWSER"


@pytest.fixture(scope="package")
def page(tmp_path_factory):
    """A page with the sample stock in its record."""
    folder = tmp_path_factory.mktemp("page")
    subprocess.run(
        [sys.executable, "-c", START, "stock", "import", str(ROOT / "samples/stock/bench.csv")],
        cwd=folder,
        check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
    )
    with running_page(folder, "--reference", "pin 6") as running:
        yield running


def browser_program() -> str | None:
    """Return the browser's path; Debian's package is called chromium."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="package")
def chromium():
    """Start the browser, once; it ends with this folder, since it holds this thread's loop."""
    if browser_program() is None:
        if os.environ.get(NEEDED):
            pytest.fail("chromium is not installed")
        pytest.skip("chromium is not installed (Debian: apt install chromium)")
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=30_000)  # a loaded machine is slow, not wrong
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=browser_program(), args=["--no-sandbox"]
        )
        yield browser
        browser.close()


#: Phone and desk.
SIZES = {"phone": {"width": 360, "height": 740}, "desk": {"width": 1280, "height": 900}}


@pytest.fixture(params=SIZES)
def tab(request, chromium, page):
    """A new browser tab at phone or desk size; what it complains of fails the test."""
    context = chromium.new_context(viewport=SIZES[request.param], base_url=page.address)
    tab = context.new_page()
    complaints = []
    tab.on("pageerror", lambda error: complaints.append(str(error)))
    tab.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    yield tab
    context.close()
    expected = "Failed to load resource: the server responded with a status of 4"
    assert [c for c in complaints if expected not in c] == []
