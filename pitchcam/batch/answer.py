"""The answer to a box: what goes into which bin, how many of each, and what is still in doubt."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

from pitchcam.batch.hints import reference_hints
from pitchcam.batch.order import shelf_key
from pitchcam.batch.runner import UNREAD, Batch
from pitchcam.errors import Exit, printable
from pitchcam.files import write_whole
from pitchcam.frozen import dataclass
from pitchcam.records import exit_code
from pitchcam.report.verdicts import candidates_words
from pitchcam.store.entries import Entry, Outcome, record_id
from pitchcam.store.export import columns, csv_bytes, json_bytes
from pitchcam.store.rows import ThreadRow, entry_rows
from pitchcam.store.store import Store

#: A photo that was seen and had not been answered when the batch was stopped.
_STOPPED = Outcome(
    status="failed",
    code="stopped",
    message="it was not measured before the batch was stopped.",
    advice="Run the same command again.",
    lasting=False,
)


@dataclass(frozen=True, kw_only=True)
class Line:
    """One numbered line of the answer; the number is also that on the contact sheet."""

    number: int
    row: ThreadRow


@dataclass(frozen=True, kw_only=True)
class Answer:
    """All lines: the doubtful first, then bin by bin; ``hints`` are what the whole box says."""

    lines: tuple[Line, ...]
    hints: tuple[str, ...] = ()

    @property
    def doubtful(self) -> tuple[Line, ...]:
        """The lines that no bin can be named for."""
        return tuple(line for line in self.lines if not line.row.settled)

    @property
    def bins(self) -> tuple[tuple[str, tuple[Line, ...]], ...]:
        """The bins in shelf order, each with its lines."""
        bins: dict[str, list[Line]] = {}
        for line in self.lines:
            if line.row.settled:
                bins.setdefault(line.row.name, []).append(line)
        return tuple((name, tuple(lines)) for name, lines in bins.items())

    @property
    def exit_code(self) -> int:
        """The largest exit code of the lines that are in doubt, 0 when there is none."""
        return exit_code((line.row.status for line in self.doubtful), none=Exit.NAMED)


def make_answer(store: Store, batch: Batch) -> Answer:
    """Collect the rows of a batch's photos from the record and put them in order.

    Nothing in the answer depends on when or in which order photos were measured.
    """
    rows: list[ThreadRow] = []
    for name in sorted(batch.jobs.keys() | batch.unread.keys()):
        entry = _entry(store, batch, name)
        if entry is not None:
            rows += entry_rows(entry, photo=name)
    settings = {job.settings.key: job.settings for job in batch.jobs.values()}
    hints = reference_hints(rows, settings)
    rows.sort(key=_place)
    lines = tuple(Line(number=i, row=row) for i, row in enumerate(rows, 1))
    return Answer(lines=lines, hints=hints)


def _entry(store: Store, batch: Batch, name: str) -> Entry | None:
    if name in batch.unread:
        outcome = Outcome(status="failed", code=UNREAD, message=batch.unread[name], lasting=False)
        return Entry(
            id="", sha256="", settings_key="", outcome=outcome, names=(name,), corrections={}
        )
    job = batch.jobs[name]
    kept = store.entry(record_id(*job.key))
    passing = batch.passing.get(name)
    if passing is None and kept is None:
        passing = _STOPPED
    if passing is None:
        return kept
    return Entry(
        id=record_id(*job.key),
        sha256=job.sha256,
        settings_key=job.settings.key,
        outcome=passing,
        names=(name,),
        corrections={} if kept is None else kept.corrections,
    )


def _place(row: ThreadRow) -> tuple[Any, ...]:
    bin_key = shelf_key(row.name) if row.settled else ()
    return row.settled, bin_key, row.photo, row.part or 0, row.thread or 0, row.id


def count_rows(answer: Answer) -> list[dict[str, Any]]:
    """Return one row per bin with the number of threads in it; the doubtful by status, last."""
    rows: list[dict[str, Any]] = []
    for name, lines in answer.bins:
        standard = next((x.row.standard for x in lines if x.row.designation == name), "")
        rows.append({"name": name, "standard": standard, "count": len(lines)})
    doubts = Counter(line.row.status for line in answer.doubtful)
    for status, count in sorted(doubts.items()):
        rows.append({"name": f"({status})", "standard": "", "count": count})
    return rows


def write_tables(answer: Answer, folder: Path) -> list[Path]:
    """Write ``box.csv``, ``box.json`` and ``counts.csv`` to a folder; same answer, same bytes.

    Raises
    ------
    FullError
        If the disk is full.
    """
    names = ["number", *columns()]
    flat = [{"number": line.number, **line.row.flat()} for line in answer.lines]
    files = {
        "box.csv": csv_bytes(flat, names),
        "box.json": json_bytes(flat, names),
        "counts.csv": csv_bytes(count_rows(answer), ["name", "standard", "count"]),
    }
    for file, data in files.items():
        write_whole(folder / file, data)
    return [folder / file for file in files]


def summary(answer: Answer) -> str:
    """Return the answer as text: the doubtful first with what to do, then the counts."""
    out: list[str] = list(answer.hints)
    if answer.doubtful:
        out.append(f"In doubt ({len(answer.doubtful)}):")
        out += [_doubt(line) for line in answer.doubtful]
    counts = [(name, len(lines)) for name, lines in answer.bins]
    if counts:
        out.append(f"Named ({sum(n for _, n in counts)}):")
        out += [f"  {n:4d}  {printable(name)}" for name, n in counts]
    return "\n".join(out) if out else "No photos."


def _doubt(line: Line) -> str:
    row = line.row
    part = "" if row.part is None else f", part {row.part}"
    fits = f": {candidates_words(row.candidates)}" if row.candidates else ""
    what = printable(f"{row.photo}{part}  {row.status}{fits}")
    return f"  {line.number:4d}  {what}\n        {printable(row.next_step)}"
