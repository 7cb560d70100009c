"""The photos of the study, one after the other: made, measured, and only the row kept."""

from __future__ import annotations

import io
import json
import multiprocessing
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from pitchcam import CORE_REVISION
from tests.envelope.dials import ANY, DIALS, WITHIN, Setting, base_value, careless, drawn, turned
from tests.fresh.measure import guarded, quiet

ROOT = Path(__file__).resolve().parents[2]
Row = dict[str, Any]
#: Threads of every dial's every value: both forms, parallel and taper.
FOUR = ("M14x1.5", "G 1/4", "3/8-16 BSW", "1/4-18 NPT")
#: Samples that are made worse: one of each reference, clean as they are.
SAMPLES = (
    "p01-m12x1.25-disc",
    "p03-m22x1.5-jaws",
    "p05-unf12-pin",
    "p10-bsw38-major",
    "p12-npt38-card",
    "p14-r12-pin",
)
#: What is done to them: blur as sigma in pixels, noise in codes, JPEG quality, size.
WORSE = {
    "blur": (1.0, 2.0, 3.5, 6.0),
    "noise": (4.0, 12.0, 30.0),
    "jpeg": (60, 30, 12),
    "size": (0.7, 0.5, 0.35, 0.25),
}
SEED, PROOF_SEED = 20, 9901
#: Parts whose dials are drawn at random, and how many dials of a careless photo are anywhere.
RANDOM, CARELESS = ("within", "any", "careless"), 3


@dataclass(frozen=True, kw_only=True)
class Job:
    """One photo: of which part of the study, its dial and value, and of what."""

    part: str
    dial: str
    value: float
    name: str
    number: int

    @property
    def key(self) -> str:
        """Names the photo in what is kept."""
        return f"{self.part}/{self.dial}/{self.value:g}/{self.name}/{self.number}"


def jobs(part: str, count: int) -> list[Job]:
    """Return the photos of a part of the study; ``count`` holds for those drawn at random."""
    if part == "dials":
        base = [
            Job(part=part, dial="none", value=0.0, name=n, number=i) for i in range(3) for n in FOUR
        ]
        return base + [
            Job(part=part, dial=d.name, value=v, name=n, number=0)
            for n in FOUR
            for d in DIALS.values()
            for v in d.values
        ]
    if part == "samples":
        return [
            Job(part=part, dial=dial, value=float(v), name=n, number=0)
            for n in SAMPLES
            for dial, values in WORSE.items()
            for v in values
        ]
    return [Job(part=part, dial="all", value=0.0, name="", number=i) for i in range(count)]


def run(todo: list[Job], done: set[str], processes: int = 1) -> Iterator[Row]:
    """Make and measure the photos that are not done, in their order."""
    left = [job for job in todo if job.key not in done]
    context = multiprocessing.get_context("spawn")
    with context.Pool(processes, initializer=quiet) as pool:
        for rows in pool.imap(measured, left):
            yield from rows


def measured(job: Job) -> list[Row]:
    """Make a photo, measure it and return its rows: none where its part does not fit the frame."""
    with tempfile.TemporaryDirectory() as room:
        try:
            truth_file = make(job, Path(room))
        except ValueError as error:
            print(f"{job.key}: {error}", flush=True)
            return []
        about = {"key": job.key, "core": CORE_REVISION, "study": asdict(job)}
        return [about | row for row in guarded(truth_file)]


def make(job: Job, room: Path) -> Path:
    """Write the photo and its truth; return the truth's file."""
    from tests.envelope.photo import NAMES, draw

    if job.part == "samples":
        return worsened(job, room)
    photo = room / "photo.jpg"
    if job.part == "dials":
        setting = turned(job.dial, job.value) if job.dial != "none" else turned("zoom", 1.0)
        draw(job.name, setting, (SEED, FOUR.index(job.name), job.number), photo)
    else:
        draw(
            NAMES[job.number % len(NAMES)],
            at_random(job.part, job.number),
            (PROOF_SEED, RANDOM.index(job.part), job.number),
            photo,
        )
    return photo.with_suffix(".json")


def at_random(part: str, number: int) -> Setting:
    """Return the setting of a photo whose dials are drawn at random."""
    rng = np.random.default_rng([PROOF_SEED, RANDOM.index(part), number])
    if part == "careless":
        return careless(rng, CARELESS)
    return drawn(rng, WITHIN if part == "within" else ANY)


def worsened(job: Job, room: Path) -> Path:
    """Make a sample photo worse by one means."""
    source = ROOT / "samples" / f"{job.name}.jpg"
    truth = source.with_suffix(".json")
    shutil.copy(truth, room / truth.name)
    with Image.open(source) as opened:
        exif, pixels = opened.getexif(), np.asarray(opened.convert("RGB"))
    quality = 92
    if job.dial == "blur":  # light is blurred, not codes
        light = cv2.LUT(pixels, (np.arange(256, dtype=np.float32) / 255) ** 2.2)
        light = cv2.GaussianBlur(light, (0, 0), job.value)
        pixels = np.rint(cv2.pow(light, 1 / 2.2) * 255).astype(np.uint8)
    elif job.dial == "noise":
        noise = np.random.default_rng(SEED).normal(0, job.value, pixels.shape)
        pixels = np.clip(np.rint(pixels + noise), 0, 255).astype(np.uint8)
    elif job.dial == "size":
        pixels = cv2.resize(pixels, None, fx=job.value, fy=job.value, interpolation=cv2.INTER_AREA)
    elif job.dial == "jpeg":
        quality = int(job.value)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=quality, exif=exif)
    (room / source.name).write_bytes(out.getvalue())
    return room / truth.name


def kept(rows: list[Row]) -> list[Row]:
    """Return what the docs need of each row, short."""
    out = []
    for row in rows:
        names = ("key", "core", "study", "truth", "outcome", "probability")
        short = {k: row[k] for k in names if k in row}
        answer = row["answer"] if row["outcome"] in ("right", "open", "wrong", "extra") else ""
        short["answer"] = answer or row["answer"].split(":")[0]
        short["errors"] = {k: float(f"{v:.3g}") for k, v in row.get("errors", {}).items()}
        short["u"] = {k: float(f"{v:.3g}") for k, v in row.get("u", {}).items()}
        if short.get("probability") is not None:
            short["probability"] = round(short["probability"], 5)
        out.append(short)
    return out


def read(file: Path) -> list[Row]:
    """Return the rows that a run has kept so far."""
    if not file.exists():
        return []
    return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]


def on_curve(rows: list[Row], dial: str) -> dict[float, list[Row]]:
    """Return the rows of a dial by its value, those of the careful setting among them."""
    out: dict[float, list[Row]] = {}
    for row in rows:
        study = row["study"]
        if study["part"] == "dials" and study["dial"] in (dial, "none"):
            at = base_value(dial) if study["dial"] == "none" else study["value"]
            out.setdefault(at, []).append(row)
    return out
