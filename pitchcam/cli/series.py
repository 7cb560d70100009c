"""``pitchcam series``: list the standard series, or show one designation in full."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import click

from pitchcam.cli._options import LENGTH, output_path
from pitchcam.errors import UsageError
from pitchcam.records import json_text
from pitchcam.records.formats import format_of

if TYPE_CHECKING:
    from pitchcam.series import ThreadSize


class _DashSizes(click.Command):
    """Takes ``-6 JIC`` for the name that it is, not for options."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Parse the arguments; a dash before a figure starts a dash size."""
        return super().parse_args(ctx, [f" {a}" if re.match(r"-\d", a) else a for a in args])


@click.command(cls=_DashSizes)
@click.argument("designation", nargs=-1)
@click.option(
    "--family",
    "-f",
    multiple=True,
    metavar="NAME",
    help="Only these families: M, UNF, G, NPT ... (repeat for several).",
)
@click.option(
    "--diameter", "-d", type=LENGTH, metavar="MM|IN", help="Only sizes whose crests may measure so."
)
@click.option("--gauge", "-g", metavar="LEAF", help="Only this pitch: 1.5mm, 18tpi.")
@click.option("--use", metavar="WORD", help="Only sizes used for this: drain, spark, flare ...")
@click.option("--common", is_flag=True, help="Only what is met on engines and fittings.")
@click.option("--drawing", metavar="PATH", help="Write one designation's profile (.svg).")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def command(
    designation: tuple[str, ...],
    family: tuple[str, ...],
    diameter: float | None,
    gauge: str | None,
    use: str | None,
    common: bool,
    drawing: str | None,
    as_json: bool,
) -> None:
    """List the standard series, or show one DESIGNATION in full.

    A designation may be typed as usual: M14x1.5, 1/4 NPT, G1/4", 3/8 whit, M10 keg, JIC 6.

    Example: pitchcam series "1/4 NPT"
    """
    from pitchcam.series import find

    target = output_path(drawing, "--drawing", (".svg",))
    if designation:
        size = find(" ".join(designation))
        if target is not None:
            from pitchcam.chart.svg import write_profile

            write_profile(size, target)
        click.echo(json_text(document(size), indent=1) if as_json else _full(size))
        return
    if target is not None:
        raise UsageError("--drawing draws one designation.", "Name it: pitchcam series M14x1.5")
    sizes = filtered(family, diameter, gauge, use, common)
    if as_json:
        listed = [_brief(s) for s in sizes]
        click.echo(json_text({"format": format_of("series"), "sizes": listed}, indent=1))
    else:
        click.echo(_listing(sizes))


def filtered(
    family: tuple[str, ...],
    diameter: float | None,
    gauge: str | None,
    use: str | None,
    common: bool,
) -> list[ThreadSize]:
    """Return the sizes that pass the filters.

    Raises
    ------
    UsageError
        If a family does not exist, or no size is left.
    """
    from pitchcam.match.advice import real_range
    from pitchcam.series import load_series, load_uses
    from pitchcam.series.families import load_families
    from pitchcam.series.gauges import SAME_LEAF, parse_leaf

    sizes = list(load_series())
    known = {name.upper(): name for name in load_families()}
    for name in family:
        if name.upper() not in known:
            raise UsageError(
                f"there is no family '{name}'.", "Families: " + ", ".join(known.values())
            )
    if family:
        chosen = {known[name.upper()] for name in family}
        sizes = [s for s in sizes if s.family in chosen]
    if gauge is not None:
        pitch = parse_leaf(gauge).pitch_mm
        sizes = [s for s in sizes if abs(s.pitch_mm / pitch - 1) < SAME_LEAF]
    if diameter is not None:
        spans = ((s, real_range(s, s.genders[0])) for s in sizes)
        sizes = [s for s, (low, high) in spans if low - 0.05 <= diameter <= high + 0.05]
    if use is not None:
        used = {u.designation for u in load_uses() if use.lower() in u.use.lower()}
        sizes = [s for s in sizes if s.designation in used]
    if common:
        sizes = [s for s in sizes if s.commonness != "rare"]
    if not sizes:
        raise UsageError("no size of the catalogue fits these filters.", "Drop one of them.")
    return sizes


def _listing(sizes: list[ThreadSize]) -> str:
    head = (
        f"{'designation':<19}{'pitch mm':>9}{'TPI':>8}{'major mm':>10}{'minor mm':>10}"
        f"{'angle':>7}  {'form':<12}standard"
    )
    lines = [head]
    for s in sizes:
        lines.append(
            f"{s.designation:<19}{s.pitch_mm:>9.4g}{s.tpi_value:>8.4g}{s.basic_major_mm:>10.3f}"
            f"{s.basic_minor_mm:>10.3f}{s.angle_deg:>7g}  "
            f"{'taper 1:16' if s.taper else 'parallel':<12}{s.standard}"
        )
    many = "size" if len(sizes) == 1 else "sizes"
    last = f"{len(sizes)} {many}; basic diameters, of a taper at its gauge plane"
    return "\n".join([*lines, last])


