"""Why nothing in a photo can be measured, with the reason that a person can mend."""

from __future__ import annotations

import numpy as np

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.falls import most_blur
from pitchcam.edges.rims import MOST_DRAWN_PX, Rims
from pitchcam.errors import UnreadableError
from pitchcam.flags import FLAGS
from pitchcam.objects.faint import SKEW
from pitchcam.objects.regions import Region, few_crests
from pitchcam.objects.shapes import Shape, slender
from pitchcam.records import ScaleSpec
from pitchcam.reference_kinds import REFERENCE_KINDS
from pitchcam.thread.moved import MOST_WIDE

#: A blur beyond this share of the pitch fills the roots and rounds the flanks away; one that is
#: wider than the pixels make it does harm earlier (MOST_WIDE).
MOST_BLUR = 0.13
#: Tangent of the angle off the optical axis from which a thread of usual depth begins to hide its
#: grooves (ridges of 30 degrees a side do so wholly at 30).
FAR_OFF = 0.27


def refuse_whole(shapes: list[Shape], rims: Rims, spec: ScaleSpec | None, camera: Camera) -> None:
    """Raise where nothing in the photo can be measured, with the reason that a person can mend.

    ``spec`` is the reference that has to be found, None where the scale is known without.
    """
    spacing = max((r.spacing_px for s in shapes for r in s.threads), default=0.0)
    blur = rims.spread.blur_px if len(rims.edges_px) else 0.0
    if spacing == 0:
        blur = max(blur, most_blur(shapes))
    if blur > MOST_DRAWN_PX and too_blurred(blur, spacing):
        raise UnreadableError(
            f"The outline is out of focus or shaken: edges are blurred over {2.5 * blur:.0f} "
            "pixels.",
            FLAGS["blurred"][1],
            code="blurred",
        )
    kind = None if spec is None else REFERENCE_KINDS.get(spec.source)
    if kind is not None and kind.shape is not None:
        missing = all(s.kind != kind.shape for s in shapes)
        if missing and any(s.lopsided for s in shapes if s.kind == "other" and not s.blob.cut):
            raise UnreadableError(
                f"Two objects touch or overlap: {kind.says} is not seen by itself, and an "
                "object has unlike sides.",
                FLAGS["touching"][1],
                code="touching",
            )
    if spacing > 0:
        return
    barbs = any(s.others for s in shapes)
    # Where barbs are seen whole they are the part, and what is cut lies beside it.
    whole = any(s.others and not s.blob.cut for s in shapes)
    if not whole and any(s.blob.cut for s in shapes if s.kind == "other"):
        raise UnreadableError(
            "A part is cut by the edge of the picture or of the light.", FLAGS["cut"][1], code="cut"
        )
    if any(few_crests(*s.stations) for s in shapes if s.kind == "other" and not s.others):
        raise UnreadableError(
            "Only one or two turns of thread are visible; three are needed.",
            FLAGS["few-turns"][1],
            code="few-turns",
        )
    # Barbs lean; what is even, and seen aslant, may be what is left of ridges.
    unsure = [
        s for s in shapes if s.kind == "other" and not (s.others and all(map(_leans, s.others)))
    ]
    away = max((_off_axis(s, camera) for s in unsure), default=0.0)
    if away > FAR_OFF and (not barbs or any(s.others for s in unsure)):
        degrees = np.degrees(np.arctan(away))
        raise UnreadableError(
            f"No thread shows on a part that lies {degrees:.0f} degrees off the camera's axis: its "
            "ridges may hide each other.",
            FLAGS["slanted"][1],
            code="no-thread",
        )
    what = "only hose barbs or rings were found" if barbs else "no threaded part was found"
    if any(s.others for s in unsure):
        what = "only rings, or a thread that lies aslant, were found"
    raise UnreadableError(
        f"There is no thread to measure: {what}.", FLAGS["no-thread"][1], code="no-thread"
    )


def _leans(region: Region) -> bool:
    return abs(region.skew) >= SKEW


def _off_axis(shape: Shape, camera: Camera) -> float:
    """Return the tangent of the angle between the view of an object and the optical axis.

    Of a slender one its axis is known: only along it do ridges hide each other.
    """
    away = shape.outline_px.mean(axis=0) - camera.centre_px
    if slender(shape.stations):
        away = np.atleast_1d(away @ np.array(shape.axis.direction))
    return float(np.linalg.norm(away)) / camera.f_px


def too_blurred(blur_px: float, pitch_px: float) -> bool:
    """Return whether a thread's flanks are lost in the blur."""
    return blur_px > (MOST_WIDE if blur_px > MOST_DRAWN_PX else MOST_BLUR) * pitch_px
