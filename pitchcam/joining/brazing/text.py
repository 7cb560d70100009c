"""What a plan for a made adapter says: its figures, each with how it came about; text, JSON."""

from __future__ import annotations

from typing import Any

from pitchcam.frozen import dataclass
from pitchcam.joining.brazing.donors import Donor
from pitchcam.joining.brazing.figures import donor_mass_g, machined_length_mm, sleeve_mass_g
from pitchcam.joining.brazing.form import WHY, Lap
from pitchcam.joining.brazing.plan import JoinPlan
from pitchcam.joining.brazing.steps import NAMES, cautions, steps
from pitchcam.joining.brazing.strength import lap_for_full_strength_mm
from pitchcam.joining.practice import practice
from pitchcam.records.formats import format_of


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """One figure of the work sheet: what, its value with unit, how it came about."""

    what: str
    value: str
    how: str


def figures(plan: JoinPlan) -> tuple[Figure, ...]:
    """Return every figure of the sheet, in the order of the work."""
    return (*_cutting(plan), *_joint(plan), *_filling(plan), *_heating(plan), *_loads(plan))


def _cutting(plan: JoinPlan) -> list[Figure]:
    lines = []
    for i, (name, d) in enumerate(zip(NAMES, plan.donors, strict=True)):
        face = d.keep_thread_mm + d.body_left_mm
        lap = plan.form.lap_of(i)
        if lap is not None and lap.from_thread:
            lines.append(
                Figure(
                    what=f"Turn {name} down",
                    value=f"thread {d.cut.text if d.cut else ''} off",
                    how=f"{lap.spigot_length_mm:.1f} of its {d.cut_thread_mm:.1f} mm stay "
                    "as the spigot",
                )
            )
            continue
        tip = f"from the tip of {d.keep.text}: {_parts(d)}"
        if d.cut is None:
            lines.append(Figure(what=f"Face {name} to", value=f"{face:.1f} mm", how=tip))
        else:
            lines.append(
                Figure(
                    what=f"Saw {name} at",
                    value=f"{d.saw_at_mm:.1f} mm",
                    how=f"{tip}; face to {face:.1f}",
                )
            )
    bores = " and ".join(
        f"{name} {d.final_bore_mm:g}" + (f" (drill, was {d.bore_mm:g})" if d.drilled else "")
        for name, d in zip(NAMES, plan.donors, strict=True)
    )
    lines.append(Figure(what="Bore left", value=f"{plan.form.bore_mm:g} mm", how=bores))
    lengths = " + ".join(
        f"{machined_length_mm(d, plan.form.lap_of(i)):.1f}" for i, d in enumerate(plan.donors)
    )
    less = "" if plan.form.sleeve is not None else f" - {plan.form.laps[0].overlap_mm:.1f} overlap"
    lines.append(
        Figure(what="Length over all", value=f"{plan.length_mm:.1f} mm", how=f"{lengths}{less}")
    )
    return lines


def _parts(d: Donor) -> str:
    parts = [f"thread {d.keep_thread_mm:.1f}"] if d.keep_thread_mm else []
    body = f"body {d.body_mm:.1f}"
    if d.cut_depth_mm:
        body += f" less {d.cut_depth_mm:.1f} of unwanted female thread"
    return " + ".join([*parts, body])


def _joint(plan: JoinPlan) -> list[Figure]:
    form = plan.form
    lines = []
    if form.sleeve is not None:
        lines.append(
            Figure(
                what="Sleeve",
                value=f"{form.sleeve.metal.name}, dia {form.sleeve.outside_mm:g} x "
                f"{form.sleeve.length_mm:.1f}",
                how="of bar, bored from both ends; the spigots' tips meet in it",
            )
        )
    for lap in form.laps:
        lines += _lap_figures(plan, lap)
    areas = " + ".join(f"pi x {lap.spigot_mm:g} x {lap.overlap_mm:g}" for lap in form.laps)
    return [*lines, Figure(what="Faying area", value=f"{form.area_mm2:.0f} mm2", how=areas)]


