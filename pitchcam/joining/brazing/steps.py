"""The order of work on a made adapter, with checks, and the cautions that go with it."""

from __future__ import annotations

from pitchcam.joining.brazing.form import JointForm
from pitchcam.joining.brazing.plan import JoinPlan
from pitchcam.joining.tables import read_table

#: The donors' names on the sheet: A meets the port, B the part.
NAMES = ("A", "B")


def steps(plan: JoinPlan) -> tuple[str, ...]:
    """Return the order of work, each step with its check."""
    form, alloy = plan.form, plan.choice.alloy
    fit = _fit(form)
    return (
        "Check both donors: thread named, no crack, metal as stated (file a corner: no plating).",
        "Saw or turn the wrong ends off as dimensioned. Check: faces square to 0.1 mm.",
        f"Drill through where stated. Check: a {plan.form.bore_mm:g} mm rod passes both.",
        fit,
        "Clean bright with new abrasive, degrease; do not touch again. Within the hour: flux both "
        "sides, put together, flux outside. Thread protected with chalk, not oil.",
        "Stand on fire brick, joint level, bores open. Heat both parts evenly, the heavier first, "
        "no flame on the rod. At clear, glassy flux feed rod at the joint: it must flash round by "
        f"the metal's heat, near {alloy.working_c:.0f} deg C, dull red at most.",
        "Flame off when a fillet stands all round. Do not move it until dull; cool in air.",
        "Soak in hot water over 60 deg C until the flux is off, brush, rinse. Check: fillet all "
        "round the mouth, no pinhole, no bare metal; bore clear; threads run on by hand.",
        f"Proof: fill with water, bleed, {plan.proof_bar:.1f} bar for 10 min, dry with paper. "
        "Check: no drop, no damp. Fails: scrap it; no second try over the first.",
        "Tighten with a second spanner on the hex next to the joint. Run up, check at heat, check "
        "again after a day.",
    )


def _fit(form: JointForm) -> str:
    """Return the turning and boring step."""
    spigots = [NAMES[lap.donor] for lap in form.laps]
    socket = (
        "the sleeve from both ends"
        if form.sleeve is not None
        else (f"the socket in {NAMES[1 - form.laps[0].donor]}")
    )
    turned = "spigots on A and B" if len(spigots) > 1 else f"spigot on {spigots[0]}"
    text = (
        f"Turn the {turned}, bore {socket}, break edges 0.3 mm. Check: clearance by caliper all "
        "round; slides in by hand and does not rock."
    )
    for lap in form.laps:
        if lap.over_thread:
            text += f" The thread inside {NAMES[lap.donor]} is not touched: plug it while turning."
    return text


def cautions(plan: JoinPlan) -> tuple[str, ...]:
    """Return the cautions that stand on every sheet, with those of this service and metal."""
    special = [plan.service["caution"], *plan_warnings(plan)]
    return (*(text for text in special if text), *(row["text"] for row in read_table("cautions")))


def plan_warnings(plan: JoinPlan) -> tuple[str, ...]:
    """Return what is particular to these donors."""
    notes = [f"{m.text}: {m.rule.text}" for m in plan.matings if m.answer == "by-agreement"]
    metals = [d.metal for d in plan.donors]
    if any(m.group == "stainless" for m in metals) and not plan.choice.alloy.wet_stainless:
        notes.append(
            "Stainless steel brazed with a zinc-bearing alloy lets go at the interface "
            "after months in water: oil duty only, or look at it at each service."
        )
    if metals[0].group != metals[1].group:
        notes.append("Two metals in one wet circuit: the lesser one corrodes; use inhibitor.")
    needed = max((t.least_n_m for t in plan.tightenings if t.least_n_m is not None), default=0.0)
    if plan.load.torque_n_m < needed - 0.05:
        notes.append(
            f"Only {plan.load.torque_n_m:.0f} N m may pass through the joint: hold each end by its "
            "own hex while the other is tightened."
        )
    if any(d.keep.is_hose for d in plan.donors):
        notes.append(
            f"The hose itself must be rated for {plan.pressure_bar:g} bar and "
            f"{plan.temperature_c:g} deg C: read it on the hose."
        )
    if any(not d.fitting.plating for d in plan.donors):
        notes.append("Stock does not state the plating: make sure that both are bare.")
    return tuple(notes)
