"""A thousand hostile uploads against a running page: ``python -m tests.hostile_page [--count N]``.

Mutated photos, decompression bombs, SVG and HTML under image names, odd names, half uploads, forged
tokens, cross-site posts and guessed ids, one after the other. After every ten the next good photo
must be answered, and no answer may tell of the machine. Ends with 1 if one did.
"""

from __future__ import annotations

import argparse
import random
import re
import socket
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import httpx

from tests.page.running import Client, Page, running_page, sample
from tests.page.test_workers import png_of_zeros

#: What no answer may have in it.
TELLS = re.compile(
    r"Traceback|File \"|site-packages|\.py\b|sqlite3|numpy|OpenCV|cv2|Errno|/(?:home|tmp|root|usr)/"
)
_NAMES = ("a.jpg", "../../x.jpg", "a\\b.png", "x" * 300 + ".jpg", "<b>.jpg", "photo", ".", "a.svg")
_GOOD_EVERY = 10


def mutated(data: bytes, rng: random.Random) -> bytes:
    """Return a photo with bytes changed, dropped, doubled or cut off."""
    out = bytearray(data)
    kind = rng.randrange(5)
    if kind == 0:  # anywhere
        for _ in range(rng.choice((1, 10, 1000))):
            out[rng.randrange(len(out))] = rng.randrange(256)
    elif kind == 1:  # in the header, where lengths and sizes stand
        for _ in range(rng.choice((1, 4, 40))):
            out[rng.randrange(min(800, len(out)))] = rng.randrange(256)
    elif kind == 2:
        del out[rng.randrange(len(out)) :]
    elif kind == 3:
        at = rng.randrange(len(out))
        del out[at : at + rng.randrange(1, 5000)]
    else:
        at = rng.randrange(len(out))
        out[at:at] = out[at : at + rng.randrange(1, 5000)]
    return bytes(out)


def files(rng: random.Random) -> Iterator[tuple[str, bytes]]:
    """Yield (kind, bytes) of hostile files, without end."""
    originals = [sample("p05-unf12-pin"), sample("p20-box-pin"), _png()]
    bombs = [png_of_zeros(7900, 8000), png_of_zeros(65000, 65000, rows=40)]
    texts = [
        b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
        b"<!doctype html><script>alert(1)</script>",
        b"",
        b"GIF89a" + b"\0" * 50,
        b"\xff\xd8\xff" + b"<script>alert(1)</script>" * 20,
        b"%PDF-1.7",
        b"\0" * 10_000,
        b"\x89PNG\r\n\x1a\n" + b"\xff" * 64,
        b"\0\0\0\x18ftypheic" + b"\xff" * 900,
        b"II*\0" + b"\xff" * 400,
    ]
    while True:
        draw = rng.random()
        if draw < 0.8:
            yield "mutated", mutated(rng.choice(originals), rng)
        elif draw < 0.83:
            yield "bomb", rng.choice(bombs)
        else:
            yield "another file", rng.choice(texts)


def _png() -> bytes:
    import cv2

    photo = cv2.imread(str(Path(__file__).parents[1] / "samples" / "p05-unf12-pin.jpg"))
    small = cv2.resize(photo, (1008, 756), interpolation=cv2.INTER_AREA)
    return cv2.imencode(".png", small)[1].tobytes()


