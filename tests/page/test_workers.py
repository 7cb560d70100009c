"""Workers that die, hang or eat memory are replaced, and phones are served in turn."""

from __future__ import annotations

import asyncio
import io
import json
import zlib
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from pitchcam.batch.settings import Job, Settings
from pitchcam.page.measuring import Task
from pitchcam.page.workers import BusyError, LostError, Workers
from pitchcam.records import ScaleSpec
from tests.page.running import SAMPLES, by_itself
from tests.records.published import check

GIB = 1024**3
PIN = Settings(scale=ScaleSpec(source="pin", mm=6.0))


def task(path: Path, view: Path) -> Task:
    import hashlib

    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    job = Job(path=path, name=path.name, sha256=digest, settings=PIN)
    return Task(job=job, view=view, megapixels=64.0)


def run(workers: Workers, *work, owner: str = "a", limit_s: float = 60.0):
    async def all_of_it():
        try:
            return await asyncio.gather(
                *(workers.run(owner, w, lambda text: None, limit_s) for w in work),
                return_exceptions=True,
            )
        finally:
            workers.close()

    return by_itself(all_of_it())


def test_a_worker_that_dies_is_replaced(tmp_path):
    """Too little memory for the libraries kills the worker as a hostile file would."""
    poor = Workers(1, GIB // 64, 10)
    good = task(SAMPLES / "p05-unf12-pin.jpg", tmp_path / "v")
    lost, again = run(poor, good, good)
    assert isinstance(lost, LostError) and isinstance(again, LostError)
    assert not lost.slow


def test_a_photo_that_takes_too_long_is_given_up(tmp_path):
    workers = Workers(1, 6 * GIB, 10)
    (lost,) = run(workers, task(SAMPLES / "p05-unf12-pin.jpg", tmp_path / "v"), limit_s=0.01)
    assert isinstance(lost, LostError)
    assert lost.slow


def test_memory_is_limited_and_the_next_photo_is_answered(tmp_path):
    """A PNG of 118 megapixels, packed to a thousandth, against a limit made small for the test."""
    bomb = tmp_path / "bomb.png"
    bomb.write_bytes(png_of_zeros(10900, 10900))
    large = replace(task(bomb, tmp_path / "b"), megapixels=200.0)
    workers = Workers(1, GIB, 10)
    got, again = run(workers, large, large)
    for one in (got, again):  # the worker that ran out of memory is replaced, and answers
        assert isinstance(one, LostError) or (one.status, one.lasting) == ("failed", False)
    (good,) = run(Workers(1, 6 * GIB, 10), task(SAMPLES / "p05-unf12-pin.jpg", tmp_path / "v"))
    assert good.status == "measured"
    check("view", json.loads((tmp_path / "v" / "view.json").read_text()))
    check("plots", json.loads((tmp_path / "v" / "plots.json").read_text()))


def test_a_header_of_too_many_pixels_is_refused_before_decoding(tmp_path):
    bomb = tmp_path / "bomb.png"
    bomb.write_bytes(png_of_zeros(60000, 60000, rows=10))
    (got,) = run(Workers(1, 6 * GIB, 10), task(bomb, tmp_path / "b"))
    assert got.status == "failed"
    assert "megapixels" in got.message


def test_a_box_from_one_phone_does_not_hold_up_another(tmp_path):
    order = []

    async def work():
        workers = Workers(1, 6 * GIB, 50)
        good = task(SAMPLES / "p05-unf12-pin.jpg", tmp_path / "v")

        async def one(owner):
            await workers.run(owner, good, lambda text: None, 60.0)
            order.append(owner)

        try:
            await asyncio.gather(*(one(who) for who in ("box",) * 6 + ("single",)))
        finally:
            workers.close()

    by_itself(work())
    assert order.index("single") <= 2


def test_a_line_that_is_too_long_is_refused(tmp_path):
    good = task(SAMPLES / "p05-unf12-pin.jpg", tmp_path / "v")
    got = run(Workers(1, 6 * GIB, 2), *(good,) * 5)
    assert sum(isinstance(g, BusyError) for g in got) == 2


def png_of_zeros(width: int, height: int, rows: int | None = None) -> bytes:
    """Return a PNG that unpacks a thousandfold (PNG specification, W3C, 3rd edition)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        crc = zlib.crc32(kind + data).to_bytes(4, "big")
        return len(data).to_bytes(4, "big") + kind + data + crc

    head = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([8, 2, 0, 0, 0])
    packer = zlib.compressobj(9)
    line = bytes(3 * width + 1)
    data = b"".join(packer.compress(line) for _ in range(rows or height)) + packer.flush()
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


@pytest.mark.parametrize("size", [(100, 100)])
def test_the_bomb_is_a_picture(size):
    image = Image.open(io.BytesIO(png_of_zeros(*size)))
    image.load()
    assert image.size == size
