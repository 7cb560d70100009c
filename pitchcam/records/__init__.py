"""The small frozen records that stages hand to one another, and the JSON contract made of them.

Conventions: lengths in mm, angles in degrees, pixel positions in the photo after its orientation
tag is applied, (x, y) with (0, 0) at the centre of the top-left pixel. ``u`` is the standard
uncertainty (k = 1); people are shown ``value ± 2u``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field
from typing import Any, Literal

from pitchcam.errors import Exit, InputError
from pitchcam.frozen import dataclass
from pitchcam.records.formats import format_of
from pitchcam.records.photos import Box, PhotoInfo, PhotoUse, ScaleResult, Span, box_of, span_of
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
from pitchcam.records.reading import Gender, ThreadRatios, ThreadReading
from pitchcam.records.verdict import EXIT_OF, Candidate, Status, Verdict, exit_code

__all__ = [
    "EXIT_OF",
    "FORMAT",
    "MM_PER_INCH",
    "NAMING_QUANTITIES",
    "STATED_SIZE",
    "Box",
    "BudgetLine",
    "Candidate",
    "Distribution",
    "Flag",
    "Gender",
    "Measurement",
    "PartPose",
    "PartResult",
    "PhotoInfo",
    "PhotoUse",
    "Quantity",
    "ScaleResult",
    "ScaleSource",
    "ScaleSpec",
    "Span",
    "Status",
    "ThreadPlots",
    "ThreadRatios",
    "ThreadReading",
    "ThreadResult",
    "Verdict",
    "exit_code",
    "json_text",
    "u_as_stated",
    "u_stated",
]

FORMAT = format_of("measurement")
#: The line of a budget by which the reference may be of another size than was stated.
STATED_SIZE = "stated size"

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
            code=document["code"],
            message=document["message"],
            advice=document["advice"],
            part=document.get("part"),
        )


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

    ``taper_sign`` is 1 where the diameter grows from the first to the second point of ``span_px``,
    -1 where it falls; the reading's taper has no sign. Where several photos were adjusted together,
    ``spans_px`` has one span per photo, None where the photo does not show the thread. ``in_step``
    is the probability that both sides are in step all the same, as those of rings are, and
    ``no_thread`` that it is none by its outline; 0 below 0.005.

    Readings by hand have neither turns nor a span. ``ratios`` stand for the lengths where the
    photo has no scale. ``plots`` are for pictures: no part of the
    document, nor of equality.
    """

    reading: ThreadReading
    half_angles_deg: tuple[Quantity | None, Quantity | None]
    turns: float | None
    span_px: Span | None
    budget: tuple[BudgetLine, ...]
    verdict: Verdict
    plots: ThreadPlots | None = field(default=None, compare=False)
    pose: PartPose = PartPose()
    taper_sign: int = 1
    in_step: float = 0.0
    no_thread: float = 0.0
    spans_px: tuple[Span | None, ...] = ()
    ratios: ThreadRatios | None = None

    def to_json(self) -> dict[str, Any]:
        """Return one entry of the contract's ``threads``."""
        r = self.reading
        several = [None if s is None else [list(p) for p in s] for s in self.spans_px]
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
            "ratios": None if self.ratios is None else self.ratios.to_json(),
            "correlation": [[*pair, float(c)] for pair, c in r.correlation.items()],
            "gender": r.gender,
            "starts": r.starts,
            "turns": None if self.turns is None else float(self.turns),
            "span_px": None if self.span_px is None else [list(p) for p in self.span_px],
            "taper_sign": self.taper_sign,
            "pose": self.pose.to_json(),
            "budget": [b.to_json() for b in self.budget],
            "verdict": self.verdict.to_json(),
        } | _told(
            spans_px=several,
            in_step=float(self.in_step),
            no_thread=float(self.no_thread),
            forms={k: float(v) for k, v in r.forms.items()},
        )

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> ThreadResult:
        """Return the thread of an entry of ``threads``."""
        turns = document.get("turns")
        ratios = document.get("ratios")
        first, second = document.get("half_angles_deg") or (None, None)
        return cls(
            reading=ThreadReading.from_json(document),
            half_angles_deg=(quantity_of(first), quantity_of(second)),
            turns=None if turns is None else float(turns),
            span_px=span_of(document.get("span_px")),
            budget=tuple(BudgetLine.from_json(row) for row in document.get("budget") or ()),
            verdict=Verdict.from_json(document["verdict"]),
            pose=PartPose.from_json(document.get("pose") or {}),
            taper_sign=document.get("taper_sign") or 1,
            in_step=document.get("in_step") or 0.0,
            no_thread=document.get("no_thread") or 0.0,
            spans_px=tuple(span_of(s) for s in document.get("spans_px") or ()),
            ratios=None if ratios is None else ThreadRatios.from_json(ratios),
        )


