"""The small frozen records that stages hand to one another, and the JSON contract made of them.

Conventions: lengths in mm, angles in degrees, pixel positions in the photo after its orientation
tag is applied, (x, y) with (0, 0) at the centre of the top-left pixel. ``u`` is the standard
uncertainty (k = 1); people are shown ``value ± 2u``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pitchcam.errors import Exit, InputError
from pitchcam.records.formats import format_of
from pitchcam.records.quantities import (
    MM_PER_INCH,
    NAMING_QUANTITIES,
    BudgetLine,
    Distribution,
    Quantity,
    json_text,
    quantity_json,
    quantity_of,
)
from pitchcam.records.reading import Gender, ThreadReading
from pitchcam.records.verdict import EXIT_OF, Candidate, Status, Verdict, exit_code

__all__ = [
    "EXIT_OF", "FORMAT", "MM_PER_INCH", "NAMING_QUANTITIES", "BudgetLine", "Candidate",
    "Distribution", "Flag", "Gender", "Measurement", "PartPose", "PartResult", "PhotoInfo",
    "Quantity", "ScaleResult", "ScaleSource", "ScaleSpec", "Status", "ThreadPlots",
    "ThreadReading", "ThreadResult", "Verdict", "exit_code", "json_text",
]  # fmt: skip

FORMAT = format_of("measurement")

ScaleSource = Literal["auto", "pin", "disc", "card", "jaws", "major", "sheet", "none"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Flag:
    """A warning: ``code`` of :data:`pitchcam.flags.FLAGS`, what was seen, what to do.

    ``part`` is the id of the part that it is of, None where it is of the whole photo.
    """

    code: str
    message: str
    advice: str
    part: int | None = None

    def to_json(self) -> dict[str, Any]:
        """Return one entry of the contract's ``warnings``."""
        said: dict[str, Any] = {"code": self.code, "message": self.message, "advice": self.advice}
        return said if self.part is None else said | {"part": self.part}

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> Flag:
        """Return the warning of an entry of ``warnings``."""
        return cls(
            code=document["code"], message=document["message"], advice=document["advice"],
            part=document.get("part"),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class ScaleSpec:
    """The reference as the user states it; ``mm`` is its size (diameter, jaw gap, caliper reading).

    ``auto`` looks for the printed sheet. ``height_mm`` overrides the reference's thickness or the
    height of its plane above the plate where the default is not right.
    """

    source: ScaleSource = "auto"
    mm: float | None = None
    height_mm: float | None = None
    sheet_bar_mm: float | None = None
    axis_height_mm: float | None = None
    camera_profile: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ScaleResult:
    """The scale found: at the thread axis of the first part, and the camera's height over it.

    ``box_px`` and ``outline_px`` are for pictures: no part of the document, nor of equality.
    """

    source: str
    mm_per_px: Quantity
    camera_height_mm: Quantity | None = None
    box_px: tuple[float, float, float, float] | None = field(default=None, compare=False)
    outline_px: tuple[tuple[float, float], ...] = field(default=(), compare=False)

    def to_json(self) -> dict[str, Any]:
        """Return the contract's ``scale``."""
        return {
            "source": self.source,
            "mm_per_px": self.mm_per_px.to_json(),
            "camera_height_mm": quantity_json(self.camera_height_mm),
        }

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> ScaleResult:
        """Return the scale of the contract's ``scale``."""
        return cls(
            source=document["source"], mm_per_px=Quantity.from_json(document["mm_per_px"]),
            camera_height_mm=quantity_of(document.get("camera_height_mm")),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class ThreadPlots:
    """Plain lists for pictures and plots of one thread; never used for naming.

    Pixel polylines are in the photo's frame. ``spectrum`` is (periods per mm, amplitude);
    ``folded`` is (position along the axis in pitches 0..1, radius in mm) of measured points;
    ``drift`` is (position along the axis in mm, deviation of the local crest from even spacing
    in µm).
    """

    axis_px: tuple[tuple[float, float], tuple[float, float]]
    edges_px: tuple[tuple[tuple[float, float], ...], ...] = ()
    crests_px: tuple[tuple[float, float], ...] = ()
    flanks_px: tuple[tuple[tuple[float, float], tuple[float, float]], ...] = ()
    spectrum: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())
    folded: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())
    drift: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())


