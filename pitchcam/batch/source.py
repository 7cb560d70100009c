"""Which photos to measure: from folders, files, or a list that states the scale photo by photo."""

from __future__ import annotations

import csv
import hashlib
import os
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import get_args

from pitchcam.batch.settings import Job, Settings
from pitchcam.errors import InputError, UsageError
from pitchcam.files import MOST_BYTES, open_regular, read_whole
from pitchcam.frozen import dataclass
from pitchcam.records import ScaleSource

#: Endings that phones, scanners and cameras write; anything else in a folder is left alone.
ENDINGS = frozenset(
    {".jpg", ".jpeg", ".jpe", ".png", ".tif", ".tiff", ".heic", ".heif", ".hif", ".mpo"}
)

#: More photos than a shop takes in years; more is another file named by mistake.
MOST_LIST_BYTES, MOST_LIST_LINES = 20_000_000, 200_000
#: No name of a file, with its folders, is longer on the systems in use (PATH_MAX on Linux: 4096).
MOST_CELL = 4096

_LIST_COLUMNS = ("file", "source", "mm", "height_mm", "axis_height_mm", "part", "camera")


@dataclass(frozen=True, kw_only=True)
class Listed:
    """A photo to measure, not yet opened."""

    path: Path
    name: str
    settings: Settings
    part_label: str = ""
    camera_label: str = ""

    def job(self) -> Job:
        """Return the job, with the hash of the file's bytes.

        Raises
        ------
        InputError
            If the file cannot be read.
        """
        try:
            digest = self._digest()
        except InputError as error:  # by the name that the tables show, whatever the folder
            raise InputError(
                error.message.replace(str(self.path), self.name), error.advice
            ) from error
        return Job(
            path=self.path,
            name=self.name,
            sha256=digest,
            settings=self.settings,
            part_label=self.part_label,
            camera_label=self.camera_label,
        )

    def _digest(self) -> str:
        advice = "take it out of the list or folder"
        with open_regular(self.path, advice=advice) as handle:
            try:
                size = os.fstat(handle.fileno()).st_size
                if size > MOST_BYTES:
                    raise InputError(
                        f"{self.path} has {size / 1e6:.0f} MB, more than any photo;", advice
                    )
                return hashlib.file_digest(handle, "sha256").hexdigest()
            except OSError as error:
                why = f"{self.path} cannot be read ({error.strerror});"
                raise InputError(why, advice) from error


def list_photos(places: Iterable[Path], settings: Settings) -> list[Listed]:
    """Return the photos of files and folders (with their subfolders), sorted by name.

    The name of a photo in a folder is its path from there, with ``/`` on every system. The first
    two folders above a photo label part and camera for a repeatability study.

    Raises
    ------
    InputError
        If a place does not exist.
    UsageError
        If two photos of different places would carry the same name.
    """
    found: dict[str, Listed] = {}
    for place in places:
        for path, name in _photos_at(place):
            folders = name.split("/")[:-1] + ["", ""]
            photo = Listed(
                path=path,
                name=name,
                settings=settings,
                part_label=folders[0],
                camera_label=folders[1],
            )
            other = found.setdefault(name, photo)
            if other.path.resolve() != path.resolve():
                raise UsageError(
                    f"{other.path} and {path} carry the same name in the tables.",
                    "Name the folder above both.",
                )
    return [found[name] for name in sorted(found)]


def _photos_at(place: Path) -> Iterator[tuple[Path, str]]:
    if place.is_file():
        yield place, _written(Path(place.name))
        return
    if not place.is_dir():
        what = "is neither a photo nor a folder." if place.exists() else "does not exist."
        raise InputError(f"{place} {what}", "Check its name.")
    for folder, subfolders, files in os.walk(place):
        subfolders[:] = sorted(f for f in subfolders if not f.startswith("."))
        for file in sorted(files):
            path = Path(folder, file)
            if is_photo_name(file):
                yield path, _written(path.relative_to(place))


