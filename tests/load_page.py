"""Phones at once: ``python -m tests.load_page [--phones 4] [--seconds 120]``.

Each phone sends 12-megapixel photos one after the other, each to its answer. Printed: how many were
lost, the median and the 95th percentile of the time from the first byte sent to the answer, as
ratios to the measurement alone of the same photo in one warm process (over as many photos, in the
same run), and the server's memory in the first and the last quarter.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

import psutil

from tests.page.running import SAMPLES, Page, running_page, sample

PHOTO, PIN_MM = "p05-unf12-pin", 6.0


def alone_s(folder: Path, count: int) -> list[float]:
    """Return the time of the measurement alone, photo by photo, after one to warm up."""
    import cv2

    import pitchcam
    from pitchcam.records import ScaleSpec

    cv2.setNumThreads(1)
    took = []
    for i in range(count + 1):
        path = folder / f"{i}.jpg"
        path.write_bytes(_marked(i))
        began = time.perf_counter()
        pitchcam.identify(path, ScaleSpec(source="pin", mm=PIN_MM))
        took.append(time.perf_counter() - began)
    return took[1:]


def _marked(number: int) -> bytes:
    """Return the photo with a comment that makes its bytes new."""
    data = sample(PHOTO)
    return data[:2] + b"\xff\xfe\x00\x0a%08d" % number + data[2:]


def phone(page: Page, first: int, until: float, took: list[float], lost: list[str]) -> None:
    """Send photos until the time is up."""
    with page.client() as client:
        number = first
        while time.perf_counter() < until:
            number += 1
            began = time.perf_counter()
            try:
                got = client.measure(_marked(number))
            except Exception as error:
                lost.append(repr(error))
                continue
            if got["kind"] == "done":
                took.append(time.perf_counter() - began)
            else:
                lost.append(str(got))


def memory_mb(page: Page) -> float:
    """Return the resident memory of the server and its workers, shared pages counted once each."""
    server = psutil.Process(page.process.pid)
    total = 0
    for process in (server, *server.children(recursive=True)):
        try:
            total += process.memory_full_info().uss
        except psutil.Error:
            continue
    return total / 1e6


def load(page: Page, phones: int, seconds: float) -> tuple[list[float], list[str], list[float]]:
    """Return times per photo, what was lost, and the memory over time."""
    took: list[float] = []
    lost: list[str] = []
    memory: list[float] = []
    until = time.perf_counter() + seconds
    threads = [
        threading.Thread(target=phone, args=(page, 1_000_000 * (i + 1), until, took, lost))
        for i in range(phones)
    ]
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        memory.append(memory_mb(page))
        time.sleep(1.0)
    return took, lost, memory


def interactive_s(page: Page) -> float | None:
    """Return how long a browser takes from asking for the start page until it can be used."""
    program = shutil.which("chromium")
    if program is None:
        return None
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        tab = browser.new_page(viewport={"width": 360, "height": 740})
        tab.goto(page.address)
        took = tab.evaluate("performance.getEntriesByType('navigation')[0].domInteractive")
        browser.close()
    return float(took) / 1000.0


def main() -> int:
    """Load a page and print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--phones", type=int, default=4)
    parser.add_argument("--seconds", type=float, default=120.0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        before = alone_s(Path(folder), 20)
        with running_page(Path(folder)) as page:
            with page.client() as client:  # the first answer after the start, by itself
                began = time.perf_counter()
                client.measure(_marked(1))
                first = time.perf_counter() - began
            usable = interactive_s(page)
            took, lost, memory = load(page, options.phones, options.seconds)
        after = alone_s(Path(folder), 20)
    alone = statistics.median(before + after)
    took.sort()
    quarter = max(1, len(memory) // 4)
    print(f"{PHOTO}: {(SAMPLES / f'{PHOTO}.jpg').stat().st_size / 1e6:.1f} MB, 12 megapixels")
    print(f"{options.phones} phones, {options.seconds:g} s: {len(took)} answered, {len(lost)} lost")
    print(f"measurement alone: 1 (median of {len(before + after)}, {alone:.2f} s here)")
    if not took:
        return 1
    print(
        f"upload to answer: median {statistics.median(took) / alone:.1f}, "
        f"95th percentile {took[int(0.95 * (len(took) - 1))] / alone:.1f} times that"
    )
    rate = len(took) / options.seconds * alone
    print(f"photos a second: {rate:.2f} of what one process measures alone")
    print(f"first answer after the start: {first / alone:.1f} times that")
    if usable is not None:
        print(f"start page usable in a browser: {usable / alone:.1f} times that ({usable:.2f} s)")
    print(
        f"memory: {statistics.mean(memory[:quarter]):.0f} MB in the first quarter, "
        f"{statistics.mean(memory[-quarter:]):.0f} MB in the last, at most {max(memory):.0f}"
    )
    for line in lost[:5]:
        print("LOST", line)
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
