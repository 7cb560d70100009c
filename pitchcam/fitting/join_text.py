"""What a plan for a made adapter says: its figures, each with how it came about; text, JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pitchcam.fitting.donors import Donor
from pitchcam.fitting.join import JoinPlan
from pitchcam.fitting.join_figures import donor_mass_g
from pitchcam.fitting.join_steps import NAMES, cautions, steps
from pitchcam.fitting.joint_form import WHY
from pitchcam.fitting.practice import practice


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """One figure of the work sheet: what, its value with unit, how it came about."""

    what: str
    value: str
    how: str


def figures(plan: JoinPlan) -> tuple[Figure, ...]:
    """Return every figure of the sheet, in the order of the work."""
    return (
        *_cutting(plan),
        *_joint(plan),
        *_filling(plan),
        *_heating(plan),
        *_loads(plan),
    )


def _cutting(plan: JoinPlan) -> list[Figure]:
    lines = []
    for name, d in zip(NAMES, plan.donors, strict=True):
        face = d.keep_thread_mm + d.body_left_mm
        if _keeps_shoulder(plan, d):
            lines.append(
                Figure(
                    what=f"Turn {name} down",
                    value=f"thread {d.cut.text if d.cut else ''} off",
                    how=f"{plan.form.spigot_length_mm:.1f} of its {d.cut_thread_mm:.1f} mm stay "
                    "as the spigot",
                )
            )
            continue
        tip = f"from the tip of {d.keep.text}: {_parts(d)}"
        if d.cut is None:
            lines.append(Figure(what=f"Face {name} to", value=f"{face:.1f} mm", how=tip))
        else:
            lines.append(Figure(what=f"Saw {name} at", value=f"{d.saw_at_mm:.1f} mm",
                                how=f"{tip}; face to {face:.1f}"))  # fmt: skip
    bores = " and ".join(
        f"{name} {d.final_bore_mm:g}" + (f" (drill, was {d.bore_mm:g})" if d.drilled else "")
        for name, d in zip(NAMES, plan.donors, strict=True)
    )
    lines.append(Figure(what="Bore left", value=f"{plan.form.bore_mm:g} mm", how=bores))
    lengths = " + ".join(f"{d.keep_thread_mm + d.body_left_mm:.1f}" for d in plan.donors)
    less = f" - {plan.form.shortens_mm:.1f} overlap" if plan.form.shortens_mm else ""
    lines.append(Figure(what="Length over all", value=f"{plan.length_mm:.1f} mm",
                        how=f"{lengths}{less}"))  # fmt: skip
    return lines


def _parts(d: Donor) -> str:
    parts = [f"thread {d.keep_thread_mm:.1f}"] if d.keep_thread_mm else []
    body = f"body {d.body_mm:.1f}"
    if d.cut_depth_mm:
        body += f" less {d.cut_depth_mm:.1f} of unwanted female thread"
    return " + ".join([*parts, body])


def _keeps_shoulder(plan: JoinPlan, d: Donor) -> bool:
    return plan.form.from_thread and plan.donors[plan.form.inner] is d


def _joint(plan: JoinPlan) -> list[Figure]:
    form = plan.form
    c = form.clearance
    spigot, socket = NAMES[form.inner], NAMES[1 - form.inner]
    least, aim, most = c.cold_mm
    alpha = [plan.donors[i].metal.alpha_per_k * 1e6 for i in (1 - form.inner, form.inner)]
    same = "one metal, so the gap stays" if c.grows_mm == 0.0 else (
        f"{form.spigot_mm:g} x ({alpha[0]:.1f} - {alpha[1]:.1f})e-6 x "
        f"{plan.choice.alloy.working_c - 20.0:.0f} K = {c.grows_mm:+.3f} "
        f"(+-{2.0 * c.u_grows_mm:.3f}) mm when hot")  # fmt: skip
    return [
        Figure(
            what=f"Spigot on {spigot}",
            value=f"dia {form.spigot_mm:.2f} +0/-0.03, {form.spigot_length_mm:.1f} long",
            how=f"overlap and a {practice('mouth'):g} mm groove for the rod; {WHY}"
            + ("; turned around the thread that stays" if form.over_thread else ""),
        ),
        Figure(
            what=f"Socket in {socket}",
            value=f"dia {form.spigot_mm + aim:.2f} +-0.02, {form.overlap_mm:.1f} deep",
            how=f"spigot + {aim:.2f} cold clearance; the spigot's tip stands on its floor",
        ),
        Figure(
            what="Clearance cold",
            value=f"{least:.2f} to {most:.2f} mm on dia",
            how=f"{2 * practice('gap_min'):.2f} to {2 * practice('gap_max'):.2f} wanted at "
            f"{plan.choice.alloy.working_c:.0f} deg C; {same}",
        ),
        Figure(
            what="Overlap",
            value=f"{form.overlap_mm:.1f} mm",
            how=_overlap_how(plan),
        ),
        Figure(
            what="Faying area",
            value=f"{form.area_mm2:.0f} mm2",
            how=f"pi x {form.spigot_mm:g} x {form.overlap_mm:g}",
        ),
    ]


def _overlap_how(plan: JoinPlan) -> str:
    form = plan.form
    full = min(plan.full_lap_mm, practice("overlap_t") * min(form.walls_mm))
    why = (
        f"as strong as the wall at {plan.full_lap_mm:.1f} (lap formula), at most 3 x "
        f"{min(form.walls_mm):.2f} wall, at least {practice('overlap_least'):g}"
    )
    if form.overlap_mm < full - 0.01:
        why += "; the bodies give no more, and its load allows it"
    return why


def _filling(plan: JoinPlan) -> list[Figure]:
    alloy, flux, filler = plan.choice.alloy, plan.choice.flux, plan.filler
    return [
        Figure(what="Alloy", value=f"{alloy.key} ({alloy.composition}), cadmium-free",
               how=f"ISO 17672: {alloy.solidus_c:.0f} to {alloy.liquidus_c:.0f} deg C; work at "
               f"{alloy.working_c:.0f}, {plan.choice.margin_k:.0f} K under {_weakest(plan)}"),
        Figure(what="Flux", value=f"{flux.key}, {flux.use}",
               how=f"EN 1045: active {flux.from_c:.0f} to {flux.to_c:.0f} deg C"),
        Figure(what="Filler", value=f"{filler.rod_mm:.0f} mm of {filler.rod_diameter_mm:g} mm rod "
               f"({filler.grams:.1f} g)",
               how=f"{filler.in_joint_mm3:.0f} mm3 in gap and {practice('fillet'):g} mm fillets, "
               f"x {practice('filler_extra'):g}"),
    ]  # fmt: skip


def _weakest(plan: JoinPlan) -> str:
    return f"the solidus of {plan.choice.weakest_parent}"


def _heating(plan: JoinPlan) -> list[Figure]:
    heat = plan.heat
    mass = sum(donor_mass_g(d) for d in plan.donors)
    assert heat.seconds is not None and heat.lost_kj is not None
    span = "" if heat.seconds_range is None else (
        f" ({heat.seconds_range[0]:.0f} to {heat.seconds_range[1]:.0f} s)")  # fmt: skip
    return [
        Figure(what="Heat", value=f"{heat.stored_kj:.0f} kJ + {heat.lost_kj:.0f} kJ lost",
               how=f"{mass:.0f} g to {plan.choice.alloy.working_c:.0f} deg C; air and radiation"),
        Figure(what="Time", value=f"about {heat.seconds:.0f} s{span}",
               how=f"torch {heat.torch_kw:g} kW, {100 * practice('torch_share'):.0f} % into the "
               "work (20 to 40)"),
    ]  # fmt: skip


def _loads(plan: JoinPlan) -> list[Figure]:
    load = plan.load
    lines = [
        Figure(what="End load", value=f"{load.end_load_n:.0f} N",
               how=f"{plan.pressure_bar:g} bar over dia {plan.form.spigot_mm:g}"),
        Figure(what="Joint stress", value=f"{load.stress_mpa:.1f} MPa of {load.allowed_mpa:g} "
               "allowed",
               how=f"{load.pressure_stress_mpa:.2f} by pressure, {load.torque_stress_mpa:.1f} by "
               f"{load.torque_n_m:.1f} N m; {load.factor:.1f} times under failure at "
               f"{practice('shear_least'):g} MPa"),
        Figure(what="Wall", value=f"{plan.hoop_mpa:.2f} MPa hoop at proof",
               how=f"Lame, {min(plan.form.walls_mm):.2f} mm wall"),
    ]  # fmt: skip
    for place, m in zip(("port", "part"), plan.matings, strict=True):
        if m.seal_row is not None and not m.male.is_hose:
            lines.append(Figure(what=f"Seal at {place}", value=m.seal_row["name"],
                                how=m.rule.source))  # fmt: skip
    for d, tight in zip(plan.donors, plan.tightenings, strict=True):
        hose = f"Hose {d.keep.designation[5:]} mm" if d.keep.is_hose else ""
        what = hose or f"Tighten {d.keep.written}"
        lines.append(Figure(what=what, value=tight.action, how=tight.how))
    lines.append(Figure(
        what="Proof", value=f"{plan.proof_bar:.1f} bar, water, 10 min",
        how=f"{practice('proof'):g} x {plan.pressure_bar:g} bar, at least "
        f"{practice('proof_least'):g}"))  # fmt: skip
    return lines


def plan_text(plan: JoinPlan) -> str:
    """Return the whole plan as text."""
    q = plan.question
    lines = [
        f"Made adapter, {q.port.text} to {q.part.text}, for {plan.service['key']} "
        f"({plan.pressure_bar:g} bar, {plan.temperature_c:g} deg C)",
        *(f"Donor {n}: {d.fitting.text}, {d.metal.name}; keep {d.keep.text}"
          for n, d in zip(NAMES, plan.donors, strict=True)),
        "",
    ]  # fmt: skip
    width = max(len(f.what) for f in figures(plan))
    lines += [f"{f.what:<{width}}  {f.value}  [{f.how}]" for f in figures(plan)]
    lines += ["", *(f"{i}. {text}" for i, text in enumerate(steps(plan), start=1)), ""]
    lines += [f"! {text}" for text in cautions(plan)]
    return "\n".join(lines)


def plan_json(plan: JoinPlan) -> dict[str, Any]:
    """Return the plan as JSON; the figures as printed, the main ones as numbers too."""
    return {
        "format": "pitchcam.joining/1",
        "port": plan.question.port.text,
        "part": plan.question.part.text,
        "service": plan.service["key"],
        "donors": [d.fitting.id for d in plan.donors],
        "saw_at_mm": [d.saw_at_mm for d in plan.donors],
        "length_mm": plan.length_mm,
        "bore_mm": plan.form.bore_mm,
        "joint": "spigot and socket",
        "spigot_mm": plan.form.spigot_mm,
        "overlap_mm": plan.form.overlap_mm,
        "clearance_mm": list(plan.form.clearance.cold_mm),
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
