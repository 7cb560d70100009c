"""What a thread is called, or why it has no name; what each status ends the command line with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Literal

from pitchcam.errors import Exit
from pitchcam.frozen import dataclass

Status = Literal["named", "ambiguous", "off-series", "unreadable"]

#: Every status of a thread, and of a photo without one in a table: ``refused`` (it does not carry
#: the measurement) and ``failed`` (its file cannot be used). The command line ends with the code.
EXIT_OF: Mapping[str, Exit] = {
    "named": Exit.NAMED,
    "ambiguous": Exit.OPEN,
    "off-series": Exit.OPEN,
    "unreadable": Exit.UNREADABLE,
    "refused": Exit.UNREADABLE,
    "failed": Exit.FAILED,
}


def exit_code(statuses: Iterable[str], *, none: Exit) -> int:
    """Return the largest exit code of several statuses, ``none`` where there are none.

    Examples
    --------
    >>> exit_code(["named", "ambiguous"], none=Exit.UNREADABLE)
    3
    """
    return int(max((EXIT_OF[status] for status in statuses), default=none))


@dataclass(frozen=True, kw_only=True, slots=True)
class Candidate:
    """One designation that the reading may be."""

    designation: str
    standard: str
    probability: float

    def to_json(self) -> dict[str, Any]:
        """Return one entry of the contract's ``candidates``."""
        return {
            "designation": self.designation,
            "standard": self.standard,
            "probability": float(self.probability),
        }

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> Candidate:
        """Return the candidate of an entry of ``candidates``."""
        return cls(
            designation=document["designation"],
            standard=document["standard"],
            probability=float(document["probability"]),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """The name of a thread, or why there is none, in the contract's terms."""

    status: Status
    designation: str | None = None
    standard: str | None = None
    probability: float | None = None
    same_geometry: tuple[str, ...] = ()
    candidates: tuple[Candidate, ...] = ()
    next_step: str | None = None
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the contract's ``verdict``."""
        return {
            "status": self.status,
            "designation": self.designation,
            "standard": self.standard,
            "probability": None if self.probability is None else float(self.probability),
            "same_geometry": list(self.same_geometry),
            "candidates": [c.to_json() for c in self.candidates],
            "next_step": self.next_step,
            "notes": list(self.notes),
        }

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> Verdict:
        """Return the verdict of a thread's ``verdict``.

        Raises
        ------
        ValueError
            If its status is none.
        """
        status, probability = document["status"], document.get("probability")
        if status not in ("named", "ambiguous", "off-series", "unreadable"):
            raise ValueError(f"no status: {status!r}")
        return cls(
            status=status,
            designation=document.get("designation"),
            standard=document.get("standard"),
            probability=None if probability is None else float(probability),
            same_geometry=tuple(document.get("same_geometry") or ()),
            candidates=tuple(Candidate.from_json(c) for c in document.get("candidates") or ()),
            next_step=document.get("next_step"),
            notes=tuple(document.get("notes") or ()),
        )
