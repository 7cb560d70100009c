"""Builds the sizes of the taper series: R, Rp and Rc, NPT and NPTF, metric taper.

Limits hold at the gauge plane: the plane's tolerance along the axis, over sixteen, on the diameter.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pitchcam.records import MM_PER_INCH, Gender
from pitchcam.series import iso, whitworth
from pitchcam.series.parallel import commonness
from pitchcam.series.records import Limits, Range, ThreadSize
from pitchcam.series.table import read_table

TAPER = 1 / 16
#: Largest thread depth of NPT over its pitch (ASME B1.20.1).
NPT_DEPTH = 0.8
EXTERNAL: tuple[Gender, ...] = ("external",)
INTERNAL: tuple[Gender, ...] = ("internal",)
BOTH: tuple[Gender, ...] = ("external", "internal")


def _around(value: float, half: float, below: float = 0.0) -> Range:
    return value - half - below, value + half


def r(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield R (taper external), Rp (parallel internal) and Rc (taper internal) of ISO 7-1."""
    for row in read_table("iso7.csv", folder):
        size, d, n = row.text("size"), row.number("major_mm"), row.number("tpi")
        p = MM_PER_INCH / n
        h = whitworth.WHITWORTH_DEPTH * p
        out, inside = row.number("position_external_mm"), row.number("position_internal_mm")
        kinds = (("R", EXTERNAL, TAPER), ("Rp", INTERNAL, 0.0), ("Rc", INTERNAL, TAPER))
        for family, genders, taper in kinds:
            half = (out if family == "R" else inside) * TAPER
            limits = Limits(
                thread_class="ISO 7-1",
                major_mm=_around(d, half),
                pitch_diameter_mm=_around(d - h, half),
                minor_mm=_around(d - 2 * h, half),
            )
            yield ThreadSize(
                designation=f"{family} {size}",
                standard="ISO 7-1",
                family=family,
                size=size,
                basic_major_mm=d,
                pitch_mm=p,
                tpi=n,
                angle_deg=55.0,
                taper=taper,
                basic_pitch_diameter_mm=d - h,
                basic_minor_mm=d - 2 * h,
                genders=genders,
                external=(limits,) if family == "R" else (),
                internal=() if family == "R" else (limits,),
                gauge_length_mm=row.number("gauge_length_mm") if taper else None,
                useful_length_mm=row.number("useful_length_mm") if taper else None,
                position_mm=(out, inside),
                commonness=commonness(row),
                source=row.text("source"),
                checked=row.remark("checked"),
                geometry="",
            )


def npt(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield NPT and its dryseal twin NPTF.

    Pitch diameter at the small end E0 = D - (0.05 D + 1.1) p, at the gauge plane E1 = E0 + L1/16,
    effective length L2 = (0.8 D + 6.8) p (ASME B1.20.1). Gauge tolerance one turn either way. NPTF
    (ASME B1.20.3) differs by the truncation of crests and roots only, which wear undoes.
    """
    for row in read_table("npt.csv", folder):
        size, n, od = row.text("size"), row.number("tpi"), row.number("pipe_od_in")
        p, l1 = MM_PER_INCH / n, row.number("l1_in") * MM_PER_INCH
        d = od * MM_PER_INCH
        pd = d - (0.05 * od + 1.1) * p + l1 * TAPER
        truncation = row.number("truncation_max_in") - row.number("truncation_min_in")
        extra = 2 * truncation * MM_PER_INCH
        top, bottom, half = pd + NPT_DEPTH * p, pd - NPT_DEPTH * p, p * TAPER
        external = Limits(
            thread_class="NPT",
            major_mm=_around(top, half, extra),
            pitch_diameter_mm=_around(pd, half),
            minor_mm=(bottom - half, bottom + half + extra),
        )
        # Internal crests are truncated inside: the bore is up to ``extra`` larger.
        for family in ("NPT", "NPTF"):
            yield ThreadSize(
                designation=f"{size}-{n:g} {family}",
                standard="ASME B1.20.1" if family == "NPT" else "ASME B1.20.3",
                family=family,
                size=size,
                basic_major_mm=top,
                pitch_mm=p,
                tpi=n,
                angle_deg=60.0,
                taper=TAPER,
                basic_pitch_diameter_mm=pd,
                basic_minor_mm=bottom,
                genders=BOTH,
                external=(external,),
                internal=(external,),
                gauge_length_mm=l1,
                useful_length_mm=(0.8 * od + 6.8) * p,
                position_mm=(p, p),
                truncation_mm=extra,
                commonness=commonness(row) if family == "NPT" else "rare",
                source=row.text("source"),
                checked=row.remark("checked"),
                geometry="",
            )


def metric_taper(folder: Path | None = None) -> Iterator[ThreadSize]:
    """Yield the metric taper external threads of DIN 158-1; they screw into parallel metric."""
    for row in read_table("metric_taper.csv", folder):
        d, p = row.number("d_mm"), row.number("pitch_mm")
        a, half = row.number("gauge_length_mm"), row.number("position_diameter_mm")
        pd, bottom = d - iso.PITCH_LINE * p, d - iso.INTERNAL_MINOR * p
        # Roots are rounded as those of parallel ones, and lie below the mate's crests.
        deepest = pd - iso.ROOT_BELOW_PITCH_LINE * p
        yield ThreadSize(
            designation=f"M{d:g}x{p:g} taper",
            standard="DIN 158-1",
            family="M taper",
            size=f"M{d:g}",
            basic_major_mm=d,
            pitch_mm=p,
            angle_deg=60.0,
            taper=TAPER,
            basic_pitch_diameter_mm=pd,
            basic_minor_mm=bottom,
            genders=EXTERNAL,
            external=(
                Limits(
                    thread_class="DIN 158-1",
                    major_mm=_around(d, half),
                    pitch_diameter_mm=_around(pd, half),
                    minor_mm=_around(bottom, half, bottom - deepest),
                ),
            ),
            internal=(),
            gauge_length_mm=a,
            # Useful thread of DIN 3852-1 form C: 8 mm for P = 1, 12 for 1.5, 14 above.
            useful_length_mm=8.0 if p <= 1 else 12.0 if p <= 1.5 else 14.0,
            position_mm=(half / TAPER, half / TAPER),
            commonness=commonness(row),
            source=row.text("source"),
            checked=row.remark("checked"),
            geometry="",
        )
