"""The whole way from two names to the join, with the names' probabilities carried through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pitchcam.errors import PitchcamError, RefusedError, UsageError
from pitchcam.frozen import dataclass
from pitchcam.joining.brazing.choose import choose_donors
from pitchcam.joining.brazing.plan import Duty, JoinPlan
from pitchcam.joining.chains.adapt import adapt, what_stands_in_the_way
from pitchcam.joining.chains.chain import Chain
from pitchcam.joining.chains.orders import Missing, missing
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.mating.ends import End, base_family, opposite, parse_end
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.joining.tapped import Tapped, tapped_plugs
from pitchcam.records import Gender, Verdict
from pitchcam.series import find

#: Names under one in a hundred are not planned for: naming itself promises no more.
_LEAST_PROBABILITY = 0.01
#: A page holds so many ways; less probable ones are counted and not shown.
_MOST_WAYS = 8


@dataclass(frozen=True, kw_only=True, slots=True)
class SideName:
    """One name that a side may have: its end, with the probability and where it came from."""

    end: End
    probability: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Side:
    """The port's or the part's names, most probable first, and what would settle them.

    ``probability`` is that of the one name that was measured, which may stand for several ends,
    None of several names and of a typed one; ``left_open`` says that measuring left this one
    candidate, and gave no name.
    """

    role: str
    origin: str
    names: tuple[SideName, ...]
    twins: tuple[str, ...] = ()
    next_step: str = ""
    probability: float | None = None
    left_open: bool = False

    @property
    def certain(self) -> bool:
        """Whether there is one name only, and nothing that speaks against it."""
        return len(self.names) == 1 and not self.left_open


@dataclass(frozen=True, kw_only=True, slots=True)
class Way:
    """The join under one pair of names; chain, made adapter or neither, and what is lacking."""

    question: Question
    probability: float
    chain: Chain | None
    made: JoinPlan | None
    lacking: Missing | None
    hindrances: tuple[tuple[str, Chain], ...]
    no_made: str
    tapped: Tapped | None = None

    @property
    def what(self) -> str:
        """The join in a few words; equal words are equal work."""
        if self.chain is not None:
            ids = " + ".join(link.fitting.id for link in self.chain.links)
            return f"from stock: {ids}" if ids else "they mate directly"
        if self.made is not None:
            return "made of " + " + ".join(d.fitting.id for d in self.made.donors)
        return f"buy {self.lacking.buy}" if self.lacking is not None else "nothing joins them"


@dataclass(frozen=True, kw_only=True, slots=True)
class Job:
    """The whole job; ``ways`` are most probable first, ``left_out`` the probability not shown."""

    port: Side
    part: Side
    ways: tuple[Way, ...]
    left_out: float

    @property
    def settled(self) -> bool:
        """Whether the work is the same under every name that may be.

        A name that was left open without another beside it may be any other.
        """
        alone = self.port.left_open or self.part.left_open
        return not alone and len({way.what for way in self.ways}) == 1


def named_side(role: str, text: str, default: Gender) -> Side:
    """Return the side of a typed name.

    Raises
    ------
    PitchcamError
        If the name is none.
    """
    end = parse_side(text, default)
    return Side(role=role, origin="as typed", names=(SideName(end=end, probability=1.0),))


def measured_side(role: str, origin: str, verdict: Verdict, gender: Gender, wanted: Gender) -> Side:
    """Return the side of a measured thread.

    Parameters
    ----------
    role, origin
        ``port`` or ``part``, and what was measured, for the page.
    verdict
        The thread's verdict: named or ambiguous.
    gender
        Gender of what was measured: internal for a cast.
    wanted
        Gender of the side: where it is the other one, the measured thread is the old part out of
        the port, and the side is what that part is made for.

    Raises
    ------
    UsageError
        If the verdict names nothing.
    """
    found = [(c.designation, c.probability) for c in verdict.candidates]
    if not found and verdict.designation is not None:
        found = [(verdict.designation, verdict.probability or 1.0)]
    if verdict.status == "named":
        found = [pair for pair in found if pair[0] == verdict.designation]
    likely = [(name, p) for name, p in found if p >= _LEAST_PROBABILITY]
    if verdict.status not in ("named", "ambiguous") or not likely:
        raise UsageError(
            f"the {role} has no name yet ({verdict.status}).",
            verdict.next_step or "Measure it first: pitchcam identify or lookup.",
        )
    total = sum(p for _, p in likely)
    names = [
        SideName(end=end, probability=p / total / len(ends))
        for name, p in likely
        for ends in [_ends(name, gender, wanted)]
        for end in ends
    ]
    return Side(
        role=role,
        origin=origin,
        names=tuple(names),
        twins=verdict.same_geometry,
        next_step=verdict.next_step or "",
        probability=likely[0][1] if len(likely) == 1 else None,
        left_open=len(likely) == 1 and verdict.status != "named",
    )


def _ends(name: str, gender: Gender, wanted: Gender) -> tuple[End, ...]:
    """Return the ends a measured name stands for; an R plug may come out of Rc or of Rp."""
    if gender not in find(name).genders:
        gender = find(name).genders[0]
    end = parse_end(name, gender)
    if gender == wanted:
        return (end,)
    other = opposite(end)
    if base_family(name) == "R":
        return other, parse_end("Rp" + name[1:], "internal")
    return (other,)


def plan_job(
    port: Side, part: Side, limits: Question, stock: Sequence[Fitting], duty: Duty | None
) -> Job:
    """Plan the join under every likely pair of names.

    Parameters
    ----------
    port, part
        The two sides with their names.
    limits
        A question whose limits hold for every pair; its ends are not looked at.
    stock
        The shop's stock.
    duty
        What a made adapter must stand; None where none is to be made.

    Raises
    ------
    RefusedError
        If a made adapter is asked for a service that it must not be made for.
    """
    pairs = sorted(
        ((a, b) for a in port.names for b in part.names),
        key=lambda pair: -pair[0].probability * pair[1].probability,
    )
    shown = pairs[:_MOST_WAYS]
    ways = tuple(
        _way(replace(limits, port=a.end, part=b.end), a.probability * b.probability, stock, duty)
        for a, b in shown
    )
    return Job(
        port=port, part=part, ways=ways, left_out=max(0.0, 1.0 - sum(w.probability for w in ways))
    )


def _way(
    question: Question, probability: float, stock: Sequence[Fitting], duty: Duty | None
) -> Way:
    chains = adapt(question, stock, best=1)
    chain = chains[0] if chains else None
    made, why_not = (None, "") if chain is not None else _made(question, stock, duty)
    return Way(
        question=question,
        probability=probability,
        chain=chain,
        made=made,
        lacking=missing(question, stock, chains),
        no_made=why_not,
        hindrances=() if chain is not None else what_stands_in_the_way(question, stock),
        tapped=None if chain is not None else next(iter(tapped_plugs(question, stock)), None),
    )


def _made(
    question: Question, stock: Sequence[Fitting], duty: Duty | None
) -> tuple[JoinPlan | None, str]:
    """Return the made adapter, or why there is none."""
    if duty is None:
        return None, "state --service to plan a made adapter"
    free = replace(question, pressure_bar=None, temperature_c=None)
    try:
        return choose_donors(free, stock, duty), ""
    except RefusedError as error:
        return None, str(error)
    except PitchcamError as error:
        return None, str(error)
