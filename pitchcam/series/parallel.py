"""Builds the sizes of the parallel series from their tables."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import cast

from pitchcam.records import MM_PER_INCH, Gender
from pitchcam.series import iso, unified, whitworth
from pitchcam.series.records import Commonness, Limits, OnDemand, ThreadSize
from pitchcam.series.table import Row, read_table, size_inches

BOTH: tuple[Gender, ...] = ("external", "internal")
COMMONNESS = ("common", "usual", "rare")
#: 80 degree conduit thread of DIN 40430: H = P / (2 tan 40), depth 0.8 H (from memory).
PG_DEPTH = 0.4 / math.tan(math.radians(40))
WHITWORTH_STANDARD = {
    "BSW": "BS 84",
    "BSF": "BS 84",
    "BS Brass": "26 TPI brass",
    "BS Conduit": "BS 31",
}


def commonness(row: Row) -> Commonness:
    """Return how often the size is met on engines and fittings: a judgement, kept in the table."""
    return cast(Commonness, row.choice("commonness", COMMONNESS))


def metric(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield ISO metric sizes; a class that ISO 965-1 does not define for a pitch is left out."""
    for row in read_table("metric.csv", folder):
        d, p = row.number("d_mm"), row.number("pitch_mm")
        row.choice("series", ("coarse", "fine"))
        yield ThreadSize(
            designation=f"M{d:g}x{p:g}",
            standard="ISO 261",
            family="M",
            size=f"M{d:g}",
            basic_major_mm=d,
            pitch_mm=p,
            angle_deg=60.0,
            taper=0.0,
            basic_pitch_diameter_mm=d - iso.PITCH_LINE * p,
            basic_minor_mm=d - iso.INTERNAL_MINOR * p,
            genders=BOTH,
            external=OnDemand(partial(iso.external, d, p, folder)),
            internal=OnDemand(partial(iso.internal, d, p, folder)),
            commonness=commonness(row),
            source=row.text("source"),
            checked=row.remark("checked"),
            geometry="",
        )