def _lap_figures(plan: JoinPlan, lap: Lap) -> list[Figure]:
    c = lap.clearance
    spigot = NAMES[lap.donor]
    socket = "Sleeve for" if plan.form.sleeve is not None else "Socket in"
    where = spigot if plan.form.sleeve is not None else NAMES[1 - lap.donor]
    least, aim, most = c.cold_mm
    alpha = [metal.alpha_per_k * 1e6 for metal in plan.form.metals(plan.donors, lap)]
    same = (
        "one metal, so the gap stays"
        if c.grows_mm == 0.0
        else (
            f"{lap.spigot_mm:g} x ({alpha[1]:.1f} - {alpha[0]:.1f})e-6 x "
            f"{plan.choice.alloy.working_c - 20.0:.0f} K = {c.grows_mm:+.3f} "
            f"(+-{2.0 * c.u_grows_mm:.3f}) mm when hot"
        )
    )
    return [
        Figure(
            what=f"Spigot on {spigot}",
            value=f"dia {lap.spigot_mm:.2f} +0/-0.03, {lap.spigot_length_mm:.1f} long",
            how=f"overlap and a {practice('mouth'):g} mm groove for the rod; {WHY}"
            + ("; turned around the thread that stays" if lap.over_thread else ""),
        ),
        Figure(
            what=f"{socket} {where}",
            value=f"dia {lap.bore_mm:.2f} +-0.02, {lap.overlap_mm:.1f} deep",
            how=f"spigot + {aim:.2f} cold clearance"
            + ("" if plan.form.sleeve is not None else "; the spigot's tip stands on its floor"),
        ),
        Figure(
            what="Clearance cold",
            value=f"{least:.2f} to {most:.2f} mm on dia",
            how=f"{2 * practice('gap_min'):.2f} to {2 * practice('gap_max'):.2f} wanted at "
            f"{plan.choice.alloy.working_c:.0f} deg C; {same}",
        ),
        Figure(what="Overlap", value=f"{lap.overlap_mm:.1f} mm", how=_overlap_how(plan, lap)),
    ]


def _overlap_how(plan: JoinPlan, lap: Lap) -> str:
    metals = plan.form.metals(plan.donors, lap)
    strong = min(
        lap_for_full_strength_mm(metal.tensile_mpa, wall, lap.spigot_mm)
        for metal, wall in zip(metals, lap.walls_mm, strict=True)
    )
    full = min(strong, practice("overlap_t") * min(lap.walls_mm))
    why = (
        f"as strong as the wall at {strong:.1f} (lap formula), at most 3 x "
        f"{min(lap.walls_mm):.2f} wall, at least {practice('overlap_least'):g}"
    )
    if lap.overlap_mm < full - 0.01:
        why += "; the bodies give no more, and its load allows it"
    return why


def _filling(plan: JoinPlan) -> list[Figure]:
    alloy, flux, filler = plan.choice.alloy, plan.choice.flux, plan.filler
    return [
        Figure(
            what="Alloy",
            value=f"{alloy.key} ({alloy.composition}), cadmium-free",
            how=f"ISO 17672: {alloy.solidus_c:.0f} to {alloy.liquidus_c:.0f} deg C; work at "
            f"{alloy.working_c:.0f}, {plan.choice.margin_k:.0f} K under {_weakest(plan)}",
        ),
        Figure(
            what="Flux",
            value=f"{flux.key}, {flux.use}",
            how=f"EN 1045: active {flux.from_c:.0f} to {flux.to_c:.0f} deg C",
        ),
        Figure(
            what="Filler",
            value=f"{filler.rod_mm:.0f} mm of {filler.rod_diameter_mm:g} mm rod "
            f"({filler.grams:.1f} g)",
            how=f"{filler.in_joint_mm3:.0f} mm3 in gap and {practice('fillet'):g} mm fillets, "
            f"x {practice('filler_extra'):g}",
        ),
    ]


def _weakest(plan: JoinPlan) -> str:
    return f"the solidus of {plan.choice.weakest_parent}"


def _heating(plan: JoinPlan) -> list[Figure]:
    heat = plan.heat
    mass = sum(donor_mass_g(d) for d in plan.donors) + sleeve_mass_g(plan.form)
    assert heat.seconds is not None and heat.lost_kj is not None
    span = (
        ""
        if heat.seconds_range is None
        else (f" ({heat.seconds_range[0]:.0f} to {heat.seconds_range[1]:.0f} s)")
    )
    return [
        Figure(
            what="Heat",
            value=f"{heat.stored_kj:.0f} kJ + {heat.lost_kj:.0f} kJ lost",
            how=f"{mass:.0f} g to {plan.choice.alloy.working_c:.0f} deg C; air and radiation",
        ),
        Figure(
            what="Time",
            value=f"about {heat.seconds:.0f} s{span}",
            how=f"torch {heat.torch_kw:g} kW, {100 * practice('torch_share'):.0f} % into the "
            "work (20 to 40)",
        ),
    ]


