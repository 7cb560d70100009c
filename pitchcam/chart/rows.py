"""What stands in the tapping chart: rows of sizes, and the pairs that are taken for each other."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from pitchcam.errors import UsageError
from pitchcam.frozen import dataclass
from pitchcam.match.confusable import Confusable, confused_pairs
from pitchcam.series import ThreadSize, load_series
from pitchcam.series.drills import INCH, METRIC, TapDrill, tapping_drill
from pitchcam.series.families import load_families

#: The families of the chart if none are chosen: what an engine and its fittings carry, Whitworth
#: and BA for those that are old enough.
BENCH_FAMILIES = ("M", "UNC", "UNF", "UN", "BSW", "BSF", "BA", "G", "R", "NPT")
#: Which sizes: the bench's, all that are met on engines and fittings, or every one.
SIZES = ("bench", "usual", "all")
#: A family none of whose sizes is common has its usual ones on the bench, up to 3/4 in: larger
#: bolts of old engines are turned, not tapped (common practice, no source).
_BENCH_MM = 0.75 * 25.4 + 0.01
#: Internal partners stand in the row of their external thread: R is tapped as Rc.
TAPPED_AS = {"R": "Rc", "M taper": "M"}
#: Columns of the CSV; lengths in mm.
HEAD = (
    "designation",
    "standard",
    "pitch_mm",
    "tpi",
    "angle_deg",
    "taper",
    "major_mm",
    "minor_mm",
    "metric_drill",
    "metric_drill_mm",
    "metric_engagement_percent",
    "metric_in_limits",
    "inch_drill",
    "inch_drill_mm",
    "inch_engagement_percent",
    "inch_in_limits",
    "source",
)


@dataclass(frozen=True, kw_only=True, slots=True)
class ChartRow:
    """One size with its drills; a drill is None where the rack or the table has none."""

    size: ThreadSize
    bore_mm: float
    metric: TapDrill | None
    inch: TapDrill | None


def chart_rows(families: Sequence[str] = BENCH_FAMILIES, *, sizes: str = "bench") -> list[ChartRow]:
    """Return the rows of some families, in the order given.

    Parameters
    ----------
    families : sequence of str
        Short names as in :func:`pitchcam.series.families.load_families`.
    sizes : {"bench", "usual", "all"}
        The bench's selection, all met on engines and fittings, or also those seldom met.

    Raises
    ------
    UsageError
        If a family or selection does not exist, or no size is left.
    """
    if sizes not in SIZES:
        raise UsageError(f"there is no selection '{sizes}'.", f"Use {', '.join(SIZES)}.")
    known = {name.upper(): name for name in load_families()}
    rows: list[ChartRow] = []
    for family in families:
        if family.upper() not in known:
            raise UsageError(
                f"there is no family '{family}'.", "Families: " + ", ".join(known.values())
            )
        name = known[family.upper()]
        rows += [_row(s) for s in _selected([s for s in load_series() if s.family == name], sizes)]
    if not rows:
        raise UsageError("no size of these families is met often.", "Add --sizes all.")
    return rows


def _selected(family: list[ThreadSize], sizes: str) -> list[ThreadSize]:
    if sizes == "all":
        return family
    common = [s for s in family if s.commonness == "common"]
    usual = [s for s in family if s.commonness != "rare"]
    if sizes == "usual":
        return usual
    return common or [s for s in usual if s.basic_major_mm <= _BENCH_MM]


def _row(size: ThreadSize) -> ChartRow:
    tapped = _tapped(size)
    return ChartRow(
        size=size,
        bore_mm=size.basic_minor_mm,
        metric=_drill(tapped, METRIC),
        inch=_drill(tapped, INCH),
    )


def _tapped(size: ThreadSize) -> ThreadSize:
    family = TAPPED_AS.get(size.family)
    if family is None:
        return size
    partner = (
        s
        for s in load_series()
        if s.family == family and s.size == size.size and abs(s.pitch_mm - size.pitch_mm) < 1e-9
    )
    return next(partner, size)


def _drill(size: ThreadSize, kinds: tuple[str, ...]) -> TapDrill | None:
    try:
        return tapping_drill(size, kinds)  # type: ignore[arg-type]
    except UsageError:
        return None


def chart_pairs(rows: Sequence[ChartRow]) -> tuple[Confusable, ...]:
    """Return the pairs among the chart's external threads that are easily confused."""
    return confused_pairs(r.size for r in rows if "external" in r.size.genders)


def drill_text(drill: TapDrill | None) -> str:
    """Return a drill's mark with the engagement it leaves, '-' where there is none."""
    if drill is None:
        return "-"
    if drill.engagement is None:
        return drill.drill.name
    mark = "" if drill.in_limits else " *"
    return f"{drill.drill.name}  {100 * drill.engagement:.0f} %{mark}"


def to_csv(rows: Sequence[ChartRow]) -> str:
    """Return the rows as CSV, one size a line, lengths in mm."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEAD)
    for r in rows:
        s = r.size
        writer.writerow(
            [
                s.designation,
                s.standard,
                f"{s.pitch_mm:.4f}",
                f"{s.tpi_value:.4g}",
                f"{s.angle_deg:g}",
                f"{s.taper:g}",
                f"{s.basic_major_mm:.3f}",
                f"{r.bore_mm:.3f}",
                *_drill_cells(r.metric),
                *_drill_cells(r.inch),
                s.source,
            ]
        )
    return out.getvalue()


def _drill_cells(drill: TapDrill | None) -> list[str]:
    if drill is None:
        return ["", "", "", ""]
    share = "" if drill.engagement is None else f"{100 * drill.engagement:.0f}"
    return [
        drill.drill.name,
        f"{drill.drill.diameter_mm:.3f}",
        share,
        "yes" if drill.in_limits else "no",
    ]
