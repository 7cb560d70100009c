"""Boxes: the lists of photos that were sent together, and the sheets made of them."""

from __future__ import annotations

import json
import re
import secrets
import tempfile
from pathlib import Path
from typing import Any

from pitchcam.batch.answer import Answer, count_rows, make_answer
from pitchcam.batch.runner import Batch
from pitchcam.batch.settings import Job, Settings
from pitchcam.files import write_whole
from pitchcam.frozen import dataclass
from pitchcam.page import typed as forms
from pitchcam.page.setup import Setup
from pitchcam.records import json_text
from pitchcam.records.formats import document
from pitchcam.store.store import Store

_ID = re.compile(r"[A-Za-z0-9_-]{16}\Z")
#: Photos in one box; more are a job for ``pitchcam batch``.
MOST = 500


@dataclass(frozen=True, kw_only=True)
class Box:
    """A box: the form's fields it is measured with, and its photos as (name, digest)."""

    id: str
    typed: dict[str, str]
    photos: tuple[tuple[str, str], ...] = ()

    @property
    def settings(self) -> Settings:
        """What its photos are measured with."""
        made: Settings = forms.settings(self.typed)
        return made


def new(setup: Setup, typed: dict[str, str]) -> Box:
    """Make an empty box, measured with what a form states."""
    forms.settings(typed)
    box = Box(id=secrets.token_urlsafe(12), typed=typed)
    _write(setup, box)
    return box


def load(setup: Setup, box_id: str) -> Box | None:
    """Return a box, None where there is none of that id."""
    if not _ID.match(box_id):
        return None
    try:
        kept = json.loads((setup.boxes / f"{box_id}.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    photos = tuple((str(name), str(digest)) for name, digest in kept["photos"])
    return Box(id=box_id, typed=kept["typed"], photos=photos)


def add(setup: Setup, box_id: str, name: str, sha256: str) -> Box | None:
    """Put a photo into a box; the same photo twice is one."""
    box = load(setup, box_id)
    if box is None or len(box.photos) >= MOST:
        return None
    if sha256 not in {digest for _, digest in box.photos}:
        taken = {n for n, _ in box.photos}
        fresh = name
        for number in range(2, MOST + 2):  # photos of one name are told apart
            if fresh not in taken:
                break
            fresh = f"{name} ({number})"
        box = Box(id=box.id, typed=box.typed, photos=(*box.photos, (fresh, sha256)))
        _write(setup, box)
    return box


def answer(setup: Setup, store: Store, box: Box) -> Answer:
    """Return the box's answer as ``batch`` makes it: the doubtful first, then bin by bin."""
    settings = box.settings
    jobs = {
        name: Job(path=Path(name), name=name, sha256=digest, settings=settings)
        for name, digest in box.photos
        if store.has(digest, settings.key)
    }
    return make_answer(store, Batch(jobs=jobs))


def counts(made: Answer) -> list[dict[str, Any]]:
    """Return the number of threads in each bin."""
    return count_rows(made)


def sheet(setup: Setup, store: Store, box: Box, kind: str) -> bytes:
    """Return the contact sheet or the bin labels as PDF, as ``batch`` writes them."""
    from pitchcam.batch.contact import write_contact_sheet
    from pitchcam.batch.labels import write_labels

    made = answer(setup, store, box)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.pdf"
        if kind == "labels":
            write_labels(made, path)
        else:
            write_contact_sheet(made, store, path)
        return path.read_bytes()


def _write(setup: Setup, box: Box) -> None:
    kept = document("box", {"typed": box.typed, "photos": [list(p) for p in box.photos]})
    write_whole(setup.boxes / f"{box.id}.json", json_text(kept).encode())