class Attack:
    """Attacks one page and counts what came back."""

    def __init__(self, page: Page, seed: int) -> None:
        self.page, self.rng = page, random.Random(seed)
        self.counts: Counter[str] = Counter()
        self.faults: list[str] = []
        self.files = files(self.rng)

    def upload(self, client: Client) -> None:
        """Send one hostile file and hear what comes of it."""
        kind, data = next(self.files)
        got = client.measure(data, name=self.rng.choice(_NAMES), size="6")
        self._look(f"{kind}: {got['kind']}", str(got))

    def knock(self, client: Client) -> None:
        """Ask for what is none of the asker's business, or change it from elsewhere."""
        rng = self.rng
        guess = "".join(rng.choice("0123456789abcdef") for _ in range(10))
        asks = (
            lambda: client.get(f"/answers/{guess}"),
            lambda: client.get(f"/answers/{guess}/photo.jpg"),
            lambda: client.get(f"/answers/..%2f..%2f{guess}"),
            lambda: client.get(f"/runs/{guess}/events"),
            lambda: client.get(f"/box/{guess}"),
            lambda: client.get("/record?page=99999999999&name=%27%22%3Cscript%3E"),
            lambda: client.get("/lookup?diameter=" + "9" * 500),
            lambda: client.get("/size?name=%00%ff"),
            lambda: client.post("/photos", data={"token": guess}),
            lambda: client.post("/record", data={"token": client.token, "thread": guess}),
            lambda: client.post("/photos", content=b"x" * 100, headers={"X-Token": client.token}),
            lambda: client.change("/reference", {"source": "card"}, Origin="https://evil.example"),
            lambda: client.get("/", headers={"Host": "evil.example"}),
            lambda: httpx.get(f"{self.page.address}/", cookies={"pitchcam": guess * 50}),
            lambda: client.request("PUT", "/photos"),
            lambda: client.post(
                "/live/frame?stream=abcdefgh&source=pin&size=6",
                content=b"\xff",
                headers={"X-Token": client.token},
            ),
        )
        answer = rng.choice(asks)()
        self._look(f"knock: {answer.status_code}", answer.text)
        if answer.status_code >= 500:
            self.faults.append(f"{answer.request.method} {answer.request.url}: 500")

    def half(self) -> None:
        """Begin an upload and hang up in its middle."""
        parts = urlsplit(self.page.address)
        with socket.create_connection((parts.hostname, parts.port)) as line:
            head = f"POST /photos HTTP/1.1\r\nHost: {parts.netloc}\r\nContent-Length: 900000\r\n"
            kind = "Content-Type: multipart/form-data; boundary=x\r\n\r\n--x\r\nContent-"
            line.sendall((head + kind).encode())
        self.counts["half upload"] += 1

    def good(self, client: Client) -> None:
        """The next good photo is answered: the same photo with a comment that makes it new."""
        data = sample("p05-unf12-pin")
        mark = b"\xff\xfe\x00\x0a%08d" % self.rng.randrange(10**8)
        got = client.measure(data[:2] + mark + data[2:])
        if got["kind"] != "done" or "1/2-20 UNF" not in client.get(got["address"]).text:
            self.faults.append(f"a good photo was not answered: {got}")
        self.counts["good photo answered"] += 1

    def _look(self, what: str, text: str) -> None:
        self.counts[what] += 1
        if found := TELLS.search(text):
            self.faults.append(f"{what} tells {found[0]!r}: {text[:300]}")


def _failure(lines: list[str]) -> str:
    """Return the first traceback that the server printed."""
    at = next(i for i, line in enumerate(lines) if "Traceback" in line)
    return "\n".join(lines[at : at + 60])


def attack(page: Page, count: int, seed: int = 1) -> Attack:
    """Send ``count`` hostile requests, of which eight in ten carry a file."""
    work = Attack(page, seed)
    with page.client() as client:
        work.good(client)
        for i in range(1, count + 1):
            draw = work.rng.random()
            try:
                if draw < 0.8:
                    work.upload(client)
                elif draw < 0.97:
                    work.knock(client)
                else:
                    work.half()
            except httpx.TransportError as error:
                work.counts[f"hung up ({type(error).__name__})"] += 1
            if i % _GOOD_EVERY == 0:
                work.good(client)
            if page.process.poll() is not None:
                work.faults.append("the server ended")
                break
        work.good(client)
    if any("Traceback" in line for line in page.lines):
        work.faults.append("the server's own code failed: " + _failure(page.lines))
    return work


def main() -> int:
    """Attack and print what came back."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, running_page(Path(folder)) as page:
        work = attack(page, options.count, options.seed)
        kept = len(list(page.folder.glob("pitchcam-page/photos/*")))
    for what, number in sorted(work.counts.items()):
        print(f"{number:6d}  {what}")
    print(f"{kept} photos kept, {time.monotonic() - began:.0f} s")
    for fault in work.faults:
        print("FAULT", fault)
    print("no fault" if not work.faults else f"{len(work.faults)} faults")
    return 1 if work.faults else 0


if __name__ == "__main__":
    sys.exit(main())
