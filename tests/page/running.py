"""A page that runs: ``pitchcam serve`` as a process of its own, as a person starts it."""

from __future__ import annotations

import asyncio
import contextlib
import os
import re
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import httpx

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "samples"
START = "from pitchcam.cli import main; main()"


@dataclass
class Page:
    """A running page: its address, its folder, and what it says on the terminal."""

    address: str
    folder: Path
    process: subprocess.Popen
    lines: list[str] = field(default_factory=list)

    def client(self) -> Client:
        """Return a browser-like client with its session and token."""
        return Client(self.address)


class Client(httpx.Client):
    """An HTTP client that keeps the session, and the token that changes must carry."""

    def __init__(self, address: str, **options) -> None:
        super().__init__(base_url=address, timeout=60, **options)
        first = httpx.get(f"{address}/", cookies=self.cookies, verify=options.get("verify", True))
        self.cookies.update(first.cookies)
        self.token = re.search(r'name="token" content="(\w*)"', first.text)[1]

    def change(self, address: str, fields: dict | None = None, *, photo=None, **headers):
        """Send a form as the page's script does."""
        files = None if photo is None else {"photo": photo}
        return self.post(
            address,
            data=fields or {},
            files=files,
            headers={"X-Token": self.token, "Accept": "application/json", **headers},
        )

    def measure(self, photo: bytes, name: str = "photo.jpg", **fields) -> dict:
        """Send a photo, follow its steps; return the last event with the steps heard."""
        fields = {"source": "pin", "size": "6", **fields}
        started = self.change("/photos", fields, photo=(name, photo, "image/jpeg"))
        if started.status_code != 201:
            return {"kind": "refused", "status": started.status_code, "text": started.text}
        return self.follow(started.json()["events"])

    def follow(self, address: str) -> dict:
        """Return the last event of a run, its data, and the steps before it."""
        import json

        steps, kind = [], ""
        with self.stream("GET", address) as stream:
            for line in stream.iter_lines():
                if line.startswith("event: "):
                    kind = line[7:]
                elif line.startswith("data: "):
                    data = json.loads(line[6:])
                    if kind != "step":
                        return {"kind": kind, "steps": steps, **data}
                    steps.append(data["text"])
        return {"kind": "cut off", "steps": steps}


def by_itself(work):
    """Return what a coroutine comes to, in a thread: the browser holds a loop in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


@contextlib.contextmanager
def running_page(folder: Path, *options: str, wait: str = "pitchcam is at"):
    """Start a page on a free port in a folder of its own; stop it at the end."""
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "PYTHONUNBUFFERED": "1",
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
    }
    environment.pop("PITCHCAM_RECORD", None)
    process = subprocess.Popen(
        [sys.executable, "-c", START, "serve", "--port", "0", *options],
        cwd=folder,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    lines: list[str] = []
    ready = threading.Event()

    def read() -> None:
        for line in process.stdout:
            lines.append(line.rstrip("\n"))
            if wait in line:
                ready.set()
        ready.set()

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    try:
        assert ready.wait(60), lines
        address = re.search(r"https?://[\w.:-]+", "\n".join(lines))
        assert address is not None, lines
        yield Page(address=address[0].rstrip(".,"), folder=folder, process=process, lines=lines)
    finally:
        process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(15)
        process.kill()
        process.wait()
        reader.join(5)
        process.stdout.close()


def sample(name: str) -> bytes:
    """Return a sample photo's bytes."""
    return (SAMPLES / f"{name}.jpg").read_bytes()
