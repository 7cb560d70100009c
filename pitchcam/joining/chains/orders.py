"""What a chain still needs: pieces to buy or reorder, and a seal for every joint."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from pitchcam.frozen import dataclass
from pitchcam.joining.chains.adapt import adapt
from pitchcam.joining.chains.chain import Chain
from pitchcam.joining.chains.question import Question
from pitchcam.joining.mating.ends import opposite
from pitchcam.joining.mating.mate import Mating
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.series import find


@dataclass(frozen=True, kw_only=True, slots=True)
class Missing:
    """What stock lacks for the best chain: one adapter to buy, or rows that have run out."""

    buy: str
    reorder: tuple[str, ...]


def missing(question: Question, stock: Sequence[Fitting], found: Sequence[Chain]) -> Missing | None:
    """Return what would make a better chain than stock gives, None where one piece or none does."""
    pieces = len(found[0].links) if found else None
    if pieces is not None and pieces <= 1:
        return None
    return Missing(buy=adapter_wanted(question), reorder=_run_out(question, stock, pieces))


def adapter_wanted(question: Question) -> str:
    """Describe the one adapter that would join the two, with the limits it must keep."""
    near, far = opposite(question.port), opposite(question.part)
    limits = []
    if question.bore_mm:
        limits.append(f"bore {question.bore_mm:g} mm or more")
    if question.pressure_bar:
        limits.append(f"rated {question.pressure_bar:g} bar or more")
    if question.temperature_c:
        limits.append(f"rated {question.temperature_c:g} deg C or more")
    if question.most_added_mm is not None:
        limits.append(f"adding no more than {question.most_added_mm:.0f} mm")
    if question.one_wire:
        limits.append("metal")
    return f"one adapter, {near.text} to {far.text}" + "".join(f", {text}" for text in limits)


def _run_out(question: Question, stock: Sequence[Fitting], pieces: int | None) -> tuple[str, ...]:
    """Return the rows with none left that a better chain would use."""
    filled = [replace(f, count=max(f.count, 1)) for f in stock]
    ideal = adapt(question, filled, best=1)
    if not ideal or (pieces is not None and len(ideal[0].links) >= pieces):
        return ()
    empty = {f.id for f in stock if f.count == 0}
    return tuple(link.fitting.text for link in ideal[0].links if link.fitting.id in empty)


def consumables(joints: Sequence[Mating]) -> tuple[str, ...]:
    """Return the seals and sealants that a chain's joints use up, each with how many."""
    wanted = Counter(_consumable(joint) for joint in joints)
    wanted.pop("", None)
    return tuple(
        f"{count} x {what}" if not what.startswith("sealant") else what
        for what, count in wanted.items()
    )


def _consumable(joint: Mating) -> str:
    if joint.seal in ("face", "oring"):
        inside = find(joint.male.designation).basic_major_mm
        what = "copper washer or bonded seal" if joint.seal == "face" else "O-ring for the stud end"
        return f"{what} for {joint.male.designation} ({inside:.1f} mm thread)"
    if joint.seal == "taper-sealant":
        return "sealant for taper threads, for the fluid and its temperature"
    if joint.seal == "hose":
        return f"hose clamp for {joint.male.designation[5:]} mm bore hose"
    return ""
