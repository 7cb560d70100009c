"""Finds the stated reference among a photo's objects."""

from __future__ import annotations

import importlib
from collections.abc import Sequence

import numpy as np

from pitchcam.camera.pinhole import Camera
from pitchcam.errors import UnreadableError, UsageError
from pitchcam.flags import FLAGS
from pitchcam.objects.shapes import Points, Shape
from pitchcam.records import ScaleSpec
from pitchcam.reference_kinds import REFERENCE_KINDS, ReferenceKind
from pitchcam.scale.reference import Among, Edges, Finder, Reference

#: Distances of a phone from the plate that can be: macro lenses focus from 50 mm, and beyond a
#: metre a thread has no pixels left.
DISTANCES_MM = (50.0, 1200.0)

#: Heights over the plate that a reference's plane can have, with room for what is not known of it:
#: a pin of 60 mm lies with its axis at 30. Where dirt on a jaw is taken for its wall, the height
#: that its light tells runs away; that of a disc 228 mm below a phone 3.7 degrees aslant came out
#: at -3.6 mm with its scale right.
HEIGHTS_MM = (-6.0, 45.0)

#: Share of a pin's length at either end that its edges are not taken from: there the border may cut
#: it.
AT_END = 0.12

#: What stands out of a pin's side by more, beyond its blur and noise, is another object's.
BULGE_PX = 2.5
CUT_ADVICE = "lay the reference whole into the lit window, a finger's width from its border, retake"


def check_spec(spec: ScaleSpec) -> None:
    """Refuse a stated size that no such reference has.

    Raises
    ------
    UsageError
        If a size is missing, not positive, or far from anything usable.
    """
    kind = REFERENCE_KINDS.get(spec.source)
    if kind is None or kind.limits_mm is None:
        return
    low, high = kind.limits_mm
    if spec.mm is None or not np.isfinite(spec.mm):
        raise UsageError(f"The size of {spec.source} is missing.", "State it in mm.")
    if not low <= spec.mm <= high:
        raise UsageError(
            f"A {spec.source} of {spec.mm:g} mm cannot be right ({low:g} to {high:g} mm).",
            "State its size in mm; write inches as 0.25in.",
        )


def find_reference(
    spec: ScaleSpec, shapes: Sequence[Shape], camera: Camera, pins: Edges
) -> Reference:
    """Return the reference that the user stated.

    Parameters
    ----------
    spec
        Source and size.
    shapes
        All objects, sharpening undone.
    camera
        Camera with its tilt set.
    pins
        The true edges of every pin.

    Raises
    ------
    UnreadableError
        If the photo shows no such reference, or more than one that contradict one another.
    """
    kind = REFERENCE_KINDS[spec.source]
    if kind.shape is not None:
        # A disc is told whole by its circle (see DISC_SHARE), a card by its sides' proportion, a
        # pin by what lies between its ends.
        own = [s for s in shapes if s.kind == kind.shape and _whole_enough(s, camera)]
    else:
        own = list(shapes)
    found = _finder(kind)(Among(shapes=own, camera=camera, pins=pins), spec)
    if kind.shape is not None:
        _refuse_unwhole(found, shapes, kind)
    return _plausible(found, kind)


def _whole_enough(shape: Shape, camera: Camera) -> bool:
    """Return whether what the border leaves of an object tells its scale.

    A pin that was cut with the picture is no whole reference: neither the picture's middle nor its
    focal length is known there, and such a stub has led to a wrong name.
    """
    if shape.kind != "bar":
        return True
    if shape.blob.cut and camera.u_centre_px > 0:
        return False
    s = shape.stations[0]
    off = np.abs(shape.cut_stations - (s[0] + s[-1]) / 2)
    return bool((off > (0.5 - AT_END) * len(s)).all())


def _finder(kind: ReferenceKind) -> Finder:
    """Return the function that finds references of a kind: that of the module of its name."""
    finder: Finder = importlib.import_module(f"pitchcam.scale.{kind.name}").references
    return finder


def _refuse_unwhole(
    found: Sequence[Reference], shapes: Sequence[Shape], kind: ReferenceKind
) -> None:
    """Say why the reference is not there: the border cuts it, or it touches another object."""
    name = kind.says
    if found:
        labels = {label for r in found for label in r.labels}
        used = [s for s in shapes if s.blob.label in labels]
        if all(s.blob.touching and not _straight(s) for s in used):
            raise UnreadableError(
                f"{name[:1].upper()}{name[1:]} touches another object.",
                FLAGS["touching"][1],
                code="touching",
            )
        return
    cut = [s for s in shapes if s.blob.cut and not s.threads and not s.others]
    if any(s.kind == kind.shape for s in cut):
        raise UnreadableError(
            f"{name[:1].upper()}{name[1:]} is cut by the edge of the picture or of the light.",
            CUT_ADVICE,
            code="cut",
        )
    if cut:
        raise UnreadableError(
            f"No whole object has the shape of {name}; one is cut by the edge of the picture or of "
            "the light.",
            CUT_ADVICE,
            code="cut",
        )


def _straight(shape: Shape) -> bool:
    """Whether both long sides of a bar run straight: no neighbour bulges out of them."""
    if shape.kind != "bar":
        return True
    s, *sides = shape.stations
    inner = slice(len(s) // 8, len(s) - len(s) // 8)

    def bulge(side: Points) -> float:
        line = np.polyfit(s[inner], side[inner], 1)
        return float(np.abs(side[inner] - np.polyval(line, s[inner])).max())

    return all(bulge(side) < BULGE_PX for side in sides)


def _lowest(found: Reference) -> float:
    """Return the least height over the plate that a reference's plane can have, mm.

    A disc's is how its distance follows the focal length. Under a slant its oval tells how it
    leans: by a lens longer by a share, the ray to it would slant less by that share, the disc lean
    the more, and lie farther off by the slant's square of it.
    """
    if found.source != "disc":
        return HEIGHTS_MM[0]
    ray = found.camera.rays(np.asarray(found.where_px, float)[None])[0]
    slant2 = float(ray[:2] @ ray[:2]) / float(ray[2]) ** 2
    return HEIGHTS_MM[0] - slant2 * found.camera.distance_mm


def _plausible(found: list[Reference], kind: ReferenceKind) -> Reference:
    low, high = DISTANCES_MM
    good = [
        r
        for r in found
        if low < r.camera.distance_mm < high and _lowest(r) <= r.height_mm <= HEIGHTS_MM[1]
    ]
    if not good:
        advice = FLAGS["no-reference"][1]
        if kind.name == "card":  # which is what it would recommend
            advice = advice.partition(";")[0]
        raise UnreadableError(
            f"No object in the picture has the shape of {kind.says}.", advice, code="no-reference"
        )
    best = min(good, key=lambda r: r.u_scale)
    for other in good:
        gap = abs(other.camera.distance_mm / best.camera.distance_mm - 1)
        if gap > max(0.02, 4 * float(np.hypot(other.u_scale, best.u_scale))):
            raise UnreadableError(
                f"Two objects could be {kind.says} and give scales {100 * gap:.0f} % apart.",
                FLAGS["references-disagree"][1],
                code="references-disagree",
            )
    return best
