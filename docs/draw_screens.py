"""Draw every page as a browser shows it, at phone and desk size, and the page that lists them.

Run from the repository root, with Chromium installed: ``python docs/draw_screens.py``.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import cv2
import segno
from PIL import Image

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from tests.page.running import SAMPLES, START, running_page  # noqa: E402
from tests.several.draw import case  # noqa: E402

TARGET = ROOT / "docs" / "screens"
SIZES = {"phone": (360, 780), "desk": (1280, 860)}
#: Longest picture, in px: the head of a page says how it looks.
MOST_PX = 1500
#: name -> (address, what it is)
PAGES = {
    "start": ("/", "The start: one tap, the bench's own reference, what was measured last"),
    "guide": ("/guide", "Before the photo"),
    "answer": ("", "The answer"),
    "doubt": ("", "A thread that no series has: what was measured, and the next step"),
    "refused": ("", "A photo that does not carry the measurement"),
    "together": ("", "Two photos of one part"),
    "live": ("/live", "Live view"),
    "live-hint": ("", "Live view: what to change before the photo"),
    "panel": ("/panel", "A tablet as light panel"),
    "panel-lit": ("/panel", "The panel, lit"),
    "box-start": ("/box", "A new box"),
    "box": ("", "The box, filled"),
    "record": ("/record", "The record"),
    "bench": ("/bench", "The bench"),
    "lookup": ("/lookup?diameter=0.543in&gauge=1.5mm", "Look up"),
    "series": ("/series?family=G", "Series"),
    "size": ("/size?name=1/2-20+UNF", "One designation"),
    "chart": ("/chart?series=G&series=NPT", "Chart"),
    "mate": ("/mate?male=5/8-18+UNF&female=M16x1.5", "Mate"),
    "adapt": ("/adapt?part=1/8-27+NPT&port=M14x1.5", "Adapt"),
    "join": ("/join?part=1/8-27+NPT&port=M18x1.5&service=coolant", "Work sheet"),
    "stock": ("/stock", "Stock"),
    "wrong": ("/size?name=M14x9", "What is wrong, in one line"),
    "pair": ("", "Pairing one more browser (with --lan)"),
}


def measure(tab: Any, photo: Path, size: str, source: str = "pin") -> str:
    """Send a photo and return the address of its answer."""
    tab.goto("/")
    tab.select_option("#ref-source", source)
    tab.fill("#ref-size", size)
    tab.uncheck("#remember")
    tab.set_input_files("#photo", photo)
    tab.wait_for_url("**/answers/*")
    return str(tab.url)


def fill(tab: Any, room: Path) -> dict[str, str]:
    """Measure what the pictures show; return the addresses by name."""
    part = case(seed=1, photos=2)  # drawn: no part of the samples was photographed twice
    twice = [
        measure(tab, photo, f"{pin:g}")
        for photo, pin in zip(part.write(room, "stud"), part.pins_mm, strict=True)
    ]
    found = {
        "refused": measure(tab, SAMPLES / "p22-blurred.jpg", "8"),
        "doubt": measure(tab, SAMPLES / "p04-m16-two-start-pin.jpg", "8"),
        "answer": measure(tab, SAMPLES / "p05-unf12-pin.jpg", "6"),
    }
    ids = [address.rpartition("/")[2] for address in twice]
    found["together"] = f"/together?id={ids[0]}&id={ids[1]}"
    tab.goto("/box")
    tab.fill("#ref-size", "8")
    tab.click("text=Start the box")
    tab.wait_for_url("**/box/*")
    names = ("p13-npt12-pin", "p20-box-pin", "p23-cut", "p27-m18-short-pin")
    tab.set_input_files("#photos", [SAMPLES / f"{name}.jpg" for name in names])
    for _ in range(200):
        if tab.inner_text("#doing").startswith("All"):
            break
        tab.wait_for_timeout(200)
    found["box"] = tab.url
    return found


def shoot(tab: Any, name: str, size: str) -> None:
    """Write one picture, small enough for the repository."""
    tab.wait_for_load_state("load" if name == "live-hint" else "networkidle")
    # The bar of places is fixed to the screen's foot; in a picture of a whole page it would
    # lie over the middle.
    if size == "phone":
        tab.add_style_tag(content=".top nav { position: static } .top { display: block }")
    raw = TARGET / f"{name}-{size}.png"
    tab.screenshot(path=raw, full_page=name != "panel-lit")
    with Image.open(raw) as image:
        cut = image.convert("RGB").crop((0, 0, image.width, min(image.height, MOST_PX)))
        if size == "desk":
            cut = cut.resize((cut.width * 5 // 8, cut.height * 5 // 8), Image.Resampling.LANCZOS)
        cut.save(TARGET / f"{name}-{size}.jpg", quality=68, optimize=True)
    raw.unlink()


def list_them() -> None:
    """Write the page that shows them all."""
    lines = [
        "# The pages, as they look",
        "",
        "At 360 px, the narrowest phone, and at 1280 px; drawn from the sample photos and the "
        "sample stock by `python docs/draw_screens.py`.",
        "",
    ]
    for name, (_, words) in PAGES.items():
        lines += [f"## {words}", ""]
        lines += [f"![{words}, at {size} size](screens/{name}-{size}.jpg)" for size in SIZES]
        lines += [""]
    lines += ["## In the dark", "", "![The answer in the dark](screens/answer-dark.jpg)", ""]
    (TARGET.parent / "screens.md").write_text("\n".join(lines), encoding="utf-8")


def main() -> None:
    """Draw all."""
    from playwright.sync_api import sync_playwright

    TARGET.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, contextlib.ExitStack() as stack:
        subprocess.run(
            [sys.executable, "-c", START, "stock", "import", str(SAMPLES / "stock/bench.csv")],
            cwd=folder,
            check=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        page = stack.enter_context(running_page(Path(folder), "--reference", "pin 6"))
        (Path(folder) / "lan").mkdir()
        lan = stack.enter_context(running_page(Path(folder) / "lan", "--lan", wait="/pair/"))
        playwright = stack.enter_context(sync_playwright())
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"),
            args=[
                "--no-sandbox",
                "--use-fake-ui-for-media-stream",
                "--use-fake-device-for-media-stream",
                f"--use-file-for-fake-video-capture={film(Path(folder) / 'bright.mjpeg')}",
            ],
        )
        found: dict[str, str] = {}
        for size, (width, height) in SIZES.items():
            context = browser.new_context(
                base_url=page.address,
                viewport={"width": width, "height": height},
                bypass_csp=True,
                ignore_https_errors=True,
            )
            tab = context.new_page()
            found = found or fill(tab, Path(folder))
            for name, (address, _) in PAGES.items():
                if name == "pair":
                    pair(tab, lan)
                elif name == "live-hint":
                    look(tab)
                elif name == "panel-lit":
                    tab.goto(address)
                    tab.click("#light")
                else:
                    tab.goto(address or found[name])
                shoot(tab, name, size)
            if size == "phone":
                tab.emulate_media(color_scheme="dark")
                tab.goto(found["answer"])
                shoot(tab, "answer", "phone")
                (TARGET / "answer-phone.jpg").rename(TARGET / "answer-dark.jpg")
                tab.emulate_media(color_scheme="light")
                tab.goto(found["answer"])
                shoot(tab, "answer", "phone")
            context.close()
        browser.close()
    list_them()


def film(path: Path) -> Path:
    """Write a second of a camera that sees too bright a light."""
    photo = cv2.imread(str(SAMPLES / "p24-over-exposed.jpg"))
    small = cv2.resize(photo, (1344, 1008), interpolation=cv2.INTER_AREA)
    path.write_bytes(cv2.imencode(".jpg", small)[1].tobytes() * 30)
    return path


def look(tab: Any) -> None:
    """Start the live view and wait for its first hint."""
    tab.goto("/live")
    tab.click("#start")
    for _ in range(300):
        if tab.get_attribute("#hint", "data-hints"):
            break
        tab.wait_for_timeout(200)


def pair(tab: Any, lan: Any) -> None:
    """Pair this browser and show the code for the next."""
    address = lan.lines[-1].strip()
    tab.goto(address)
    tab.click("button:has-text('Pair this browser')")
    tab.wait_for_load_state()
    tab.goto(f"{address.partition('/pair/')[0]}/browsers")
    tab.click("text=Pair one more")
    tab.wait_for_load_state()
    # An address that is nobody's (RFC 5737) stands in the picture, not that of this machine.
    shown = "https://192.0.2.7:8017/pair/an-example-of-a-code-that-pairs"
    code = segno.make(shown, error="m").svg_inline(scale=6, border=4, dark="#000", light="#fff")
    tab.evaluate(
        "([text, svg]) => { document.querySelector('.wrap code').textContent = text;"
        " document.querySelector('.code').innerHTML = svg; }",
        [shown, code],
    )


if __name__ == "__main__":
    main()
