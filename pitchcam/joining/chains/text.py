"""Chains in words and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pitchcam.joining.chains.chain import VIBRATION_G, Chain
from pitchcam.joining.chains.makeup import chain_tightenings
from pitchcam.joining.chains.orders import Missing, consumables
from pitchcam.joining.chains.question import Question
from pitchcam.joining.mating.text import condition
from pitchcam.joining.metals import metal

#: Share of the annealed tensile strength that a thread root may see under vibration: endurance
#: about a quarter of it, a notch factor of 3 for the thread, and 2 for safety (from memory).
_ENDURANCE_SHARE = 0.25 / (3.0 * 2.0)

CAUTION = (
    "Depressurise, cool and drain before opening a port. Not for brakes, fuel rails, LPG or other "
    "gas. Test for leaks at working heat and pressure. Local codes and licensed practice go first."
)


def bend_allowed_mpa(chain: Chain) -> float | None:
    """Return the bending stress that the first thread stands for long, None if metal unknown."""
    metals = [metal(link.fitting.material) for link in chain.links[:1]]
    strengths = [m.tensile_mpa for m in metals if m is not None]
    return min(strengths) * _ENDURANCE_SHARE if strengths else None


def chain_warnings(chain: Chain, question: Question) -> tuple[str, ...]:
    """Return what a fitter must know of this chain besides its figures."""
    notes = [f"{m.text}: {m.rule.text}" for m in chain.joints if m.answer == "by-agreement"]
    notes += [f"{t.fault}." for t in chain_tightenings(chain, question) if t.fault]
    if question.hose_c is None and any(m.male.is_hose for m in chain.joints):
        notes.append(f"The hose itself must be rated{_rating(question)}: read it on the hose.")
    if question.one_wire and any(
        m.seal_row is not None and m.seal_row["conducts"] == "doubtful" for m in chain.joints
    ):
        notes.append(
            "Sealant may break the earth of a one-wire part: measure from its body to "
            "the engine, under 1 ohm, or add an earth strap."
        )
    allowed = bend_allowed_mpa(chain)
    if chain.bend_mpa is not None and allowed is not None and chain.bend_mpa > allowed:
        notes.append(
            f"It hangs too heavy: {chain.bend_mpa:.1f} MPa in the port's thread under "
            f"{VIBRATION_G:g} g against {allowed:.1f} MPa. Support it, or mount the part "
            "apart on a hose."
        )
    if chain.links and chain.pressure_bar is None:
        notes.append("Not every piece states its pressure rating: do not guess it.")
    return tuple(notes)


def _rating(question: Question) -> str:
    bar = "" if question.pressure_bar is None else f" {question.pressure_bar:g} bar"
    heat = "" if question.temperature_c is None else f" {question.temperature_c:g} deg C"
    return (
        f" for{bar}{' and' if bar and heat else ''}{heat}"
        if bar or heat
        else " for the fluid, its pressure and its heat"
    )


def chain_text(chain: Chain, question: Question, number: int) -> str:
    """Return one chain as a numbered answer."""
    if not chain.links:
        head = f"{number}. {_condition(chain)}they mate directly."
    else:
        names = " + ".join(link.fitting.text for link in chain.links)
        count = f"{len(chain.links)} piece{'s'[: len(chain.links) != 1]}"
        head = f"{number}. {_condition(chain)}{count}: {names}"
    lines = [head]
    for m in chain.joints:
        seal = "nothing" if m.seal_row is None else m.seal_row["name"]
        lines.append(f"   {m.text}: seals by {seal} ({m.rule.source})")
    lines.append("   " + "; ".join(_figures(chain)))
    lines += [f"   Mind: {note}" for note in chain_warnings(chain, question)]
    used = consumables(chain.joints)
    if used:
        lines.append("   Needs: " + "; ".join(used))
    return "\n".join(lines)


def _condition(chain: Chain) -> str:
    """Return what must hold before a chain may be used at all, empty where nothing must."""
    agreed = [m for m in chain.joints if m.answer == "by-agreement"]
    if not agreed:
        return ""
    return f"{condition(agreed[0])} ({agreed[0].text}): "


def _figures(chain: Chain) -> list[str]:
    if not chain.links:
        return ["nothing added"]
    figures = [f"adds {chain.added_mm:.1f} mm", f"bore {chain.bore_mm:g} mm"]
    figures.append(
        "pressure rating not stated"
        if chain.pressure_bar is None
        else f"weakest {chain.pressure_bar:g} bar"
    )
    if chain.temperature_c is not None:
        figures.append(f"up to {chain.temperature_c:g} deg C (seals counted)")
    if chain.immersion_mm is not None:
        figures.append(f"{chain.immersion_mm:.1f} mm of the probe left in the fluid")
    figures.append(f"needs {chain.widest_corner_mm:.1f} mm radius to turn")
    figures.append(
        f"{chain.mass_g:.0f} g, {chain.moment_n_m:.2f} N m at the port under {VIBRATION_G:g} g"
    )
    return figures


def answer_text(
    question: Question,
    chains: Sequence[Chain],
    lacking: Missing | None,
    hindrances: Sequence[tuple[str, Chain]] = (),
    tapped: Sequence[str] = (),
) -> str:
    """Return the whole answer: chains best first, what is missing, the caution."""
    parts = [f"{question.part.text} to {question.port.text}:"]
    parts += [chain_text(c, question, n) for n, c in enumerate(chains, start=1)]
    if not chains:
        parts.append("Nothing in stock joins them within the limits.")
        for words, chain in hindrances:
            names = " + ".join(link.fitting.text for link in chain.links)
            parts.append(f"Without {words} this would: {names} ({'; '.join(_figures(chain))})")
    if lacking is not None:
        better = "To join them" if not chains else "For a shorter chain"
        parts.append(f"{better}, buy {lacking.buy}.")
        if lacking.reorder:
            parts.append("Or reorder what has run out: " + "; ".join(lacking.reorder) + ".")
        if not chains:
            parts += [f"Or tap a plug: {text}." for text in tapped[:1]]
            parts.append("Or make one from two donors: pitchcam join.")
    parts.append(CAUTION)
    return "\n".join(parts)


def chain_json(chain: Chain, question: Question) -> dict[str, Any]:
    """Return one chain as JSON."""
    return {
        "pieces": [
            {"id": link.fitting.id, "turned": link.turned, "text": link.fitting.text}
            for link in chain.links
        ],
        "joints": [
            {
                "male": m.male.text,
                "female": m.female.text,
                "answer": m.answer,
                "seal": m.seal,
                "rule": m.rule.text,
                "source": m.rule.source,
            }
            for m in chain.joints
        ],
        "added_mm": chain.added_mm,
        "bore_mm": chain.bore_mm if chain.links else None,
        "pressure_bar": chain.pressure_bar,
        "temperature_c": chain.temperature_c,
        "immersion_mm": chain.immersion_mm,
        "turning_radius_mm": chain.widest_corner_mm,
        "mass_g": chain.mass_g,
        "moment_n_m": chain.moment_n_m,
        "bend_mpa": chain.bend_mpa,
        "needs": list(consumables(chain.joints)),
        "warnings": list(chain_warnings(chain, question)),
    }
