"""The walk of a photo, a part, a pin's edge and a measurement through the modules.

``python -m tests.walk`` measures a sample and prints, for each, how many modules are passed, how
many stays are made and how many of them climb, with the way itself.

A stay is a call from one module into another; the same call from the same function counts once,
however often a loop repeats it. It climbs where the one that calls stands in another stage that is
no later than the called one's: then a reader of the lower stage has to know the higher, or two
stages each other. The order of stages is that of the import contract. What serves everybody
(records, errors, solvers) is no stage, and neither is the pipeline, which hands on.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from types import FrameType
from typing import Any

#: Stage -> its place in the order of the import contract.
STAGES = {
    "photo": 0,
    "light": 1,
    "camera": 1,
    "objects": 2,
    "edges": 3,
    "scale": 4,
    "thread": 4,
    "match": 5,
    "adjust": 6,
    "records": 7,
    "store": 8,
    "batch": 9,
}
_PIN = {"learn_rims", "references", "pin_distance", "leaning"}
#: What is walked -> the functions that begin it, and the stages that count.
WALKS = {
    "a photo, to its names": ({"identify"}, ("photo", "match")),
    "a part, to its threads": ({"one_thread"}, ("photo", "match")),
    "a pin's edge, to the scale": (
        {"learn_rims", "references", "pin_distance", "leaning"},
        ("photo", "thread"),
    ),
    "a measurement, to a label": (set(), ("records", "batch")),
}
_ROOT = Path(__file__).parents[1]


@dataclass
class Walk:
    """Stays in the order in which they are first made: caller, called; module and function."""

    stays: dict[tuple[str, str, str, str], None] = field(default_factory=dict)

    @property
    def modules(self) -> list[str]:
        """The modules in the order in which they are first passed."""
        return list(dict.fromkeys(called for _, _, called, _ in self.stays))

    @property
    def climbs(self) -> list[tuple[str, str]]:
        """The pairs of modules of which one calls another that stands beside or above it."""
        return [(caller, called) for caller, _, called, _ in self.stays if climbs(caller, called)]


def stage_of(module: str) -> str:
    """Return the stage of a module under ``pitchcam``, its first word."""
    return module.split(".")[0]


def climbs(caller: str, called: str) -> bool:
    """Say whether a call leads from a stage to another one beside or above it."""
    one, other = stage_of(caller), stage_of(called)
    return one != other and one in STAGES and STAGES[one] <= STAGES[other]


def _place(frame: FrameType) -> tuple[str, str] | None:
    name = frame.f_globals.get("__name__", "")
    if not name.startswith("pitchcam."):
        return None
    return name.removeprefix("pitchcam."), frame.f_code.co_qualname


def walk(call: Callable[[], Any], begins: set[str], stages: tuple[str, str]) -> Walk:
    """Return the walk that a call makes below the functions that begin it.

    Parameters
    ----------
    call
        What is done.
    begins
        Names of the functions in which the walk begins; none: all of it counts.
    stages
        The first and the last stage that count.
    """
    first, last = (STAGES[s] for s in stages)
    found, stack, inside = Walk(), [("", "")], [not begins]

    def event(frame: FrameType, kind: str, _: Any) -> None:
        place = _place(frame)
        if place is None or place[1].startswith("<"):
            return
        if kind == "return":
            if len(stack) > 1:
                stack.pop()
                inside[0] -= place[1] in begins
            return
        if kind != "call":
            return
        caller = stack[-1]
        stack.append(place)
        inside[0] += place[1] in begins
        stage = STAGES.get(stage_of(place[0]))
        if not inside[0] or stage is None or not first <= stage <= last:
            return
        if caller[0] != place[0]:
            found.stays[*caller, *place] = None

    sys.setprofile(event)
    try:
        call()
    finally:
        sys.setprofile(None)
    return found


def to_label(document: dict[str, Any], folder: Path) -> None:
    """Keep a measurement in a record, read it back, and print its label."""
    from pitchcam.batch.answer import make_answer
    from pitchcam.batch.labels import write_labels
    from pitchcam.batch.runner import Batch
    from pitchcam.batch.settings import Job, Settings
    from pitchcam.records import ScaleSpec
    from pitchcam.store.entries import Outcome
    from pitchcam.store.store import Store

    settings = Settings(scale=ScaleSpec(source="pin", mm=6.0))
    job = Job(path=Path("a.jpg"), name="a.jpg", sha256="ab" * 32, settings=settings)
    with Store(folder / "record.sqlite") as store:
        outcome = Outcome(status="measured", document=document)
        store.add(job.sha256, settings.text, settings.key, outcome, ["a.jpg"])
        write_labels(make_answer(store, Batch(jobs={"a.jpg": job})), folder / "labels.pdf")


def walks() -> Iterator[tuple[str, Walk]]:
    """Yield every walk with its name, over a sample."""
    import pitchcam
    from pitchcam.records import ScaleSpec

    photo = _ROOT / "samples" / "p05-unf12-pin.jpg"
    documents: list[dict[str, Any]] = []

    def identify() -> None:
        documents.append(pitchcam.identify(photo, ScaleSpec(source="pin", mm=6.0)).to_json())

    identify()  # What is loaded or worked out once is no part of a walk.
    for name, (begins, stages) in WALKS.items():
        if name != "a measurement, to a label":
            yield name, walk(identify, begins, stages)
            continue
        with tempfile.TemporaryDirectory() as folder:
            label = partial(to_label, documents[0], Path(folder))
            yield name, walk(label, begins, stages)


def main() -> None:
    for name, found in walks():
        count = f"{len(found.modules)} modules, {len(found.stays)} stays"
        print(f"{name}: {count}, {len(found.climbs)} of them climb")
        print("  " + " ".join(found.modules))


if __name__ == "__main__":
    main()