@dataclass(frozen=True, kw_only=True, slots=True)
class PartPose:
    """How a part lies on the plate; a quantity is None where nothing tells it.

    ``inclination_deg`` is that of its axis, positive where it rises from the first to the second
    point of its threads' ``span_px``; ``axis_height_mm`` the height of the axis over the plate in
    the middle of the first thread; ``turn_deg`` a hexagon's turn about the axis, 0 on a flat.
    """

    inclination_deg: Quantity | None = None
    axis_height_mm: Quantity | None = None
    turn_deg: Quantity | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the contract's ``pose``."""
        return {name: quantity_json(getattr(self, name)) for name in _POSE}

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> PartPose:
        """Return the pose of a ``pose``."""
        return cls(**{name: quantity_of(document.get(name)) for name in _POSE})


_POSE = ("inclination_deg", "axis_height_mm", "turn_deg")


@dataclass(frozen=True, kw_only=True, slots=True)
class ThreadResult:
    """One threaded region: its reading, budget and verdict, and how its part lies.

    Readings by hand have neither turns nor a span. ``plots`` are for pictures: no part of the
    document, nor of equality.
    """

    reading: ThreadReading
    half_angles_deg: tuple[Quantity | None, Quantity | None]
    turns: float | None
    span_px: tuple[tuple[float, float], tuple[float, float]] | None
    budget: tuple[BudgetLine, ...]
    verdict: Verdict
    plots: ThreadPlots | None = field(default=None, compare=False)
    pose: PartPose = PartPose()

    def to_json(self) -> dict[str, Any]:
        """Return one entry of the contract's ``threads``."""
        r = self.reading
        return {
            "pitch_mm": quantity_json(r.pitch_mm),
            "tpi": quantity_json(r.tpi),
            "major_mm": quantity_json(r.major_mm),
            "pitch_diameter_mm": quantity_json(r.pitch_diameter_mm),
            "minor_mm": quantity_json(r.minor_mm),
            "angle_deg": quantity_json(r.angle_deg),
            "half_angles_deg": [quantity_json(a) for a in self.half_angles_deg],
            "taper": quantity_json(r.taper),
            "diameter_station_mm": quantity_json(r.diameter_station_mm),
            "correlation": [[*pair, float(c)] for pair, c in r.correlation.items()],
            "gender": r.gender,
            "starts": r.starts,
            "turns": None if self.turns is None else float(self.turns),
            "span_px": None if self.span_px is None else [list(p) for p in self.span_px],
            "pose": self.pose.to_json(),
            "budget": [b.to_json() for b in self.budget],
            "verdict": self.verdict.to_json(),
        }

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> ThreadResult:
        """Return the thread of an entry of ``threads``."""
        turns, span = document.get("turns"), document.get("span_px")
        first, second = document.get("half_angles_deg") or (None, None)
        return cls(
            reading=ThreadReading.from_json(document),
            half_angles_deg=(quantity_of(first), quantity_of(second)),
            turns=None if turns is None else float(turns),
            span_px=None if span is None else _span(span),
            budget=tuple(BudgetLine.from_json(row) for row in document.get("budget") or ()),
            verdict=Verdict.from_json(document["verdict"]),
            pose=PartPose.from_json(document.get("pose") or {}),
        )  # fmt: skip


def _span(points: Any) -> tuple[tuple[float, float], tuple[float, float]]:
    (x0, y0), (x1, y1) = points
    return (float(x0), float(y0)), (float(x1), float(y1))


