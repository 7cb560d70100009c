"""The live view in a browser whose camera is a film made of sample photos."""

from __future__ import annotations

import cv2
import pytest
from playwright.sync_api import expect

from tests.page.conftest import browser_program
from tests.page.running import SAMPLES

WIDTH = 2016


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    """Two seconds that are too bright, then ten of a good picture: R 1/2 beside a 10 mm pin."""
    path = tmp_path_factory.mktemp("film") / "bench.mjpeg"
    with path.open("wb") as file:
        for name, count in (("p24-over-exposed", 60), ("p14-r12-pin", 300)):
            photo = cv2.imread(str(SAMPLES / f"{name}.jpg"))
            small = cv2.resize(photo, (WIDTH, WIDTH * 3 // 4), interpolation=cv2.INTER_AREA)
            _, jpeg = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 88])
            file.write(jpeg.tobytes() * count)
    return path


@pytest.fixture
def camera_tab(chromium, page, film):
    browser = chromium.browser_type.launch(
        executable_path=browser_program(),
        args=[
            "--no-sandbox",
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-video-capture={film}",
        ],
    )
    context = browser.new_context(base_url=page.address, viewport={"width": 360, "height": 740})
    context.grant_permissions(["camera"])
    yield context.new_page()
    browser.close()


def test_hints_then_the_photo_then_the_answer(camera_tab):
    tab = camera_tab
    tab.goto("/live")
    tab.fill("#ref-size", "10")
    tab.click("#start")
    expect(tab.locator("#hint")).to_contain_text("Too bright", timeout=60_000)
    assert tab.get_attribute("#hint", "data-hints").startswith("too bright")
    tab.wait_for_url("**/answers/*", timeout=90_000)
    # No file of a camera, so no focal length; the name is still that of the truth, or in doubt.
    expect(tab.locator("main").first).to_contain_text("focal length")
    expect(tab.locator("main").first).to_contain_text("R 1/2")


def test_without_a_camera_the_button_remains(chromium, page):
    context = chromium.new_context(base_url=page.address)
    tab = context.new_page()
    tab.goto("/live")
    tab.click("#start")
    expect(tab.locator("#nocamera")).to_be_visible()
    tab.click("#nocamera a")
    assert tab.url == f"{page.address}/"
    context.close()
