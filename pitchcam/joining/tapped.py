"""What joins without a flame: plugs that can be drilled and tapped for the part, or the stock."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from pitchcam.errors import UsageError
from pitchcam.frozen import dataclass
from pitchcam.joining.bolting.tightening import UNKNOWN, Piece, Tightening, tightening
from pitchcam.joining.brazing.donors import end_lengths
from pitchcam.joining.brazing.refuse import plating_row
from pitchcam.joining.chains.adapt import adapt
from pitchcam.joining.chains.chain import fitting_allowed, joint_demerits
from pitchcam.joining.chains.question import Question
from pitchcam.joining.mating.ends import End, opposite, profile_of
from pitchcam.joining.mating.mate import mate
from pitchcam.joining.metals import metal
from pitchcam.joining.practice import practice
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.series import find
from pitchcam.series.drills import METRIC, TapDrill, tapping_drill

#: Threads beyond the useful ones that a bottoming tap leaves unfinished (common practice, no
#: source).
_RUN_OUT = 2.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Tapped:
    """A plug to be drilled and tapped; lengths in mm, ``way_mm`` the bore on through its thread.

    ``made_up`` is how port and part are tightened in it.
    """

    plug: Fitting
    thread: End
    drill: TapDrill
    depth_mm: float
    way_mm: float
    made_up: tuple[Tightening, Tightening]

    @property
    def text(self) -> str:
        """The work in one line."""
        return (
            f"{self.plug.text}: drill {self.drill.drill.name} and tap {self.thread.designation} "
            f"{self.depth_mm:.1f} deep in its head, {self.way_mm:g} mm on through, face the head "
            "square"
        )

    @property
    def offer(self) -> str:
        """What stands beside a plan that needs a flame."""
        return f"No flame needed: {self.text}"


def flame_free(question: Question, stock: Sequence[Fitting]) -> tuple[str, ...]:
    """Return how the stock joins them without a flame, for people; nothing where it cannot."""
    chains = adapt(question, stock, best=1)
    if not chains:
        return tuple(t.offer for t in tapped_plugs(question, stock)[:1])
    links = " + ".join(link.fitting.id for link in chains[0].links)
    return (f"Stock joins them unbrazed: {links or 'they mate directly'}",)


def tapped_plugs(question: Question, stock: Sequence[Fitting]) -> tuple[Tapped, ...]:
    """Return the plugs that seal in the port and have metal for the part's thread, best first.

    The best has the thickest wall around the new thread. A fitting of plating that is or may be
    cadmium is left out: its chips are poison too.
    """
    part = question.part
    if part.is_hose or part.gender == "internal" or "-" in part.family:
        return ()
    thread = opposite(part)
    try:
        drill = tapping_drill(find(thread.designation), METRIC)
    except UsageError:
        return ()
    found = [t for f in stock for t in (_tapped(question, f, thread, drill),) if t is not None]
    return tuple(sorted(found, key=lambda t: (-(t.plug.hex_mm or 0.0), t.plug.id)))


def _tapped(question: Question, f: Fitting, thread: End, drill: TapDrill) -> Tapped | None:
    keep = f.end_a if f.end_b is None else f.end_b if f.end_a is None else None
    made_of = metal(f.material)
    if keep is None or f.count < 1 or f.hex_mm is None or made_of is None or f.bore_mm > 0.0:
        return None
    row = plating_row(f.plating) if f.plating.strip() else None
    if f.plating.strip() and (row is None or row["kind"] == "cadmium"):
        return None
    if joint_demerits(keep, question.port, question) != 0 or keep.gender == "internal":
        return None
    way = question.bore_mm or practice("way")
    if not _limits_kept(question, f, keep, way):
        return None
    stated = f.thread_a_mm if f.end_b is None else f.thread_b_mm
    size = find(thread.designation)
    depth = math.ceil(2.0 * profile_of(thread).engagement_mm) / 2.0
    head = f.length_mm - end_lengths(keep, stated)[0]
    root = find(keep.designation).basic_minor_mm
    wall = (f.hex_mm - size.basic_major_mm) / 2.0
    least = practice("wall_min")
    if wall < least or (root - way) / 2.0 < least or head < depth + _RUN_OUT * size.pitch_mm:
        return None
    bar = practice("proof") * (question.pressure_bar or 0.0)
    male = Piece(metal=made_of, bore_mm=way)
    female = Piece(metal=made_of, hex_mm=f.hex_mm)
    made_up = (
        tightening(mate(keep, question.port), male, UNKNOWN, pressure_bar=bar),
        tightening(mate(question.part, thread), UNKNOWN, female, pressure_bar=bar),
    )
    if any(t.fault for t in made_up):
        return None
    return Tapped(plug=f, thread=thread, drill=drill, depth_mm=depth, way_mm=way, made_up=made_up)


def _limits_kept(question: Question, f: Fitting, keep: End, way_mm: float) -> bool:
    """Whether the plug keeps the question's limits once it has a way through."""
    return fitting_allowed(replace(f, end_a=keep, end_b=keep, bore_mm=way_mm), question)