def unified_sizes(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield UNC, UNF, UNEF, UN and UNS sizes."""
    for row in read_table("unified.csv", folder):
        series = row.choice("series", ("UNC", "UNF", "UNEF", "UN", "UNS"))
        d, n, size = row.number("major_in"), row.number("tpi"), row.text("size")
        p = MM_PER_INCH / n
        yield ThreadSize(
            designation=f"{size}-{n:g} {series}",
            standard="ASME B1.1",
            family=series,
            size=size,
            basic_major_mm=d * MM_PER_INCH,
            pitch_mm=p,
            tpi=n,
            angle_deg=60.0,
            taper=0.0,
            basic_pitch_diameter_mm=d * MM_PER_INCH - iso.PITCH_LINE * p,
            basic_minor_mm=d * MM_PER_INCH - iso.INTERNAL_MINOR * p,
            genders=BOTH,
            external=OnDemand(partial(unified.external, d, n, series)),
            internal=OnDemand(partial(unified.internal, d, n, series)),
            commonness=commonness(row),
            source=row.text("source"),
            checked=row.remark("checked"),
            geometry="",
        )


def whitworth_sizes(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield BSW, BSF, 26 TPI brass and conduit sizes.

    Brass and conduit threads have no tolerances at hand: those of BS 84 stand in.
    """
    for row in read_table("whitworth.csv", folder):
        series = row.choice("series", tuple(WHITWORTH_STANDARD))
        if abs(size_inches(row.text("size")) - row.number("major_in")) > 1e-4:
            raise row.error("major_in", "does not match the size", "correct one of them")
        yield _whitworth_size(row, series, WHITWORTH_STANDARD[series], 55.0)


def _whitworth_size(row: Row, family: str, standard: str, angle_deg: float) -> ThreadSize:
    """Return a size with rounded crests by the threads per inch, with the limits of BS 84."""
    size, d, n = row.text("size"), row.number("major_in"), row.number("tpi")
    depth = whitworth.WHITWORTH_DEPTH if angle_deg == 55.0 else whitworth.CYCLE_DEPTH
    p = MM_PER_INCH / n
    return ThreadSize(
        designation=f"{size}-{n:g} {family}",
        standard=standard,
        family=family,
        size=size,
        basic_major_mm=d * MM_PER_INCH,
        pitch_mm=p,
        tpi=n,
        angle_deg=angle_deg,
        taper=0.0,
        basic_pitch_diameter_mm=d * MM_PER_INCH - depth * p,
        basic_minor_mm=d * MM_PER_INCH - 2 * depth * p,
        genders=BOTH,
        external=OnDemand(partial(whitworth.external, d, n, depth)),
        internal=OnDemand(partial(whitworth.internal, d, n, depth)),
        commonness=commonness(row),
        source=row.text("source"),
        checked=row.remark("checked"),
        geometry="",
    )


def cycle(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield the British cycle threads of BS 811, once of the CEI: 60 degrees, rounded.

    Their tolerances are not at hand: those of BS 84 stand in.
    """
    for row in read_table("cycle.csv", folder):
        yield _whitworth_size(row, "BSC", "BS 811", 60.0)


def ba(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield BA sizes; number 0 is a size, so the column is read as text."""
    for row in read_table("ba.csv", folder):
        number, d, p = row.text("number"), row.number("d_mm"), row.number("pitch_mm")
        yield ThreadSize(
            designation=f"{number} BA",
            standard="BS 93",
            family="BA",
            size=number,
            basic_major_mm=d,
            pitch_mm=p,
            angle_deg=47.5,
            taper=0.0,
            basic_pitch_diameter_mm=d - whitworth.BA_DEPTH * p,
            basic_minor_mm=d - 2 * whitworth.BA_DEPTH * p,
            genders=BOTH,
            external=tuple(
                whitworth.ba_external(d, p, int(number), c) for c in ("normal", "close")
            ),
            internal=(whitworth.ba_internal(d, p),),
            commonness=commonness(row),
            source=row.text("source"),
            checked=row.remark("checked"),
            geometry="",
        )


def g(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield ISO 228-1 sizes with classes A and B."""
    for row in read_table("iso228.csv", folder):
        size, d, n = row.text("size"), row.number("major_mm"), row.number("tpi")
        p = MM_PER_INCH / n
        depth, td = whitworth.WHITWORTH_DEPTH * p, row.number("td_um")
        a, b = row.number("td2_a_um"), row.number("td2_b_um")
        yield ThreadSize(
            designation=f"G {size}",
            standard="ISO 228-1",
            family="G",
            size=size,
            basic_major_mm=d,
            pitch_mm=p,
            tpi=n,
            angle_deg=55.0,
            taper=0.0,
            basic_pitch_diameter_mm=d - depth,
            basic_minor_mm=d - 2 * depth,
            genders=BOTH,
            external=(
                whitworth.g_external(d, p, a, td, "A"),
                whitworth.g_external(d, p, b, td, "B"),
            ),
            internal=(whitworth.g_internal(d, p, a, row.number("tD1_um")),),
            commonness=commonness(row),
            source=row.text("source"),
            checked=row.remark("checked"),
            geometry="",
        )


def npsm(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield NPSM sizes: straight pipe threads for free mechanical joints, limits tabulated."""
    for row in read_table("npsm.csv", folder):
        size, n = row.text("size"), row.number("tpi")
        p = MM_PER_INCH / n

        def mm(column: str, row: Row = row) -> float:
            return row.number(column) * MM_PER_INCH

        pd = mm("basic_pitch_in")
        low = mm("pitch_min_in")
        top = pd + iso.PITCH_LINE * p
        dedendum = (iso.INTERNAL_MINOR - iso.PITCH_LINE) * p
        yield ThreadSize(
            designation=f"{size}-{n:g} NPSM",
            standard="ASME B1.20.1",
            family="NPSM",
            size=size,
            basic_major_mm=top,
            pitch_mm=p,
            tpi=n,
            angle_deg=60.0,
            taper=0.0,
            basic_pitch_diameter_mm=pd,
            basic_minor_mm=top - iso.INTERNAL_MINOR * p,
            genders=BOTH,
            external=(
                Limits(
                    thread_class="2A",
                    major_mm=(mm("major_min_in"), mm("major_max_in")),
                    pitch_diameter_mm=(low, mm("pitch_max_in")),
                    minor_mm=(low - iso.PITCH_LINE * p, mm("pitch_max_in") - dedendum),
                ),
            ),
            internal=(
                Limits(
                    thread_class="2B",
                    major_mm=(top, top + mm("internal_pitch_max_in") - pd + 0.036 * p),
                    pitch_diameter_mm=(pd, mm("internal_pitch_max_in")),
                    minor_mm=(mm("bore_min_in"), mm("bore_max_in")),
                ),
            ),
            commonness=commonness(row),
            source=row.text("source"),
            checked=row.remark("checked"),
            geometry="",
        )


def pg(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield steel conduit sizes of DIN 40430."""
    for row in read_table("pg.csv", folder):
        size, d, n = row.text("size"), row.number("d_mm"), row.number("tpi")
        p = MM_PER_INCH / n
        tolerance, depth = row.number("major_tolerance_mm"), PG_DEPTH * p
        if abs(d - 2 * depth - row.number("core_mm")) > 0.05:
            raise row.error("core_mm", "does not follow from the profile", "correct the row")
        yield ThreadSize(
            designation=f"Pg {size}",
            standard="DIN 40430",
            family="Pg",
            size=size,
            basic_major_mm=d,
            pitch_mm=p,
            tpi=n,
            angle_deg=80.0,
            taper=0.0,
            basic_pitch_diameter_mm=d - depth,
            basic_minor_mm=d - 2 * depth,
            genders=BOTH,
            external=(
                Limits(
                    thread_class="DIN 40430",
                    major_mm=(d - tolerance, d),
                    pitch_diameter_mm=(d - depth - tolerance, d - depth),
                    minor_mm=(d - 2 * depth - tolerance, d - 2 * depth),
                ),
            ),
            internal=(
                Limits(
                    thread_class="DIN 40430",
                    major_mm=(d, d + tolerance),
                    pitch_diameter_mm=(d - depth, d - depth + tolerance),
                    minor_mm=(d - 2 * depth, d - 2 * depth + tolerance),
                ),
            ),
            commonness=commonness(row),
            source=row.text("source"),
            checked=row.remark("checked"),
            geometry="",
        )