def _full(size: ThreadSize) -> str:
    from pitchcam.cli._typed import use_lines
    from pitchcam.match.confusable import confusables
    from pitchcam.series import same_geometry
    from pitchcam.series.families import load_families

    family = load_families()[size.family]
    lines = [
        f"{size.designation}  {family.name}  ({size.standard})",
        f"  pitch {size.pitch_mm:.4g} mm ({size.tpi_value:.4g} TPI), angle {size.angle_deg:g} deg, "
        + ("taper 1:16 on the diameter" if size.taper else "parallel"),
        f"  basic diameters: major {_both(size.basic_major_mm)}, pitch "
        f"{_both(size.basic_pitch_diameter_mm)}, minor {_both(size.basic_minor_mm)}",
    ]
    if size.gauge_length_mm is not None:
        lines.append(f"  {_plane_line(size)}; useful thread {size.useful_length_mm:.1f} mm")
    lines += [f"  {line}" for line in _limit_lines(size)]
    lines += [f"  {line}" for line in _drill_lines(size)]
    gender = size.genders[0]
    lines += use_lines(size, gender)
    twins = same_geometry(size, gender)
    if twins:
        lines.append("  same size as: " + "; ".join(twins))
    near = confusables(size, gender)
    lines += [
        f"  taken for: {c.second.designation}; {c.measurement}: {size.designation} {c.values[0]}, "
        f"{c.second.designation} {c.values[1]}"
        for c in near[:8]
    ]
    checked = [f"  checked against: {size.checked}"] if size.checked else []
    return "\n".join([*lines, f"  met: {size.commonness}", f"  source: {size.source}", *checked])


def _plane_line(size: ThreadSize) -> str:
    """Return where along a taper its basic diameters hold."""
    if "external" not in size.genders:
        return "these hold at the gauge plane, which is the mouth; the thread narrows inward"
    return (
        f"these hold at the gauge plane, {size.gauge_length_mm:.2f} mm from the small end; at the "
        f"small end the major is {size.major_at(0):.2f} mm"
    )


def _both(mm: float) -> str:
    return f"{mm:.3f} mm ({mm / 25.4:.4f} in)"


def _limit_lines(size: ThreadSize) -> list[str]:
    lines = []
    for gender in size.genders:
        for x in size.limits(gender):
            rows = (("major", x.major_mm), ("pitch", x.pitch_diameter_mm), ("minor", x.minor_mm))
            text = ", ".join(f"{name} {low:.3f} to {high:.3f}" for name, (low, high) in rows)
            lines.append(f"{gender} {x.thread_class}: {text} mm")
    return lines


def _drill_lines(size: ThreadSize) -> list[str]:
    from pitchcam.series.drills import INCH, METRIC, tapping_drill

    lines = []
    for kinds in (METRIC, INCH):
        try:
            t = tapping_drill(size, kinds)
        except UsageError:
            continue
        limits = "" if t.in_limits else ", hole outside the usual class's limits"
        lines.append(
            f"tapping drill {t.drill.name} ({t.drill.diameter_mm:.2f} mm): "
            + (
                "for tapping without a reamer"
                if t.engagement is None
                else f"{100 * t.engagement:.0f} % of the full thread{limits}"
            )
        )
    return lines


def _brief(size: ThreadSize) -> dict[str, Any]:
    return {
        "designation": size.designation,
        "standard": size.standard,
        "family": size.family,
        "pitch_mm": size.pitch_mm,
        "tpi": size.tpi_value,
        "major_mm": size.basic_major_mm,
        "pitch_diameter_mm": size.basic_pitch_diameter_mm,
        "minor_mm": size.basic_minor_mm,
        "angle_deg": size.angle_deg,
        "taper": size.taper,
        "source": size.source,
        "checked": size.checked or None,
    }


def document(size: ThreadSize) -> dict[str, Any]:
    """Return everything known of one size, ready for JSON."""
    from pitchcam.match.confusable import confusables
    from pitchcam.series import load_uses, same_geometry
    from pitchcam.series.families import load_families

    gender = size.genders[0]
    return (
        {"format": format_of("size")}
        | _brief(size)
        | {
            "gauge_length_mm": size.gauge_length_mm,
            "useful_length_mm": size.useful_length_mm,
            "limits": {
                g: [
                    {
                        "class": x.thread_class,
                        "major_mm": x.major_mm,
                        "pitch_diameter_mm": x.pitch_diameter_mm,
                        "minor_mm": x.minor_mm,
                    }
                    for x in size.limits(g)
                ]
                for g in size.genders
            },
            "seal": load_families()[size.family].seal,
            "uses": [
                {"use": u.use, "gender": u.gender, "seal": u.seal, "source": u.source}
                for u in load_uses()
                if u.designation == size.designation
            ],
            "same_geometry": list(same_geometry(size, gender)),
            "confusable": [
                {
                    "designation": c.second.designation,
                    "measurement": c.measurement,
                    "this": c.values[0],
                    "other": c.values[1],
                }
                for c in confusables(size, gender)
            ],
            "commonness": size.commonness,
        }
    )
