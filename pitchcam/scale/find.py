"""Finds the stated reference among a photo's objects."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

import numpy as np

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.straight import TrueEdge
from pitchcam.errors import OutlineError, UnreadableError, UsageError
from pitchcam.flags import FLAGS
from pitchcam.objects.shapes import Points, Shape
from pitchcam.records import ScaleSpec
from pitchcam.scale.card import card_reference
from pitchcam.scale.disc import disc_reference
from pitchcam.scale.jaws import jaw_references
from pitchcam.scale.pin import leaning, pin_distance
from pitchcam.scale.reference import Reference

Edges = dict[int, list[TrueEdge]]

#: Distances of a phone from the plate that can be: macro lenses focus from 50 mm, and beyond a
#: metre a thread has no pixels left.
DISTANCES_MM = (50.0, 1200.0)

#: Heights over the plate that a reference's plane can have, with room for what is not known of it:
#: a pin of 60 mm lies with its axis at 30. Where dirt on a jaw is taken for its wall, the height
#: that its light tells runs away.
HEIGHTS_MM = (-3.0, 45.0)

#: What stands out of a pin's side by more, beyond its blur and noise, is another object's.
BULGE_PX = 2.5
CUT_ADVICE = "lay the reference whole into the lit window, a finger's width from its border, retake"

#: The shape that each reference has.
SHAPES = {"pin": "bar", "disc": "disc", "card": "card"}

NAMES = {
    "pin": "the pin", "disc": "the disc", "card": "the card", "jaws": "the caliper jaws",
    "sheet": "the marker sheet",
}  # fmt: skip


def check_spec(spec: ScaleSpec) -> None:
    """Refuse a stated size that no such reference has.

    Raises
    ------
    UsageError
        If a size is missing, not positive, or far from anything usable.
    """
    limits = {"pin": (0.5, 60.0), "disc": (5.0, 120.0), "jaws": (1.0, 150.0),
              "major": (0.8, 150.0)}  # fmt: skip
    if spec.source not in limits:
        return
    low, high = limits[spec.source]
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
    mm = spec.mm or 0.0
    if spec.source == "jaws":
        plain = [s for s in shapes if not s.threads and s.kind in ("other", "bar")]
        return _plausible(jaw_references(plain, camera, mm, spec.height_mm), spec)
    found: list[Reference] = []
    # Cut by the border, a pin's edges end at different places and a card has another shape. A disc
    # is told whole by its circle (see DISC_SHARE).
    whole = [s for s in shapes if s.kind == "disc" or not s.blob.cut]
    for shape in whole:
        if spec.source == "pin" and shape.kind == "bar" and shape.blob.label in pins:
            found.append(_pin(shape, camera, pins[shape.blob.label], mm))
        elif spec.source == "disc" and shape.kind == "disc":
            found.append(disc_reference(shape, camera, mm, spec.height_mm))
        elif spec.source == "card" and shape.kind == "card":
            # What is not seen over its sides, or is none, is not the card.
            with suppress(OutlineError):
                found.append(card_reference(shape, camera))
    _refuse_unwhole(found, shapes, spec)
    return _plausible(found, spec)


def _refuse_unwhole(
    found: Sequence[Reference], shapes: Sequence[Shape], spec: ScaleSpec
) -> None:  # fmt: skip
    """Say why the reference is not there: the border cuts it, or it touches another object."""
    kind, name = SHAPES[spec.source], NAMES[spec.source]
    if found:
        labels = {label for r in found for label in r.labels}
        used = [s for s in shapes if s.blob.label in labels]
        if all(s.blob.touching and not _straight(s) for s in used):
            raise UnreadableError(
                f"{name[:1].upper()}{name[1:]} touches another object.", FLAGS["touching"][1],
                code="touching",
            )
        return
    cut = [s for s in shapes if s.blob.cut and not s.threads and not s.others]
    if any(s.kind == kind for s in cut):
        raise UnreadableError(
            f"{name[:1].upper()}{name[1:]} is cut by the edge of the picture or of the light.",
            CUT_ADVICE, code="cut",
        )  # fmt: skip
    if cut:
        raise UnreadableError(
            f"No whole object has the shape of {name}; one is cut by the edge of the picture or of "
            "the light.", CUT_ADVICE, code="cut",
        )  # fmt: skip


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


def _plausible(found: list[Reference], spec: ScaleSpec) -> Reference:
    low, high = DISTANCES_MM
    lowest, highest = HEIGHTS_MM
    good = [
        r for r in found
        if low < r.camera.distance_mm < high and lowest <= r.height_mm <= highest
    ]  # fmt: skip
    if not good:
        raise UnreadableError(
            f"No object in the picture has the shape of {NAMES[spec.source]}.",
            FLAGS["no-reference"][1], code="no-reference",
        )  # fmt: skip
    best = min(good, key=lambda r: r.u_scale)
    for other in good:
        gap = abs(other.camera.distance_mm / best.camera.distance_mm - 1)
        if gap > max(0.02, 4 * float(np.hypot(other.u_scale, best.u_scale))):
            raise UnreadableError(
                f"Two objects could be {NAMES[spec.source]} and give scales {100 * gap:.0f} % "
                "apart.", FLAGS["references-disagree"][1], code="references-disagree",
            )  # fmt: skip
    return best


def _pin(
    shape: Shape, camera: Camera, edges: list[TrueEdge], mm: float
) -> Reference:
    moved = [(edge.start_px, edge.end_px) for edge in edges]
    distance, _ = pin_distance(camera, (moved[0], moved[1]), mm)
    camera = leaning(camera, (moved[0], moved[1]), distance)
    distance, _ = pin_distance(camera, (moved[0], moved[1]), mm)
    width = float(np.linalg.norm(
        np.mean(moved[0], axis=0) - np.mean(moved[1], axis=0)
    ))  # fmt: skip
    u_edges = float(np.hypot(edges[0].u_px, edges[1].u_px))
    # A ground pin is true to 0.01 mm, a drill's shank to 0.02.
    u_scale = float(np.hypot(np.hypot(u_edges, 0.08) / width, 0.008 / mm))
    return Reference(
        source="pin", camera=camera.over_plate(distance, np.nan), u_scale=u_scale,
        height_mm=mm / 2, u_height_mm=0.02, where_px=shape.centre_px,
        labels=(shape.blob.label,), outline_px=shape.outline_px,
    )  # fmt: skip
