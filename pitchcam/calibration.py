"""Where the reference catalogue lies, inside the wheel or in a checkout, and its one reader."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from pitchcam.errors import InputError


def calibration_path(*parts: str) -> Path:
    """Return the path of a calibration file, installed or in a checkout.

    Raises
    ------
    FileNotFoundError
        If neither place holds it, which means a broken installation.
    """
    here = Path(__file__).parent
    for root in (here / "_calibration", here.parent / "calibration"):
        path = root.joinpath(*parts)
        if path.exists():
            return path
    raise FileNotFoundError("calibration data missing: " + "/".join(parts))


def read_rows(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield (line number, cells by column) of a table of the catalogue.

    Raises
    ------
    InputError
        If the file cannot be read, or a row has more or fewer cells than the head.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path} cannot be read ({error}).", "Restore the file.") from None
    # Not a DictReader, which takes three times as long: commands read all tables as they start.
    reader = csv.reader(text.splitlines(keepends=True))
    head = next(reader, [])
    for cells in filter(None, reader):
        if len(cells) != len(head):
            raise InputError(
                f"{path.name} line {reader.line_num}: the row does not match the head.",
                f"Give {len(head)} cells; quote a cell that holds a comma.",
            )
        yield reader.line_num, dict(zip(head, cells, strict=True))
