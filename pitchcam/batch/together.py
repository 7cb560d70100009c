"""Photos of one part among many: which belong together, and one answer for each part."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Literal

from pitchcam.batch.source import Listed
from pitchcam.errors import InnerFaultError, UnreadableError, UsageError, printable
from pitchcam.files import write_whole
from pitchcam.frozen import dataclass
from pitchcam.records import Measurement, PhotoInfo, ScaleSpec, json_text
from pitchcam.records.formats import document
from pitchcam.report.verdicts import candidates_words
from pitchcam.several import NothingReadError, together
from pitchcam.store.entries import Entry, Outcome, record_id
from pitchcam.store.export import columns, csv_bytes
from pitchcam.store.rows import entry_rows
from pitchcam.store.store import Store

By = Literal["part", "name"]
#: What counts photos of one part in their names: 'sender-2', 'sender (3)', 'sender_b'.
_COUNT = re.compile(r"^(.*?[^-_ (])[-_ ]*(?:\(\d+\)|\d{1,3}|(?<=[-_ ])[a-z])$")


@dataclass(frozen=True, kw_only=True)
class Group:
    """The photos of one part, under the part's label."""

    label: str
    photos: tuple[Listed, ...]


def groups_of(photos: Sequence[Listed], by: By) -> list[Group]:
    """Return the parts of which there is more than one photo, in order of their labels.

    ``part`` takes the list's column of that name, or the folder that a photo lies in; ``name`` what
    is left of a file's name without the number or letter that counts it.
    """
    found: dict[str, list[Listed]] = {}
    for photo in photos:
        label = photo.part_label if by == "part" else _stem(photo.name)
        if label:
            found.setdefault(label, []).append(photo)
    return [
        Group(label=label, photos=tuple(some))
        for label, some in sorted(found.items())
        if len(some) > 1
    ]


def _stem(name: str) -> str:
    folder, _, file = name.rpartition("/")
    stem = Path(file).stem
    counted = _COUNT.match(stem)
    left = stem if counted is None else counted[1]
    return f"{folder}/{left}" if folder else left


def answer_groups(store: Store, groups: Sequence[Group]) -> list[Entry]:
    """Adjust each part's photos from what the record has of them, and keep the answers in it."""
    return [entry for group in groups if (entry := _answer(store, group)) is not None]


def joined(seen: Sequence[tuple[str, Entry, ScaleSpec]]) -> tuple[Outcome, list[Entry]] | None:
    """Return what photos of one part give together, and the photos' records that went into it.

    Parameters
    ----------
    seen
        Each photo's name, its record, and the reference that was stated for it. The same bytes
        count once.

    Returns
    -------
    Outcome and records, or None
        None where there are fewer than two photos.
    """
    found: list[Measurement | UnreadableError] = []
    infos: list[PhotoInfo] = []
    specs: list[ScaleSpec] = []
    used: list[Entry] = []
    for name, entry, spec in seen:
        if entry.sha256 in {e.sha256 for e in used}:
            continue
        measured = entry.outcome.measurement
        info = PhotoInfo(file=name, sha256=entry.sha256, width_px=None, height_px=None)
        if measured is not None and measured.photo is not None:
            info = replace(measured.photo, file=name)
        found.append(_failure(entry.outcome) if measured is None else measured)
        infos.append(info)
        specs.append(spec)
        used.append(entry)
    if len(found) < 2:
        return None
    try:
        document = together(found, infos, specs).to_json()
    except InnerFaultError as error:
        # One part never stops the rest; another version may put it together.
        return Outcome(
            status="failed",
            code=error.code,
            message=error.message,
            advice=error.advice,
            lasting=False,
        ), used
    except (NothingReadError, UsageError) as error:
        code = error.code if isinstance(error, NothingReadError) else "no-reference"
        return Outcome(
            status="refused", code=code, message=error.message, advice=error.advice
        ), used
    return Outcome(status="measured", document=document), used


def _answer(store: Store, group: Group) -> Entry | None:
    """Return one part's answer, None where fewer than two of its photos are in the record."""
    told = joined([(p.name, e, p.settings.scale) for p, e in _entries(store, group)])
    if told is None:
        return None
    outcome, used = told
    text = json_text({"together": sorted((e.sha256, e.settings_key) for e in used)})
    sha = hashlib.sha256("/".join(sorted(e.sha256 for e in used)).encode()).hexdigest()
    settings_key = hashlib.sha256(text.encode()).hexdigest()
    name = f"{group.label} ({len(used)} photos)"
    store.add(sha, text, settings_key, outcome, [name])
    kept = store.entry(record_id(sha, settings_key))
    corrections = {} if kept is None else kept.corrections
    return Entry(
        id=record_id(sha, settings_key),
        sha256=sha,
        settings_key=settings_key,
        outcome=outcome,
        names=(name,),
        corrections=corrections,
    )


def _entries(store: Store, group: Group) -> Iterator[tuple[Listed, Entry]]:
    for photo in group.photos:
        entry = store.entry(record_id(*photo.job().key))
        if entry is not None:
            yield photo, entry


def _failure(outcome: Outcome) -> UnreadableError:
    return UnreadableError(outcome.message, outcome.advice, code=outcome.code)


def write_together(entries: Sequence[Entry], folder: Path) -> list[Path]:
    """Write ``together.csv`` (a row per thread) and ``together.json`` (a measurement per part).

    Raises
    ------
    FullError
        If the disk is full.
    """
    rows = [row.flat() for entry in entries for row in entry_rows(entry)]
    kept = document("measurements", {"measurements": [entry.contract() for entry in entries]})
    files = {
        "together.csv": csv_bytes(rows, columns()),
        "together.json": (json_text(kept, indent=1) + "\n").encode(),
    }
    for file, data in files.items():
        write_whole(folder / file, data)
    return [folder / file for file in files]


def summary(entries: Sequence[Entry]) -> str:
    """Return each part's answer in a line, and which of its photos do not count."""
    out = []
    for entry in entries:
        for row in entry_rows(entry):
            said = row.name or f"{row.status}: {candidates_words(row.candidates) or row.next_step}"
            out.append(printable(f"{entry.name}: {said}"))
        measured = entry.outcome.measurement
        for use in () if measured is None else measured.photos:
            if use.left_out is not None:
                out.append(printable(f"  {use.info.file} does not count: {use.left_out}"))
    return "\n".join(out) if out else "No part has more than one photo that was measured."