def _loads(plan: JoinPlan) -> list[Figure]:
    load = plan.load
    lines = [
        Figure(
            what="End load",
            value=f"{load.end_load_n:.0f} N",
            how=f"{plan.pressure_bar:g} bar over dia {plan.form.weakest.spigot_mm:g}",
        ),
        Figure(
            what="Joint stress",
            value=f"{load.stress_mpa:.1f} MPa of {load.allowed_mpa:g} allowed",
            how=f"{load.pressure_stress_mpa:.2f} by pressure, {load.torque_stress_mpa:.1f} by "
            f"{load.torque_n_m:.1f} N m; {load.factor:.1f} times under failure at "
            f"{practice('shear_least'):g} MPa",
        ),
        Figure(
            what="Wall",
            value=f"{plan.hoop_mpa:.2f} MPa hoop at proof",
            how=f"Lame, {plan.form.least_wall_mm:.2f} mm wall",
        ),
    ]
    for place, m in zip(("port", "part"), plan.matings, strict=True):
        if m.seal_row is not None and not m.male.is_hose:
            lines.append(
                Figure(what=f"Seal at {place}", value=m.seal_row["name"], how=m.rule.source)
            )
    for d, tight in zip(plan.donors, plan.tightenings, strict=True):
        hose = f"Hose {d.keep.designation[5:]} mm" if d.keep.is_hose else ""
        what = hose or f"Tighten {d.keep.written}"
        lines.append(Figure(what=what, value=tight.action, how=tight.how))
    lines.append(
        Figure(
            what="Proof",
            value=f"{plan.proof_bar:.1f} bar, water, 10 min",
            how=f"{practice('proof'):g} x {plan.pressure_bar:g} bar, at least "
            f"{practice('proof_least'):g}",
        )
    )
    return lines


def plan_text(plan: JoinPlan) -> str:
    """Return the whole plan as text."""
    q = plan.question
    lines = [
        f"Made adapter, {q.port.text} to {q.part.text}, for {plan.service['key']} "
        f"({plan.pressure_bar:g} bar, {plan.temperature_c:g} deg C)",
        *(
            f"Donor {n}: {d.fitting.text}, {d.metal.name}; keep {d.keep.text}"
            for n, d in zip(NAMES, plan.donors, strict=True)
        ),
        "",
    ]
    width = max(len(f.what) for f in figures(plan))
    lines += [f"{f.what:<{width}}  {f.value}  [{f.how}]" for f in figures(plan)]
    lines += ["", *(f"{i}. {text}" for i, text in enumerate(steps(plan), start=1)), ""]
    lines += [f"! {text}" for text in cautions(plan)]
    return "\n".join(lines)


def plan_json(plan: JoinPlan) -> dict[str, Any]:
    """Return the plan as JSON; the figures as printed, the main ones as numbers too."""
    return {
        "format": format_of("joining"),
        "port": plan.question.port.text,
        "part": plan.question.part.text,
        "service": plan.service["key"],
        "donors": [d.fitting.id for d in plan.donors],
        "saw_at_mm": [d.saw_at_mm for d in plan.donors],
        "length_mm": plan.length_mm,
        "bore_mm": plan.form.bore_mm,
        "joint": plan.form.name,
        "laps": [
            {
                "donor": plan.donors[lap.donor].fitting.id,
                "spigot_mm": lap.spigot_mm,
                "overlap_mm": lap.overlap_mm,
                "clearance_mm": list(lap.clearance.cold_mm),
            }
            for lap in plan.form.laps
        ],
        "sleeve_mm": None
        if plan.form.sleeve is None
        else [plan.form.sleeve.outside_mm, plan.form.sleeve.length_mm],
        "area_mm2": plan.form.area_mm2,
        "alloy": plan.choice.alloy.key,
        "flux": plan.choice.flux.key,
        "rod_mm": plan.filler.rod_mm,
        "stored_kj": plan.heat.stored_kj,
        "seconds": plan.heat.seconds,
        "stress_mpa": plan.load.stress_mpa,
        "factor": plan.load.factor,
        "torques_n_m": [[t.least_n_m, t.most_n_m] for t in plan.tightenings],
        "through_joint_n_m": plan.load.torque_n_m,
        "proof_bar": plan.proof_bar,
        "figures": [{"what": f.what, "value": f.value, "how": f.how} for f in figures(plan)],
        "steps": list(steps(plan)),
        "cautions": list(cautions(plan)),
    }
