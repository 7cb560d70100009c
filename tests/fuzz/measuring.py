"""Whole measurements under the fuzz: scenes without a thread, and samples whose truth is known."""

from __future__ import annotations

import json
import random

import cv2
import numpy as np

from tests.fuzz import scenes, transform
from tests.fuzz.promises import BrokenError, Tally, kept, promised

#: Width at which samples are measured; what the cameras of 2012 gave.
SAMPLE_WIDTH_PX = 1800

_SPECS = (
    ("pin", 8.0),
    ("pin", 6.0),
    ("disc", 20.0),
    ("card", None),
    ("jaws", 20.0),
    ("major", 10.0),
    ("auto", None),
)


def scene_bytes(rng: random.Random) -> bytes:
    """Return a drawn picture without a thread as PNG; which reference is stated goes along."""
    image = scenes.plain_scene(np.random.default_rng(rng.getrandbits(64)))
    return bytes([rng.randrange(len(_SPECS))]) + cv2.imencode(".png", image)[1].tobytes()


def no_thread(data: bytes, tally: Tally) -> None:
    """Measure a scene without a thread: nothing may be named, and JSON is strict."""
    from pitchcam import identify
    from pitchcam.records import ScaleSpec, json_text

    source, mm = _SPECS[data[0] % len(_SPECS)]
    path = kept(data[1:], ".png")
    with promised(tally):
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
    chosen, data, done = transform.transformed(rng, SAMPLE_WIDTH_PX)
    return json.dumps([chosen.name, done]).encode() + b"\0" + data


def right_name(data: bytes, tally: Tally) -> None:
    """Measure a transformed sample: a name must be right, intervals are counted."""
    from pitchcam import identify
    from pitchcam.records import json_text
    from tests.accuracy import assign, judge, scale_of, true_values

    head, _, picture = data.partition(b"\0")
    name, done = json.loads(head)
    truth = json.loads((transform.SAMPLES / f"{name}.json").read_text())
    path = kept(picture, ".jpg")
    with promised(tally):
        result = identify(path, scale_of(truth))
        json_text(result.to_json())
        faults = [w.message for w in result.warnings if w.code == "fault"]
        if faults:
            raise BrokenError(f"inner fault: {faults[0]}")
        found = [t for part in result.parts for t in part.threads]
        pairs = assign(truth["threads"], found)
        wrong = []
        for j, thread in enumerate(found):
            index = next((i for i, k in pairs.items() if k == j), None)
            if index is None:
                # Without a diameter it cannot be told which of the photo's threads it is.
                there = {t["designation"] for t in truth["threads"]}
                if thread.verdict.status == "named" and thread.verdict.designation not in there:
                    wrong.append(f"{thread.verdict.designation} for nothing")
                continue
            true = truth["threads"][index]
            verdict = judge(true["designation"], thread)
            tally.count(f"thread {verdict}")
            if verdict == "WRONG":
                wrong.append(f"{thread.verdict.designation} for {true['designation']}")
            for key, value in true_values(true, thread).items():
                quantity = getattr(thread.reading, key)
                if quantity is not None:
                    tally.quantities += 1
                    tally.inside += abs(quantity.value - value) <= 2 * quantity.u
        if wrong:
            raise BrokenError(f"wrong name: {'; '.join(wrong)} ({name}: {', '.join(done)})")