@dataclass(frozen=True, kw_only=True, slots=True)
class PartResult:
    """One part found in the photo, with its threaded regions; one read by hand has no box."""

    id: int
    box_px: tuple[float, float, float, float] | None
    threads: tuple[ThreadResult, ...] = ()
    outline_px: tuple[tuple[float, float], ...] = field(default=(), compare=False)

    @property
    def pose(self) -> PartPose:
        """How the part lies: by the first of its threads that could be measured."""
        told = (t.pose for t in self.threads if t.pose.inclination_deg is not None)
        return next(told, PartPose())

    def to_json(self) -> dict[str, Any]:
        """Return one entry of the contract's ``parts``."""
        return {
            "id": self.id,
            "box_px": None if self.box_px is None else [float(v) for v in self.box_px],
            "pose": self.pose.to_json(),
            "threads": [t.to_json() for t in self.threads],
        }

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> PartResult:
        """Return the part of an entry of ``parts``; its pose is that of its threads."""
        box = document.get("box_px")
        if box is not None:
            x0, y0, x1, y1 = box
            box = (float(x0), float(y0), float(x1), float(y1))
        threads = tuple(ThreadResult.from_json(t) for t in document.get("threads") or ())
        return cls(id=document["id"], box_px=box, threads=threads)


@dataclass(frozen=True, kw_only=True, slots=True)
class PhotoInfo:
    """Which photo was measured; a file that is no photo has no size."""

    file: str
    sha256: str
    width_px: int | None
    height_px: int | None

    def to_json(self) -> dict[str, Any]:
        """Return the contract's ``photo``."""
        return {
            "file": self.file,
            "sha256": self.sha256,
            "width_px": self.width_px,
            "height_px": self.height_px,
        }

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> PhotoInfo:
        """Return the photo of the contract's ``photo``."""
        return cls(
            file=document["file"], sha256=document["sha256"],
            width_px=document["width_px"], height_px=document["height_px"],
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class Measurement:
    """Everything one photo, or readings by hand, gave; ``to_json`` is what every front end writes.

    Examples
    --------
    >>> from pitchcam.records import Flag, Measurement
    >>> told = Flag(code="no-part", message="no part was found", advice="lay one down")
    >>> measurement = Measurement(photo=None, scale=None, warnings=(told,))
    >>> Measurement.from_json(measurement.to_json()) == measurement
    True
    """

    photo: PhotoInfo | None
    scale: ScaleResult | None
    parts: tuple[PartResult, ...] = ()
    warnings: tuple[Flag, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the whole contract document, ready for :func:`json_text`."""
        return {
            "format": FORMAT,
            "photo": None if self.photo is None else self.photo.to_json(),
            "scale": None if self.scale is None else self.scale.to_json(),
            "parts": [p.to_json() for p in self.parts],
            "warnings": [w.to_json() for w in self.warnings],
        }

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> Measurement:
        """Return the measurement of a document that :meth:`to_json` made; the two are equal.

        Keys that are not known are passed over, and those that older documents lack have the
        records' defaults. What was only drawn (plots, outlines) is in no document.

        Raises
        ------
        InputError
            If it is no such document, or one of a later format.
        """
        try:
            if document.get("format") != FORMAT:
                raise ValueError(f"its format is {document.get('format')!r}, not {FORMAT!r}")
            photo, scale = document["photo"], document["scale"]
            return cls(
                photo=None if photo is None else PhotoInfo.from_json(photo),
                scale=None if scale is None else ScaleResult.from_json(scale),
                parts=tuple(PartResult.from_json(p) for p in document["parts"]),
                warnings=tuple(Flag.from_json(w) for w in document["warnings"]),
            )
        except (AttributeError, KeyError, TypeError, ValueError) as error:
            what = f"{error.args[0]} is missing" if isinstance(error, KeyError) else str(error)
            raise InputError(
                f"this is no measurement that can be read back ({what});",
                "give the whole document that --json printed, or update pitchcam",
            ) from None

    def warnings_of(self, part: int) -> tuple[Flag, ...]:
        """Return the warnings that concern a part: its own first, then the whole photo's."""
        own = tuple(w for w in self.warnings if w.part == part)
        return own + tuple(w for w in self.warnings if w.part is None)

    def rows(self) -> list[dict[str, Any]]:
        """Return one flat row per thread, all of the same columns: for a table or a DataFrame.

        A quantity has two columns, its value and ``u_`` its standard uncertainty (k = 1); what was
        not measured is None.
        """
        from pitchcam.records.rows import thread_rows

        return thread_rows(self)

    @property
    def exit_code(self) -> int:
        """The command line's exit code: the largest of the threads', 4 with no thread."""
        statuses = (t.verdict.status for p in self.parts for t in p.threads)
        return exit_code(statuses, none=Exit.UNREADABLE)
