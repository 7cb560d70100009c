"""What is to be joined, and the limits a chain of fittings has to keep."""

from __future__ import annotations

import re

from pitchcam.errors import UsageError
from pitchcam.frozen import dataclass
from pitchcam.joining.mating.ends import End, parse_end
from pitchcam.records import Gender

_SIDED = re.compile(r"^(?P<end>.*?)[ ,]+(?P<gender>male|female)$", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True, slots=True)
class Question:
    """A port, the part to join to it, and what the chain between them has to stand.

    Lengths in mm, None where there is no such limit. ``bore_mm`` is the way that must stay clear
    (a sender's bulb passes through it); ``probe_mm`` the part's length beyond its sealing face,
    ``wall_mm`` the depth from the port's face to the fluid, ``immersion_mm`` how much of the probe
    must reach into the fluid. ``room_mm`` is the free radius around the port's axis,
    ``stand_off_mm`` the most the part's face may stand above the port's face, ``port_depth_mm`` how
    deep a male thread goes into the port before it bottoms. ``one_wire`` is a
    part that earths through its thread. ``part_mass_g`` hangs at the end of the chain.
    ``hose_bar`` and ``hose_c`` are what the hose itself is rated for, None where not known.
    """

    port: End
    part: End
    bore_mm: float = 0.0
    pressure_bar: float | None = None
    temperature_c: float | None = None
    probe_mm: float | None = None
    wall_mm: float = 0.0
    immersion_mm: float = 0.0
    room_mm: float | None = None
    stand_off_mm: float | None = None
    port_depth_mm: float | None = None
    one_wire: bool = False
    part_mass_g: float = 0.0
    hose_bar: float | None = None
    hose_c: float | None = None
    max_pieces: int = 3

    @property
    def most_added_mm(self) -> float | None:
        """The most that the chain may add between the two faces, None where free."""
        limits = [] if self.stand_off_mm is None else [self.stand_off_mm]
        if self.probe_mm is not None:
            limits.append(self.probe_mm - self.wall_mm - self.immersion_mm)
        return min(limits, default=None)


def parse_side(text: str, default: Gender) -> End:
    """Read a port or part: an end as :func:`parse_end` takes it, with male or female if not usual.

    ``hose 10`` is the hose itself here, which goes over a tail; ``tail 10`` is the tail.

    Raises
    ------
    InputError, UsageError
        As :func:`parse_end`.
    """
    words = " ".join(text.split())
    sided = _SIDED.match(words)
    if sided:
        gender: Gender = "external" if sided["gender"].lower() == "male" else "internal"
        return parse_end(sided["end"], gender)
    if words.lower().startswith("hose"):
        return parse_end(words, "internal")
    return parse_end(words, "external" if words.lower().startswith("tail") else default)


def check_question(question: Question) -> None:
    """Refuse limits that no chain can keep.

    Raises
    ------
    UsageError
        Naming the limit that cannot be.
    """
    most = question.most_added_mm
    if most is not None and most < 0.0:
        raise UsageError(
            "the probe is shorter than the port's wall and the immersion wanted together.",
            "Check --probe, --wall and --immersion.",
        )
    if not 1 <= question.max_pieces <= 6:
        raise UsageError("a chain has 1 to 6 pieces;", "more would hang and leak.")
