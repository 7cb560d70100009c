"""What each row of the series' tables was checked against: told from the comparisons themselves.

``python -m tests.series.checked`` writes the column ``checked`` of the tables; a test holds it. A
row counts as checked where ``test_outside.py`` compares figures that come from it with data that
others wrote, and the two agree; what rests on memory alone has an empty cell.
"""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from collections.abc import Callable, Mapping
from pathlib import Path

from pitchcam.calibration import calibration_path
from pitchcam.series import find
from tests.series.test_outside import FREECAD_ERRORS, rows

#: Origins as the cells name them; their versions and licences are in ``data/README.md``.
FREECAD, SCREW_LIB = "FreeCAD 0.20.2", "screw-thread-lib 0.0.6"
WAREHOUSE, MECHFORGE = "bd_warehouse 0.4.0", "mechforge 0.1.0"
HANDBOOK = "Machinery's Handbook 27, p. 1861"
#: Sizes of ``test_limits.py: test_npt_follows_the_table``, which has the handbook's figures.
NPT_OF_THE_HANDBOOK = ("1/8", "1/4", "3/8", "1/2", "3/4", "1")


def _by_designation() -> dict[str, str]:
    """Return designation -> who agrees, and on what."""
    classes: dict[str, set[str]] = defaultdict(set)
    for row in rows("limits_freecad.csv"):
        if (row["designation"], row["class"]) not in FREECAD_ERRORS:
            classes[row["designation"]].add(row["class"])
    told: dict[str, list[str]] = defaultdict(list)
    for name, found in classes.items():
        told[name].append(f"{FREECAD} ({', '.join(sorted(found))})")
    for row in rows("limits_screw_thread_lib.csv"):
        told[row["designation"]].append(f"{SCREW_LIB} (limits)")
    for row in rows("root_mechforge.csv"):
        told[row["designation"]].append(f"{MECHFORGE} (root)")
    for row in rows("iso228_bd_warehouse.csv"):
        told[row["designation"]].append(f"{WAREHOUSE} (diameters, tolerances)")
    return {name: "; ".join(who) for name, who in told.items()}


def _metric(row: Mapping[str, str]) -> str:
    # A cell in mm is a name's number as well: 10 and 1.5 are M10x1.5.
    return f"M{row['d_mm']}x{row['pitch_mm']}"


def _unified(row: Mapping[str, str]) -> str:
    return f"{row['size']}-{row['tpi']} {row['series']}"


#: Table -> the designation of one of its rows.
NAMES: dict[str, Callable[[Mapping[str, str]], str]] = {
    "metric.csv": _metric,
    "unified.csv": _unified,
    "iso228.csv": lambda row: f"G {row['size']}",
}


def checked(name: str) -> list[str]:
    """Return the cells of the column ``checked`` of one table, in the order of its rows."""
    table = list(csv.DictReader(_text(name).splitlines()))
    if name == "drills.csv":
        drills = {row["drill"] for row in rows("drill_sizes_bd_warehouse.csv")}
        return [WAREHOUSE if row["drill"] in drills else "" for row in table]
    if name == "npt.csv":
        return [HANDBOOK if row["size"] in NPT_OF_THE_HANDBOOK else "" for row in table]
    if name == "iso7.csv":
        known = {row["designation"].removeprefix("G ") for row in rows("iso228_bd_warehouse.csv")}
        return [f"{WAREHOUSE} (diameters, as G)" if r["size"] in known else "" for r in table]
    if name in UNCHECKED:
        return [""] * len(table)
    told, name_of = _by_designation(), NAMES[name]
    for row in table:
        assert find(name_of(row)).designation == name_of(row)
    return [told.get(name_of(row), "") for row in table]


#: Tables of sizes of which no data of others is at hand.
UNCHECKED = ("ba.csv", "cycle.csv", "metric_taper.csv", "npsm.csv", "pg.csv", "whitworth.csv")
TABLES = (*NAMES, "npt.csv", "iso7.csv", "drills.csv", *UNCHECKED)


def _text(name: str) -> str:
    return calibration_path("series", name).read_text(encoding="utf-8")


def written(name: str) -> str:
    """Return a table's text with its column ``checked`` anew, after its last other column."""
    table = list(csv.DictReader(_text(name).splitlines()))
    out = io.StringIO()
    columns = [c for c in table[0] if c != "checked"] + ["checked"]
    writer = csv.DictWriter(out, columns, lineterminator="\n")
    writer.writeheader()
    for row, cell in zip(table, checked(name), strict=True):
        writer.writerow(row | {"checked": cell})
    return out.getvalue()


def main() -> None:
    """Write the column of every table that has one."""
    for name in TABLES:
        path = Path(calibration_path("series", name))
        path.write_text(written(name), encoding="utf-8")
        print(name, sum(map(bool, checked(name))), "of", len(checked(name)))


if __name__ == "__main__":
    main()