def _written(path: Path) -> str:
    """Return a path as text; bytes of a name that are no text are written as their codes."""
    return os.fsencode(path.as_posix()).decode("utf-8", "backslashreplace")


def is_photo_name(file: str) -> bool:
    """Say whether a file's name is a photo's; hidden files are uploads under way."""
    return not file.startswith(".") and Path(file).suffix.lower() in ENDINGS


def read_list(path: Path, settings: Settings) -> list[Listed]:
    """Return the photos that a CSV file lists, with what it states for each.

    Columns: ``file`` (from the list's folder); and as wanted ``source`` (pin, disc, card, jaws,
    major, sheet, none) with ``mm``, ``height_mm``, ``axis_height_mm``, ``part``, ``camera``. What
    a line leaves empty is taken from ``settings``.

    Raises
    ------
    InputError
        If the list cannot be read, or a line of it cannot be used; the line is named.
    """
    data = read_whole(path, MOST_LIST_BYTES, advice="name the list's CSV file")
    try:
        lines = data.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        raise InputError(f"the list {path} cannot be read.", "Save it as CSV in UTF-8.") from error
    if len(lines) > MOST_LIST_LINES:
        raise InputError(
            f"the list {path} has {len(lines)} lines, more than {MOST_LIST_LINES}.", "Divide it."
        )
    reader = csv.DictReader(lines)
    listed = []
    try:
        _check_columns(path, reader.fieldnames or ())
        for row in reader:
            listed.append(_list_line(path, reader.line_num, row, settings))
    except csv.Error as error:  # a cell beyond the module's own bound, or a NUL byte
        raise InputError(f"{path}, line {reader.line_num + 1}: {error}.", "Mend it.") from error
    for name, times in Counter(photo.name for photo in listed).items():
        if times > 1:
            raise InputError(f"{path}: {name} is listed twice.", "Take one line out.")
    return sorted(listed, key=lambda photo: photo.name)


def _check_columns(path: Path, columns: Sequence[str]) -> None:
    twice = sorted({c for c in columns if columns.count(c) > 1})
    if twice:
        raise InputError(f"{path} has the column '{twice[0]}' twice.", "Keep the one that holds.")
    unknown = [c for c in columns if c not in _LIST_COLUMNS]
    if "file" not in columns or unknown:
        wrong = f"does not know the column {unknown[0]}" if unknown else "has no column 'file'"
        raise InputError(f"{path} {wrong}.", f"Columns: {', '.join(_LIST_COLUMNS)}.")


def _list_line(path: Path, number: int, row: dict[str, str | None], base: Settings) -> Listed:
    cells = {name: (row.get(name) or "").strip() for name in _LIST_COLUMNS}
    where = f"{path}, line {number}"
    longest = max(cells.values(), key=len)
    if len(longest) > MOST_CELL:
        raise InputError(f"{where}: a cell has {len(longest)} characters.", "Mend the line.")
    if not cells["file"] or None in row:
        raise InputError(f"{where}: no file, or too many cells.", "Mend the line.")
    if cells["source"] and cells["source"] not in get_args(ScaleSource):
        raise InputError(
            f"{where}: no scale is called {cells['source']}.", "See the columns' help."
        )
    stated = {key: _number(where, key, cells[key]) for key in ("mm", "height_mm", "axis_height_mm")}
    changes: dict[str, object] = {key: v for key, v in stated.items() if v is not None}
    if cells["source"]:
        changes |= {"source": cells["source"], "mm": stated["mm"]}
    file = Path(cells["file"])
    return Listed(
        path=path.parent / file,
        name=file.as_posix(),
        settings=replace(base, scale=replace(base.scale, **changes)),  # type: ignore[arg-type]
        part_label=cells["part"],
        camera_label=cells["camera"],
    )


def _number(where: str, name: str, text: str) -> float | None:
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 0 < value < 1000:
        raise InputError(
            f"{where}: {name} is {text!r}.", "It must be a length in mm, like 8 or 23.25."
        )
    return value
