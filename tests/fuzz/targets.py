"""What the fuzz throws at pitchcam, each target with its inputs and its promises."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import random
import sqlite3
from datetime import UTC, datetime
from functools import cache
from typing import Any

import cv2
import numpy as np
from PIL import Image as Pillow

from pitchcam.records import FORMAT
from tests.fuzz.measuring import no_thread, right_name, sample_bytes, scene_bytes
from tests.fuzz.mutate import mutate
from tests.fuzz.promises import BrokenError, Tally, Target, folder, kept, promised

# Photos.


@cache
def seeds() -> tuple[tuple[str, bytes], ...]:
    """Return small whole pictures of every kind that is read, with EXIF where it may be."""
    light = np.full((48, 64), 210, np.uint8)
    cv2.rectangle(light, (12, 10), (50, 22), 30, -1)
    light = cv2.GaussianBlur(light, (0, 0), 0.8)
    colour = cv2.merge([light, light, np.roll(light, 2, 1)])
    found = []
    tags = Pillow.Exif()
    tags[0x0112], tags[0x0131], tags[0x010F] = 6, "an editor", "Example"
    tags.get_ifd(0x8769).update(
        {
            0xA405: 26,
            0x920A: 5.4,
            0xA002: 64,
            0xA003: 48,
            0xA404: 2.0,
            0x9003: "2026:01:01 12:00:00",
            0xA20E: 400.0,
            0xA20F: 400.0,
            0xA210: 3,
        }
    )

    def save(array: Any, kind: str, **more: Any) -> None:
        out = io.BytesIO()
        Pillow.fromarray(array).save(out, kind, **more)
        found.append((kind, out.getvalue()))

    save(colour, "JPEG", exif=tags, quality=90)
    save(colour, "JPEG", progressive=True, quality=75)
    save(light, "JPEG", exif=tags)
    out = io.BytesIO()
    Pillow.fromarray(colour).convert("CMYK").save(out, "JPEG")
    found.append(("JPEG", out.getvalue()))
    save(colour, "PNG", exif=tags)
    save(np.dstack([colour, 255 - light]), "PNG")
    save(light, "PNG")
    save(light.astype(np.uint16) * 257, "PNG")
    save(colour, "TIFF", compression="tiff_lzw")
    save(colour, "TIFF")
    save(light, "TIFF", compression="packbits")
    deep = cv2.imencode(".tif", colour.astype(np.uint16) * 257)[1].tobytes()
    found.append(("TIFF", deep))
    with contextlib.suppress(Exception):  # an encoder that this build lacks
        import pillow_heif

        out = io.BytesIO()
        pillow_heif.from_pillow(Pillow.fromarray(colour)).save(out, exif=tags.tobytes())
        found.append(("HEIF", out.getvalue()))
    return tuple(found)


def photo_bytes(rng: random.Random) -> bytes:
    _, data = rng.choice(seeds())
    return mutate(data, rng, rng.choice(seeds())[1])


def open_photo(data: bytes, tally: Tally) -> None:
    from pitchcam.photo import load_photo

    with promised(tally):
        photo = load_photo(kept(data, ".jpg"), max_megapixels=1.0)
        if photo.pixels.ndim not in (2, 3) or photo.pixels.dtype not in (np.uint8, np.uint16):
            raise BrokenError(f"pixels {photo.pixels.shape} {photo.pixels.dtype}")
        if photo.f35_mm is not None and not 8 <= photo.f35_mm <= 1000:
            raise BrokenError(f"focal length {photo.f35_mm}")


def exif_bytes(rng: random.Random) -> bytes:
    """Return a JPEG whose EXIF segment alone is damaged."""
    data = seeds()[0][1]
    start = data.index(b"Exif\0\0")
    length = int.from_bytes(data[start - 2 : start], "big")
    inner = mutate(data[start + 6 : start - 2 + length], rng)[:60000]
    return (
        data[: start - 2]
        + (len(inner) + 8).to_bytes(2, "big")
        + b"Exif\0\0"
        + inner
        + data[start - 2 + length :]
    )


# Texts.

_LIST = b"file,source,mm,height_mm,axis_height_mm,part,camera\na.jpg,pin,8,,,p1,c1\nb.jpg,,,,5,,\n"


def list_bytes(rng: random.Random) -> bytes:
    return mutate(_LIST, rng)


def read_photo_list(data: bytes, tally: Tally) -> None:
    from pitchcam.batch.settings import Settings
    from pitchcam.batch.source import read_list
    from pitchcam.records import ScaleSpec

    with promised(tally):
        read_list(kept(data, ".csv"), Settings(scale=ScaleSpec()))


@cache
def _stock_sheet() -> bytes:
    from pitchcam.joining.stock.sheet import columns
    from pitchcam.joining.tables import read_table

    example = {row["column"]: row["example"] for row in read_table("stock_columns")}
    names = [name for name, _ in columns()]
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(names)
    for k in range(2):
        writer.writerow([example[n] if n != "id" else f"row{k}" for n in names])
    return out.getvalue().encode()


def stock_bytes(rng: random.Random) -> bytes:
    return mutate(_stock_sheet(), rng)


def read_stock_sheet(data: bytes, tally: Tally) -> None:
    from pitchcam.joining.stock.sheet import read_stock

    with promised(tally):
        read_stock(kept(data, ".csv"))


_PROFILE = json.dumps(
    {
        "format": "pitchcam.camera/1",
        "name": "north",
        "width_px": 4032,
        "height_px": 3024,
        "f_px": 3000.0,
        "u_f_px": 15.0,
        "centre_px": [2015.5, 1511.5],
        "u_centre_px": [12.0, 12.0],
        "k1": 0.01,
        "k2": -0.02,
        "residual_px": 0.2,
        "views": 6,
        "f35_mm": 26.0,
    }
).encode()


def profile_bytes(rng: random.Random) -> bytes:
    return mutate(_PROFILE, rng)


def read_profile(data: bytes, tally: Tally) -> None:
    from pitchcam.camera.profile import load_profile

    with promised(tally):
        load_profile(kept(data, ".json")).for_size(4032, 3024)


# Records.


@cache
def _record() -> bytes:
    from pitchcam.store.entries import Outcome
    from pitchcam.store.store import Store

    path = folder() / "whole.sqlite"
    document = {
        "format": FORMAT,
        "photo": {"file": "a", "sha256": "0" * 64, "width_px": 4, "height_px": 3},
        "scale": None,
        "parts": [],
        "warnings": [],
    }
    with Store(path) as store:
        for k in range(6):
            outcome = Outcome(status="measured", document=document, thumbnails={0: b"jpeg"})
            store.add(f"{k:064x}", "{}", "k" * 64, outcome, [f"photo{k}.jpg"])
        first = store.ids()[0]
        store.correct(
            first, "M10x1.5", who="bench", why="gauge", now=datetime(2026, 1, 1, tzinfo=UTC)
        )
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return path.read_bytes()


def record_bytes(rng: random.Random) -> bytes:
    return mutate(_record(), rng)


def read_record(data: bytes, tally: Tally) -> None:
    from pitchcam.store.rows import entry_rows
    from pitchcam.store.store import Store

    for extra in ("-wal", "-shm"):
        (folder() / f"input.sqlite{extra}").unlink(missing_ok=True)
    with promised(tally), Store(kept(data, ".sqlite"), must_exist=True) as store:
        for entry in store.entries():
            list(entry_rows(entry))
            store.thumbnail(entry.id, 0)


# Readings and command lines.

_WORDS = (
    "lookup",
    "series",
    "mate",
    "identify",
    "log",
    "stock",
    "adapt",
    "join",
    "job",
    "chart",
    "check",
    "batch",
    "sheet",
    "list",
    "show",
    "check",
    "import",
    "--help",
    "--json",
    "--gauge",
    "--diameter",
    "--bore",
    "--angle",
    "--second",
    "--apart",
    "--pin",
    "--major",
    "--shrinkage",
    "--cast",
    "--matrix",
    "--traps",
    "--record",
    "--stock",
    "1.5",
    "14",
    "0",
    "-1",
    "nan",
    "inf",
    "1e999",
    "1/2in",
    "0.543in",
    "1/2-14 NPT",
    "M14x1.5",
    "G 1/4",
    "Rc 1/2",
    "20 tpi",
    "",
    " ",
    "\x1b[31m",
    "a\nb",
    "é",
    "\udcff",
    "9" * 400,
    "/dev/null",
    ".",
    "nothing.jpg",
    "1,5",
    "60",
    "--pressure",
    "10bar",
    "--out",
    "none.sqlite",
    "M14",
    "UNF",
    "--",
    "-n",
)


def command_bytes(rng: random.Random) -> bytes:
    return json.dumps([rng.choice(_WORDS) for _ in range(rng.randint(1, 7))]).encode()


def run_command(data: bytes, tally: Tally) -> None:
    import click
    from click.testing import CliRunner

    from pitchcam.cli import cli

    words = json.loads(data)
    runner = CliRunner()
    with promised(tally), runner.isolated_filesystem(folder()):
        try:
            result = runner.invoke(cli, words, standalone_mode=False, catch_exceptions=False)
        except (click.ClickException, click.Abort) as error:
            tally.count(type(error).__name__)
            return
        if "--json" in words and result.return_value in (None, 0) and result.stdout.strip():
            _strict(result.stdout)


def _strict(text: str) -> None:
    def refuse(word: str) -> None:
        raise BrokenError(f"{word} in JSON")

    if text.lstrip()[:1] in "[{":
        json.loads(text, parse_constant=refuse)


def reading_bytes(rng: random.Random) -> bytes:
    def number() -> str:
        return rng.choice(
            (f"{rng.uniform(0, 120):.2f}", f"{rng.uniform(0, 5):.3f}in", "nan", "-3", "1e9", "0")
        )

    words = ["lookup"]
    for option in rng.sample(("--diameter", "--bore", "--second", "--apart", "--angle"), 3):
        words += [option, number()]
    words += [
        "--gauge",
        rng.choice(
            (f"{rng.uniform(0.1, 9):.2f}", f"{rng.randint(1, 90)} tpi", "x", "0 tpi", "1e-9")
        ),
    ]
    return json.dumps([*words, "--json"]).encode()


TARGETS = (
    Target("photos", photo_bytes, open_photo, 0.22, guided=True),
    Target("EXIF", exif_bytes, open_photo, 0.10, guided=True),
    Target("no thread", scene_bytes, no_thread, 0.22),
    Target("samples", sample_bytes, right_name, 0.30),
    Target("lists", list_bytes, read_photo_list, 0.03, guided=True),
    Target("stock", stock_bytes, read_stock_sheet, 0.03, guided=True),
    Target("profiles", profile_bytes, read_profile, 0.02, guided=True),
    Target("records", record_bytes, read_record, 0.03),
    Target("readings", reading_bytes, run_command, 0.02),
    Target("commands", command_bytes, run_command, 0.03),
)