def u_stated(thread: ThreadResult) -> float:
    """Return what a doubted reference leaves of a thread's lengths, as a share of them; 0: none."""
    pitch = thread.reading.pitch_mm
    lines = [line.contributions for line in thread.budget if line.source == STATED_SIZE]
    shares = [line.get("pitch_mm", 0.0) for line in lines]
    return 0.0 if pitch is None else math.hypot(*shares) / pitch.value


def u_as_stated(length: Quantity, share: float) -> float:
    """Return a length's u without what a doubted reference leaves of it, :func:`u_stated`."""
    return math.sqrt(max(length.u**2 - (share * length.value) ** 2, 0.0))


@dataclass(frozen=True, kw_only=True, slots=True)
class PartResult:
    """One part found in the photo, with its threaded regions; one read by hand has no box.

    Where several photos were adjusted together, ``boxes_px`` has one box per photo, None where the
    photo does not show the part.
    """

    id: int
    box_px: Box | None
    threads: tuple[ThreadResult, ...] = ()
    outline_px: tuple[tuple[float, float], ...] = field(default=(), compare=False)
    boxes_px: tuple[Box | None, ...] = ()

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
        } | ({"boxes_px": [b and list(b) for b in self.boxes_px]} if self.boxes_px else {})

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> PartResult:
        """Return the part of an entry of ``parts``; its pose is that of its threads."""
        threads = tuple(ThreadResult.from_json(t) for t in document.get("threads") or ())
        return cls(
            id=document["id"],
            box_px=box_of(document.get("box_px")),
            threads=threads,
            boxes_px=tuple(box_of(b) for b in document.get("boxes_px") or ()),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Measurement:
    """Everything one photo, or readings by hand, gave; ``to_json`` is what every front end writes.

    Where several photos of one part were adjusted together, ``photos`` has them all, and ``photo``
    and ``scale`` are those of the first that counts.

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
    photos: tuple[PhotoUse, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the whole contract document, ready for :func:`json_text`."""
        return {
            "format": FORMAT,
            **self._of_photos(),
            "scale": None if self.scale is None else self.scale.to_json(),
            "parts": [p.to_json() for p in self.parts],
            "warnings": [w.to_json() for w in self.warnings],
        }

    def _of_photos(self) -> dict[str, Any]:
        if self.photos:
            return {"photos": [p.to_json() for p in self.photos]}
        return {"photo": None if self.photo is None else self.photo.to_json()}

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
            scale = document["scale"]
            photos = tuple(PhotoUse.from_json(p) for p in document.get("photos") or ())
            return cls(
                photo=_first(photos) if photos else _photo(document["photo"]),
                photos=photos,
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


def _told(**optional: Any) -> dict[str, Any]:
    """Return the keys that have something to say."""
    return {key: value for key, value in optional.items() if value}


def _photo(document: Any) -> PhotoInfo | None:
    return None if document is None else PhotoInfo.from_json(document)


def _first(photos: tuple[PhotoUse, ...]) -> PhotoInfo:
    """Return the first photo that counts, or the first."""
    return next((p.info for p in photos if p.left_out is None), photos[0].info)
