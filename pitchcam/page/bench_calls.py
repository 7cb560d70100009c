"""The public calls behind the pages of the bench: stock, and the marker sheet.

As in `calls`, each is what the command of the same name does.
"""

from __future__ import annotations

import tempfile
from datetime import datetime
from pathlib import Path
from typing import Any

from pitchcam.errors import PitchcamError, UsageError
from pitchcam.page.calls import written
from pitchcam.page.typed import Typed, number


def stock(record: Path) -> list[dict[str, Any]]:
    """Return the rows of stock, as ``stock list`` tells them."""
    from pitchcam.joining.stock.store import StockStore

    with StockStore(record) as store:
        rows = store.rows()
    return [
        {
            "id": r.id,
            "text": r.text,
            "name": r.name,
            "bore_mm": r.bore_mm,
            "count": r.count,
            "length_mm": r.length_mm,
            "material": r.material,
            "pressure_bar": r.pressure_bar,
            "ends": [None if e is None else e.text for e in (r.end_a, r.end_b)],
        }
        for r in rows
    ]


def stock_file(record: Path) -> bytes:
    """Return the stock as the sheet that it is read from."""
    from pitchcam.joining.stock.store import StockStore, stock_csv

    with StockStore(record) as store:
        return stock_csv(store.rows()).encode()


def take_stock(record: Path, sheet: bytes, who: str, now: datetime) -> str:
    """Take a stock sheet into the record, whole or not at all; say what changed.

    Raises
    ------
    PitchcamError
        Naming the faults of the sheet by line and column, of which the first ten.
    """
    from pitchcam.joining.stock.sheet import StockError, read_stock
    from pitchcam.joining.stock.store import StockStore

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "stock.csv"
        path.write_bytes(sheet)
        try:
            rows = read_stock(path)
        except StockError as error:
            lines = "; ".join(line.rstrip(".") for line in error.lines[:10])
            raise PitchcamError(f"the sheet has faults: {lines}.", error.advice) from None
    with StockStore(record) as store:
        changed = store.take_in(rows, who=who, now=now)
        total = len(store.rows())
    return f"{len(rows)} rows read, {changed} new or changed; stock has {total} rows"


def move_stock(record: Path, typed: Typed, now: datetime) -> str:
    """Take pieces out of stock or put them back; the move is kept."""
    from pitchcam.joining.stock.store import StockStore

    pieces = number(typed.get("pieces"), "number of pieces")
    who, identity = (typed.get("who") or "").strip(), (typed.get("id") or "").strip()
    if pieces is None or pieces != int(pieces) or not 1 <= pieces <= 9999 or not who:
        raise UsageError("a move needs 1 to 9999 pieces, and who moves them.", "Fill in both.")
    change = -int(pieces) if typed.get("back") else int(pieces)
    with StockStore(record) as store:
        left = store.take_out(identity, change, who=who, why=typed.get("why") or "", now=now)
    return f"{identity}: {left} left"


def marker_sheet(name: str, page: str) -> bytes:
    """Return the marker sheet's PDF as ``sheet`` writes it."""
    from pitchcam.sheet import sheet, write_sheet

    if name not in ("part", "box") or page not in ("a4", "letter"):
        raise UsageError("there is no such sheet;", "choose part or box, on a4 or letter")
    return written(lambda path: write_sheet(sheet(name), path, page), "marker-sheet.pdf")


def marker_cells(name: str = "part") -> dict[str, Any]:
    """Return what a screen shows of the marker sheet, in mm from the window's middle."""
    from pitchcam.sheet.draw import bits
    from pitchcam.sheet.layout import BAR_MM, CELLS, sheet

    plan = sheet(name)
    cells = []
    for marker in plan.markers:
        side = marker.side_mm / CELLS
        left, top = marker.x_mm - marker.side_mm / 2, marker.y_mm - marker.side_mm / 2
        for row, line in enumerate(bits(marker.id)):
            for x, width in _runs(line):
                cells.append(
                    (
                        round(left + x * side, 4),
                        round(top + row * side, 4),
                        round(width * side, 4),
                        side,
                    )
                )
    return {"cells": cells, "outer": plan.outer_mm, "window": plan.window_mm, "bar": BAR_MM}


def _runs(line: Any) -> list[tuple[int, int]]:
    """Return (start, length) of each run of black cells."""
    runs, start = [], None
    for i, black in enumerate([*line, False]):
        if black and start is None:
            start = i
        elif not black and start is not None:
            runs.append((start, i - start))
            start = None
    return runs
