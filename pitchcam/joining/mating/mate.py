"""Whether a male thread goes into a female one and seals there, and what happens if it is wrong."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Literal, cast

from pitchcam.errors import UsageError
from pitchcam.frozen import dataclass
from pitchcam.joining.mating.ends import End, base_family, profile_of
from pitchcam.joining.tables import Row, keyed, read_table
from pitchcam.series import find

if TYPE_CHECKING:
    from pitchcam.joining.mating.crossthread import CrossThread

Answer = Literal["yes", "by-agreement", "wrong", "no"]

#: Best first; ``wrong`` screws home or part of the way and fails, ``no`` is another thread.
ANSWERS: tuple[Answer, ...] = ("yes", "by-agreement", "wrong", "no")


@dataclass(frozen=True, kw_only=True, slots=True)
class Rule:
    """What the standards say of one pair of families."""

    answer: Answer
    seal: str
    text: str
    source: str
    checked: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Mating:
    """The answer for one male and one female end.

    ``cross`` is None for hoses and for a pair of one and the same thread; elsewhere it says how
    far the pair goes. ``failure`` says in words what goes wrong; empty where nothing does.
    """

    male: End
    female: End
    answer: Answer
    seal: str
    rule: Rule
    cross: CrossThread | None
    failure: str

    @property
    def text(self) -> str:
        """The pair in words, male first; a hose goes on its tail."""
        if self.male.is_hose:
            return f"{self.female.text} on {self.male.text}"
        return f"{self.male.text} in {self.female.text}"

    @property
    def seals(self) -> bool:
        """Whether this joint may be planned on: a standard pair or one by agreement."""
        return self.answer in ("yes", "by-agreement")

    @property
    def seal_row(self) -> Row | None:
        """The row of the seals table, None where nothing seals."""
        return keyed("seals")[self.seal] if self.seal else None


@cache
def rule_for(external: str, internal: str, sizes: tuple[str, ...] | None = None) -> Rule:
    """Return the first rule of the mating table that names this pair of families.

    What a rule says of some sizes only is left out where ``sizes``, the two trade sizes, are not
    both of them; None asks of the families as a whole and names the sizes.

    Raises
    ------
    LookupError
        If no rule covers the pair: a gap in our table.
    """
    for row in read_table("mating"):
        if _named(row["external"], external) and _named(row["internal"], internal):
            return Rule(
                answer=cast(Answer, row["verdict"]),
                seal=row["seal"],
                text=_said_of(row["rule"], sizes),
                source=row["source"],
                checked=row["checked"],
            )
    raise LookupError(f"no mating rule for {external} in {internal}")


def _said_of(text: str, sizes: tuple[str, ...] | None) -> str:
    """Resolve ``{1/2 3/4: words}``: said of pairs of those sizes, of families with the sizes."""

    def words(match: re.Match[str]) -> str:
        named = match["sizes"].split()
        if sizes is None:
            said = match["words"].strip()
            return f"At {' and '.join(named)}: {said[0].lower()}{said[1:]}"
        return match["words"].strip() if len(set(sizes)) == 1 and sizes[0] in named else ""

    said = re.sub(r"\{(?P<sizes>[^:}]+):(?P<words>[^}]+)\}", words, text)
    return " ".join(said.split())


def _named(cell: str, family: str) -> bool:
    return cell == "*" or family in cell.split()


@cache
def mate(male: End, female: End) -> Mating:
    """Say whether the male end goes into the female one and how it seals.

    Raises
    ------
    UsageError
        If the ends are not one male and one female.

    Examples
    --------
    >>> from pitchcam.joining.mating.ends import parse_end
    >>> joint = mate(parse_end("R 1/4", "external"), parse_end("Rc 1/4", "internal"))
    >>> joint.seals, joint.seal
    (True, 'taper-sealant')
    """
    if male.gender != "external" or female.gender != "internal":
        raise UsageError("a joint needs one male and one female end.", "Swap or change one.")
    if male.is_hose or female.is_hose:
        return _mate_hose(male, female)
    rule = rule_for(male.family, female.family, _sizes(male, female))
    same = size_key(male.designation) == size_key(female.designation)
    if same and rule.answer in ("yes", "by-agreement"):
        return _by_rule(male, female, rule)
    # Pairs that fit ask for no computation, and its arrays take time to load.
    from pitchcam.joining.mating.crossthread import cross_thread

    cross = cross_thread(profile_of(male), profile_of(female))
    if same:
        return Mating(
            male=male,
            female=female,
            answer="wrong",
            seal="",
            rule=rule,
            cross=cross,
            failure="Nothing seals.",
        )
    answer = _cross_answer(rule, cross)
    return Mating(
        male=male,
        female=female,
        answer=answer,
        seal="",
        rule=_other_size(rule, male, female),
        cross=cross,
        failure=failure_text(cross),
    )


#: Families whose sizes are one another's: a rule between them holds size by size.
_SHARED_SIZES = {
    "R": "pipe55",
    "Rc": "pipe55",
    "Rp": "pipe55",
    "G": "pipe55",
    "NPT": "pipe60",
    "NPTF": "pipe60",
    "NPSM": "pipe60",
    "M-taper": "M",
}


@cache
def size_key(designation: str) -> tuple[str, str, float]:
    """Return (families that share sizes, trade size, pitch): equal keys are one thread size."""
    if designation.startswith("hose "):
        return "hose", designation[5:], 0.0
    base = base_family(designation)
    size = find(designation)
    return _SHARED_SIZES.get(base, base), size.size, round(size.pitch_mm, 4)


def _sizes(one: End, other: End) -> tuple[str, ...]:
    return find(one.designation).size, find(other.designation).size


@cache
def planned_rule(one: End, other: End) -> Rule | None:
    """Return the rule by which two ends seal together, None where they do not; no computation.

    It agrees with :func:`mate`, and is quick enough to ask of every pair in stock.
    """
    if one.gender == other.gender or size_key(one.designation) != size_key(other.designation):
        return None
    male, female = (one, other) if one.gender == "external" else (other, one)
    if male.is_hose:
        return mate(male, female).rule
    rule = rule_for(male.family, female.family, _sizes(male, female))
    return rule if rule.answer in ("yes", "by-agreement") else None


def _cross_answer(rule: Rule, cross: CrossThread) -> Answer:
    """Call a pair that turns in though it is no pair ``wrong``: that is the dangerous one."""
    starts = cross.kind in ("binds", "loose", "fits")
    return "wrong" if starts or rule.answer == "wrong" else "no"


def _other_size(rule: Rule, male: End, female: End) -> Rule:
    """Return the rule, or for two sizes of mating families one that says they are no pair."""
    if rule.answer in ("no", "wrong"):
        return rule
    text = f"{male.designation} and {female.designation} are different sizes: no pair."
    return Rule(answer="no", seal="", text=text, source=rule.source, checked=rule.checked)


def failure_text(cross: CrossThread) -> str:
    """Say what happens when the pair is tried, with the computed figures."""
    turns = _turns(cross)
    if cross.kind == "falls-through":
        return "The male drops through without touching: there is no thread between them."
    if cross.kind == "does-not-start":
        return (
            "It does not start: no half turn by hand even for the loosest pair. Force starts "
            "it cross-threaded and cuts the softer thread."
        )
    weak = f"{100 * cross.shear_share[0]:.0f} to {100 * cross.shear_share[1]:.0f} %"
    if cross.kind == "binds":
        return (
            f"It {turns} by hand of the {cross.wanted_turns:.1f} wanted, then binds: "
            f"{_why(cross)}. The wrench cuts the softer thread; feeling it tighten proves "
            "nothing."
        )
    if cross.kind == "loose":
        return (
            f"It goes in loose all the way and holds on {weak} of a right pair's strength: "
            "it strips or blows out, and nothing seals."
        )
    home = "It screws home by hand"
    least = cross.free_turns[0]
    if least < 0.5:
        home += " (a tight pair does not start)"
    elif least < cross.wanted_turns:
        home += f" (a tight pair binds after {least:.1f} turns)"
    return (
        f"{home} and feels right, with {weak} of a right pair's strength. "
        f"{_why(cross).capitalize()}: it bears on edges and leaves a spiral leak."
    )


#: Under so many turns a fitter would say that a thread starts, not that it turns.
_STARTS_TURNS = 1.5


def _turns(cross: CrossThread) -> str:
    """Say how far it goes, in words that agree with the figures."""
    least, most = cross.free_turns
    figures = f"{least:.1f} to {most:.1f} turns"
    if most < _STARTS_TURNS:
        return f"starts, {figures}"
    return f"turns {figures}" if least >= 0.5 else f"turns {figures} (a tight pair does not start)"


def _why(cross: CrossThread) -> str:
    parts = []
    if cross.drift_mm_per_turn > 1e-4:
        parts.append(f"the pitches drift {cross.drift_mm_per_turn:.3f} mm a turn")
    if cross.angle_difference_deg > 0.1:
        parts.append(f"the flank angles differ by {cross.angle_difference_deg:g} degrees")
    return " and ".join(parts) or "the diameters close up"


def _by_rule(male: End, female: End, rule: Rule, failure: str = "") -> Mating:
    """Return what a rule says of a pair that it settles by itself."""
    return Mating(
        male=male,
        female=female,
        answer=rule.answer,
        seal=rule.seal,
        rule=rule,
        cross=None,
        failure=failure,
    )


def _mate_hose(male: End, female: End) -> Mating:
    same = male.is_hose and female.is_hose and male.designation == female.designation
    rule = Rule(
        answer="yes" if same else "no",
        seal="hose" if same else "",
        text="A hose goes on a tail of its own bore, with a clamp."
        if same
        else "A hose goes on a tail of its own bore only.",
        source="common practice, no source",
        checked="",
    )
    return _by_rule(male, female, rule, "" if same else rule.text)
