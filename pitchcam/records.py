"""The small frozen records that stages hand to one another, and the JSON contract made of them.

Conventions: lengths in mm, angles in degrees, pixel positions in the photo after its orientation
tag is applied, (x, y) with (0, 0) at the centre of the top-left pixel. ``u`` is the standard
uncertainty (k = 1); people are shown ``value ± 2u``.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

FORMAT = "pitchcam.measurement/1"
MM_PER_INCH = 25.4

Distribution = Literal["normal", "rectangular", "t"]
Gender = Literal["external", "internal"]
Status = Literal["named", "ambiguous", "off-series", "unreadable"]
ScaleSource = Literal["auto", "pin", "disc", "card", "jaws", "major", "sheet", "none"]


def json_text(document: Any, *, indent: int | None = None, sort_keys: bool = False) -> str:
    """Return a document as strict JSON (RFC 8259): the only way in which pitchcam writes JSON.

    Raises
    ------
    ValueError
        If it holds NaN or an infinity, which JSON has no words for.
    """
    return json.dumps(document, indent=indent, sort_keys=sort_keys, allow_nan=False)


#: The measured quantities that naming uses, in the order of every covariance matrix.
NAMING_QUANTITIES = (
    "pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg", "taper",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class Quantity:
    """A value with its standard uncertainty (k = 1), in the unit its field name carries.

    Raises
    ------
    ValueError
        If either is no finite number, or the uncertainty is negative: what could not be measured
        is absent, never a quantity.
    """

    value: float
    u: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0.0):
            raise ValueError(f"no quantity: value {self.value}, u {self.u}")

    def to_json(self) -> dict[str, float]:
        """Return the contract's ``{"value", "u"}``."""
        return {"value": float(self.value), "u": float(self.u)}


@dataclass(frozen=True, kw_only=True, slots=True)
class BudgetLine:
    """One term of the uncertainty budget: what its input contributes to each quantity.

    ``contributions`` are signed standard uncertainties (k = 1, sensitivity coefficient times the
    input's u). ``kind`` is the type of evaluation and ``distribution`` what the input's u was taken
    from (JCGM 100, 4.2 and 4.3), ``degrees_of_freedom`` how well it is known (infinite: exactly).
    Within a ``correlated`` line one input moves all quantities together; otherwise each has its
    own. ``of_scale`` says that the term makes the scale itself wrong.

    A quantity that was not measured has no contribution.

    Raises
    ------
    ValueError
        If a contribution is no finite number.
    """

    source: str
    contributions: Mapping[str, float]
    kind: Literal["A", "B"] = "B"
    correlated: bool = True
    of_scale: bool = False
    distribution: Distribution = "normal"
    degrees_of_freedom: float = float("inf")

    def __post_init__(self) -> None:
        for name, share in self.contributions.items():
            if not math.isfinite(share):
                raise ValueError(f"no contribution of {self.source} to {name}: {share}")

    def to_json(self) -> dict[str, Any]:
        """Return one row of the contract's ``budget``; infinite degrees of freedom as null."""
        freedom = self.degrees_of_freedom
        return {
            "source": self.source,
            "kind": self.kind,
            "correlated": self.correlated,
            "of_scale": self.of_scale,
            "distribution": self.distribution,
            "degrees_of_freedom": float(freedom) if math.isfinite(freedom) else None,
        } | {k: float(v) for k, v in self.contributions.items()}


@dataclass(frozen=True, kw_only=True, slots=True)
class ThreadReading:
    """What was read of one thread, by photo, cast, caliper or gauge; ``None`` where not read.

    On a tapered thread the diameters are those at the large end of the measured thread, and
    ``diameter_station_mm`` is the distance of that station from the small end face. For a caliper
    reading at the small end it is 0. ``correlation`` holds the correlation coefficients between
    pairs of NAMING_QUANTITIES (names in that order); absent pairs are uncorrelated. The scale's
    error, for instance, moves pitch and diameters together.
    """

    gender: Gender = "external"
    pitch_mm: Quantity | None = None
    major_mm: Quantity | None = None
    pitch_diameter_mm: Quantity | None = None
    minor_mm: Quantity | None = None
    angle_deg: Quantity | None = None
    taper: Quantity | None = None
    diameter_station_mm: Quantity | None = None
    starts: int = 1
    correlation: Mapping[tuple[str, str], float] = field(default_factory=dict)


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


