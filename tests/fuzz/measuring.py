"""Whole measurements under the fuzz: scenes without a thread, and samples whose truth is known."""

from __future__ import annotations

import json
import random

import cv2
import numpy as np

from pitchcam.errors import InputError, UnreadableError
from tests.fuzz import scenes, transform, transformed
from tests.fuzz.promises import BrokenError, Tally, kept, promised

#: References that are stated with a scene, whether it shows them or not.
SPECS = (
    ("pin", 8.0),
    ("pin", 6.0),
    ("disc", 20.0),
    ("card", None),
    ("jaws", 20.0),
    ("major", 10.0),
    ("auto", None),
    ("none", None),
)


def scene_bytes(rng: random.Random) -> bytes:
    """Return a drawn picture without a thread as PNG; which reference is stated goes along."""
    image = scenes.plain_scene(np.random.default_rng(rng.getrandbits(64)))
    return bytes([rng.randrange(len(SPECS))]) + cv2.imencode(".png", image)[1].tobytes()


def no_thread(data: bytes, tally: Tally) -> None:
    """Measure a scene without a thread: nothing may be named, and JSON is strict."""
    from pitchcam import identify
    from pitchcam.records import ScaleSpec, json_text

    source, mm = SPECS[data[0] % len(SPECS)]
    path = kept(data[1:], ".png")
    with promised(tally, UnreadableError, InputError):
        result = identify(path, ScaleSpec(source=source, mm=mm))  # type: ignore[arg-type]
        json_text(result.to_json())
        faults = [w.message for w in result.warnings if w.code == "fault"]
        if faults:
            raise BrokenError(f"inner fault: {faults[0]}")
        named = [
            t.verdict.designation
            for p in result.parts
            for t in p.threads
            if t.verdict.status == "named"
        ]
        if named:
            raise BrokenError(f"named {named[0]}")


def sample_bytes(rng: random.Random) -> bytes:
    """Return a transformed sample: its name and what was done, a NUL, the picture."""
    chosen, data, done = transform.transformed(rng, transformed.SAMPLE_WIDTH_PX)
    return json.dumps([chosen.name, done]).encode() + b"\0" + data


def right_name(data: bytes, tally: Tally) -> None:
    """Measure a transformed sample: a name must be right, intervals are counted."""
    head, _, picture = data.partition(b"\0")
    name, done = json.loads(head)
    truth = json.loads((transform.SAMPLES / f"{name}.json").read_text())
    with promised(tally, UnreadableError, InputError):
        row = transformed.judged(truth, kept(picture, ".jpg"))
        if "fault" in row:
            raise BrokenError(f"inner fault: {row['fault']}")
        for thread in row.get("threads", ()):
            tally.count(f"thread {thread['outcome']}")
            for value, u, true in thread["read"].values():
                tally.quantities += 1
                tally.inside += abs(value - true) <= transformed.COVER * u
        wrong = "; ".join(transformed.wrong(row))
        if wrong:
            raise BrokenError(f"wrong name: {wrong} ({name}: {', '.join(done)})")
