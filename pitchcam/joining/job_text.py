"""A job in words: names, join, what changes under other names, orders, torque and sealant."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pitchcam.joining.bolting.tightening import Tightening
from pitchcam.joining.brazing.text import plan_json
from pitchcam.joining.chains.makeup import chain_tightenings
from pitchcam.joining.chains.orders import consumables
from pitchcam.joining.chains.text import CAUTION, chain_json, chain_warnings
from pitchcam.joining.job import Job, Side, Way
from pitchcam.joining.mating.mate import Mating
from pitchcam.joining.mating.text import condition
from pitchcam.records.formats import format_of
from pitchcam.units import percent

Paragraph = tuple[str, tuple[str, ...]]


def paragraphs(job: Job) -> tuple[Paragraph, ...]:
    """Return the page as titled paragraphs, in the order a fitter works."""
    best = job.ways[0]
    parts: list[Paragraph] = [
        ("Names", (*_names(job.port), *_names(job.part))),
        ("Join", tuple(_join(best))),
    ]
    if len(job.ways) > 1 or not job.settled:
        parts.append(("Under other names", tuple(_others(job))))
    parts.append(("Order list", tuple(orders(best))))
    parts.append(("Tighten and seal", tuple(_notes(best))))
    parts.append(("Cautions", (CAUTION,)))
    return tuple(p for p in parts if p[1])


def job_text(job: Job) -> str:
    """Return the page as text."""
    lines = []
    for title, body in paragraphs(job):
        lines += [title, *(f"  {text}" for text in body), ""]
    return "\n".join(lines[:-1])


def _names(side: Side) -> list[str]:
    lines = []
    of_all = 1.0 if side.probability is None else side.probability
    unsure = ", not certain yet" if side.left_open else ""
    for name in side.names:
        chance = percent(name.probability * of_all)
        share = "" if side.origin == "as typed" else f", probability {chance}{unsure}"
        lines.append(f"{side.role.capitalize()}: {name.end.text}{share} ({side.origin})")
    if side.twins:
        lines.append(f"Same size as: {', '.join(side.twins)}")
    if side.next_step and not side.certain:
        lines.append(f"To settle the {side.role}: {side.next_step}")
    return lines


def _join(way: Way) -> list[str]:
    if way.chain is not None:
        return _chain_lines(way)
    tapped = [] if way.tapped is None else [f"Without a flame, from one plug: {way.tapped.text}"]
    if way.made is not None:
        plan = way.made
        return [
            *tapped,
            f"Nothing in stock joins them; {way.what}: "
            + " and ".join(d.fitting.text for d in plan.donors),
            f"{plan.form.name}, {plan.choice.alloy.key}, {plan.length_mm:.1f} mm over all, "
            f"bore {plan.form.bore_mm:g} mm, proof {plan.proof_bar:.1f} bar: see the work sheet",
        ]
    lines = ["Nothing in stock joins them within the limits.", *tapped]
    lines += [
        f"Without {words}: " + " + ".join(k.fitting.text for k in c.links)
        for words, c in way.hindrances
    ]
    if way.no_made:
        lines.append(f"No made adapter: {way.no_made}")
    return lines


def _chain_lines(way: Way) -> list[str]:
    chain = way.chain
    assert chain is not None
    if not chain.links:
        return [f"They mate directly: {chain.joints[0].rule.text}"]
    agreed = [m for m in chain.joints if m.answer == "by-agreement"]
    lines = [f"{condition(agreed[0])} ({agreed[0].text}):"] if agreed else []
    lines += [" + ".join(link.fitting.text for link in chain.links)]
    rating = "not stated" if chain.pressure_bar is None else f"{chain.pressure_bar:g} bar"
    figures = f"adds {chain.added_mm:.1f} mm, bore {chain.bore_mm:g} mm, weakest rating {rating}"
    if chain.immersion_mm is not None:
        figures += f", {chain.immersion_mm:.1f} mm of the probe in the fluid"
    lines.append(figures)
    lines += [f"Mind: {text}" for text in chain_warnings(chain, way.question)]
    return lines


def _others(job: Job) -> list[str]:
    best = job.ways[0]
    lines = []
    for way in job.ways[1:]:
        same = "the same" if way.what == best.what else way.what
        q = way.question
        lines.append(f"{percent(way.probability)}: {q.part.text} to {q.port.text}: {same}")
    if job.left_out > 0.0005:
        lines.append(f"{percent(job.left_out)}: other pairs of names, not shown")
    lines.append(
        "The work is the same under every name shown."
        if job.settled
        else "The work depends on the name: settle it before anything is ordered or cut."
    )
    return lines


def joints_of(way: Way) -> tuple[Mating, ...]:
    """Return the joints that are made up on the engine."""
    if way.chain is not None:
        return way.chain.joints
    return way.made.matings if way.made is not None else ()


def orders(way: Way) -> list[str]:
    """Return what must be had for this way, beyond what stock holds."""
    lines = list(consumables(joints_of(way)))
    if way.made is not None:
        f = way.made.filler
        lines.append(
            f"{f.rod_mm:.0f} mm of {way.made.choice.alloy.key} rod, "
            f"{f.rod_diameter_mm:g} mm; flux {way.made.choice.flux.key}"
        )
        sleeve = way.made.form.sleeve
        if sleeve is not None:
            lines.append(
                f"{sleeve.length_mm + 5.0:.0f} mm of bar, {sleeve.metal.name}, dia "
                f"{sleeve.outside_mm:g} mm or more, for the sleeve"
            )
    if way.lacking is not None:
        instead = "" if way.chain is None and way.made is None else "instead, if it can be had: "
        lines.append(instead + way.lacking.buy)
        lines += [f"has run out: {text}" for text in way.lacking.reorder]
    return lines


def tightenings(way: Way) -> tuple[Tightening, ...]:
    """Return how each joint is made up: a made adapter's as its work sheet has it."""
    if way.made is not None:
        return way.made.tightenings
    return () if way.chain is None else chain_tightenings(way.chain, way.question)


def _notes(way: Way) -> list[str]:
    return [f"{t.joint}: {t.action} ({t.how})" for t in tightenings(way)]


def job_json(job: Job) -> dict[str, Any]:
    """Return the job as JSON."""
    return {
        "format": format_of("job"),
        "port": _side_json(job.port),
        "part": _side_json(job.part),
        "settled": job.settled,
        "left_out": job.left_out,
        "ways": [_way_json(way) for way in job.ways],
    }


def _side_json(side: Side) -> dict[str, Any]:
    return {
        "origin": side.origin,
        "names": [{"end": n.end.text, "probability": n.probability} for n in side.names],
        "probability": side.probability,
        "left_open": side.left_open,
        "same_geometry": list(side.twins),
        "next_step": side.next_step or None,
    }


def _way_json(way: Way) -> dict[str, Any]:
    lines: Sequence[str] = orders(way)
    return {
        "port": way.question.port.text,
        "part": way.question.part.text,
        "probability": way.probability,
        "what": way.what,
        "chain": None if way.chain is None else chain_json(way.chain, way.question),
        "made": None if way.made is None else plan_json(way.made),
        "orders": list(lines),
        "tighten": [{"joint": t.joint, "action": t.action, "how": t.how} for t in tightenings(way)],
    }
