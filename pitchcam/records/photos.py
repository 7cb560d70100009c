"""Which photos a measurement is of, and the scale that each gave."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Any

from pitchcam.frozen import dataclass
from pitchcam.records.quantities import Quantity, quantity_json, quantity_of

if TYPE_CHECKING:
    from pitchcam.records import Measurement

#: The two ends of a thread's axis in a photo.
Span = tuple[tuple[float, float], tuple[float, float]]
#: Left, top, right and bottom of an object in a photo.
Box = tuple[float, float, float, float]


def span_of(points: Any) -> Span | None:
    """Return a span of the contract, None for null."""
    if points is None:
        return None
    (x0, y0), (x1, y1) = points
    return (float(x0), float(y0)), (float(x1), float(y1))


def box_of(box: Any) -> Box | None:
    """Return a box of the contract, None for null."""
    if box is None:
        return None
    x0, y0, x1, y1 = box
    return float(x0), float(y0), float(x1), float(y1)


@dataclass(frozen=True, kw_only=True, slots=True)
class ScaleResult:
    """The scale found: at the thread axis of the first part, and the camera's height over it.

    ``mm_per_px`` is None where no reference was stated (source ``none``).

    ``stated_mm`` is the reference's size as it was stated, ``focal_px`` the focal length,
    ``lens_photos`` how many other photos told of the lens.
    ``box_px`` and ``outline_px`` are for pictures: no part of the document, nor of equality.
    """

    source: str
    mm_per_px: Quantity | None
    camera_height_mm: Quantity | None = None
    stated_mm: float | None = None
    focal_px: Quantity | None = None
    lens_photos: int | None = None
    box_px: Box | None = field(default=None, compare=False)
    outline_px: tuple[tuple[float, float], ...] = field(default=(), compare=False)

    def to_json(self) -> dict[str, Any]:
        """Return the contract's ``scale``."""
        return {
            "source": self.source,
            "mm_per_px": quantity_json(self.mm_per_px),
            "camera_height_mm": quantity_json(self.camera_height_mm),
            "stated_mm": self.stated_mm,
            "focal_px": quantity_json(self.focal_px),
            "lens_photos": self.lens_photos,
        }

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> ScaleResult:
        """Return the scale of the contract's ``scale``."""
        return cls(
            source=document["source"],
            mm_per_px=quantity_of(document["mm_per_px"]),
            camera_height_mm=quantity_of(document.get("camera_height_mm")),
            stated_mm=document.get("stated_mm"),
            focal_px=quantity_of(document.get("focal_px")),
            lens_photos=document.get("lens_photos"),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class PhotoInfo:
    """Which photo was measured; a file that is no photo has no size.

    ``lens`` tells lenses of different focal length or picture size apart.
    """

    file: str
    sha256: str
    width_px: int | None
    height_px: int | None
    lens: str = ""

    def to_json(self) -> dict[str, Any]:
        """Return the contract's ``photo``."""
        return {
            "file": self.file,
            "sha256": self.sha256,
            "width_px": self.width_px,
            "height_px": self.height_px,
            "lens": self.lens,
        }

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> PhotoInfo:
        """Return the photo of the contract's ``photo``."""
        return cls(
            file=document["file"],
            sha256=document["sha256"],
            width_px=document["width_px"],
            height_px=document["height_px"],
            lens=document.get("lens") or "",
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class PhotoUse:
    """One of several photos that were adjusted together, and what became of it.

    ``left_out`` says why a photo does not count in the answer, None where it does. ``alone`` is
    what the photo gave by itself, None where it gave nothing; it is for pictures: no part of the
    document, nor of equality.
    """

    info: PhotoInfo
    scale: ScaleResult | None = None
    left_out: str | None = None
    alone: Measurement | None = field(default=None, compare=False)

    def to_json(self) -> dict[str, Any]:
        """Return one entry of the contract's ``photos``."""
        return self.info.to_json() | {
            "scale": None if self.scale is None else self.scale.to_json(),
            "left_out": self.left_out,
        }

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> PhotoUse:
        """Return the photo of an entry of ``photos``."""
        scale = document.get("scale")
        return cls(
            info=PhotoInfo.from_json(document),
            left_out=document.get("left_out"),
            scale=None if scale is None else ScaleResult.from_json(scale),
        )