@dataclass(frozen=True, kw_only=True, slots=True)
class Flag:
    """A warning: ``code`` of :data:`pitchcam.flags.FLAGS`, what was seen, what to do."""

    code: str
    message: str
    advice: str

    def to_json(self) -> dict[str, str]:
        """Return one entry of the contract's ``warnings``."""
        return {"code": self.code, "message": self.message, "advice": self.advice}


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
    """The scale found: at the thread axis of the first part, and the camera's height over it."""

    source: str
    mm_per_px: Quantity
    camera_height_mm: Quantity | None = None
    box_px: tuple[float, float, float, float] | None = None
    outline_px: tuple[tuple[float, float], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the contract's ``scale``."""
        height = self.camera_height_mm
        return {
            "source": self.source,
            "mm_per_px": self.mm_per_px.to_json(),
            "camera_height_mm": None if height is None else height.to_json(),
        }


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
        return {
            name: None if q is None else q.to_json()
            for name, q in (
                ("inclination_deg", self.inclination_deg),
                ("axis_height_mm", self.axis_height_mm), ("turn_deg", self.turn_deg),
            )
        }  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class ThreadResult:
    """One threaded region: its reading, budget and verdict, and how its part lies."""

    reading: ThreadReading
    half_angles_deg: tuple[Quantity | None, Quantity | None]
    turns: float
    span_px: tuple[tuple[float, float], tuple[float, float]]
    budget: tuple[BudgetLine, ...]
    verdict: Verdict
    plots: ThreadPlots | None = None
    pose: PartPose = PartPose()

    def to_json(self) -> dict[str, Any]:
        """Return one entry of the contract's ``threads``."""
        r = self.reading

        def q(x: Quantity | None) -> dict[str, float] | None:
            return None if x is None else x.to_json()

        tpi = None
        if r.pitch_mm is not None:
            n = MM_PER_INCH / r.pitch_mm.value
            tpi = {"value": n, "u": n * r.pitch_mm.u / r.pitch_mm.value}
        return {
            "pitch_mm": q(r.pitch_mm),
            "tpi": tpi,
            "major_mm": q(r.major_mm),
            "pitch_diameter_mm": q(r.pitch_diameter_mm),
            "minor_mm": q(r.minor_mm),
            "angle_deg": q(r.angle_deg),
            "half_angles_deg": [q(a) for a in self.half_angles_deg],
            "taper": q(r.taper),
            "diameter_station_mm": q(r.diameter_station_mm),
            "gender": r.gender,
            "starts": r.starts,
            "turns": float(self.turns),
            "span_px": [list(p) for p in self.span_px],
            "budget": [b.to_json() for b in self.budget],
            "verdict": self.verdict.to_json(),
        }


@dataclass(frozen=True, kw_only=True, slots=True)
class PartResult:
    """One part found in the photo, with its threaded regions."""

    id: int
    box_px: tuple[float, float, float, float]
    threads: tuple[ThreadResult, ...] = ()
    outline_px: tuple[tuple[float, float], ...] = ()

    @property
    def pose(self) -> PartPose:
        """How the part lies: by the first of its threads that could be measured."""
        told = (t.pose for t in self.threads if t.pose.inclination_deg is not None)
        return next(told, PartPose())

    def to_json(self) -> dict[str, Any]:
        """Return one entry of the contract's ``parts``."""
        return {
            "id": self.id,
            "box_px": [float(v) for v in self.box_px],
            "pose": self.pose.to_json(),
            "threads": [t.to_json() for t in self.threads],
        }


@dataclass(frozen=True, kw_only=True, slots=True)
class PhotoInfo:
    """Which photo was measured."""

    file: str
    sha256: str
    width_px: int
    height_px: int

    def to_json(self) -> dict[str, Any]:
        """Return the contract's ``photo``."""
        return {
            "file": self.file,
            "sha256": self.sha256,
            "width_px": self.width_px,
            "height_px": self.height_px,
        }


@dataclass(frozen=True, kw_only=True, slots=True)
class Measurement:
    """Everything one photo gave; ``to_json`` is what every front end writes."""

    photo: PhotoInfo
    scale: ScaleResult | None
    parts: tuple[PartResult, ...] = ()
    warnings: tuple[Flag, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the whole contract document, ready for ``json.dumps``."""
        return {
            "format": FORMAT,
            "photo": self.photo.to_json(),
            "scale": None if self.scale is None else self.scale.to_json(),
            "parts": [p.to_json() for p in self.parts],
            "warnings": [w.to_json() for w in self.warnings],
        }

    @property
    def exit_code(self) -> int:
        """The command line's exit code: the largest of the threads', 4 with no thread."""
        codes = {"named": 0, "ambiguous": 3, "off-series": 3, "unreadable": 4}
        return max(
            (codes[t.verdict.status] for p in self.parts for t in p.threads), default=4
        )
