"""Scale from a plain ground pin lying on the plate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.lines import TrueEdge
from pitchcam.objects.shapes import Shape
from pitchcam.records import ScaleSpec
from pitchcam.reference_kinds import U_PIN_MM
from pitchcam.scale.reference import Among, Reference
from pitchcam.scale.tilt import Edge, edge_plane, told_by_parallels
from pitchcam.small import cross

Points = NDArray[np.float64]


def references(among: Among, spec: ScaleSpec) -> list[Reference]:
    """Return every pin whose edges are known."""
    return [
        _reference(s, among.camera, among.pins[s.blob.label], spec.mm or 0.0)
        for s in among.shapes
        if s.blob.label in among.pins
    ]


def pin_distance(
    camera: Camera, edges: tuple[Edge, Edge], diameter_mm: float
) -> tuple[float, float]:
    """Return the pinhole's distance from the plate and the pin's convergence in the view.

    Each edge of the shadow spans a plane with the pinhole that touches the cylinder. Half the
    angle d between both planes gives the axis's distance r / sin d, wherever in the picture the
    pin lies; with the axis parallel to the plate, r above it, the plate's distance follows. The
    planes are laid through the edges' middles along that axis, so that the depth of the pin's
    middle is right whatever the plate's tilt is.

    Returns
    -------
    distance_mm
        Perpendicular distance of the pinhole from the plate for the camera's ``normal``.
    slope
        Angle in radians between the axis as the edges' convergence shows it and the plate:
        a measure of the tilt along the pin; 0 where the tilt is right.
    """
    n1 = edge_plane(camera, *edges[0])
    n2 = edge_plane(camera, *edges[1])
    if n1 @ n2 < 0:
        n2 = -n2
    bisector = (n1 + n2) / np.linalg.norm(n1 + n2)
    normal = np.array(camera.normal)
    along = cross(bisector, normal)
    along /= np.linalg.norm(along)
    seen = cross(n1, n2)
    seen /= np.linalg.norm(seen)
    slope = float(np.arcsin(np.clip(seen @ normal * np.sign(seen @ along), -1, 1)))
    middles = camera.rays(np.array([np.mean(edge, axis=0) for edge in edges]))
    m1, m2 = (m / np.linalg.norm(m) for m in (cross(along, x) for x in middles))
    half = 0.5 * float(np.arctan2(np.linalg.norm(cross(m1, m2)), m1 @ m2))
    bisector = (m1 + m2) / np.linalg.norm(m1 + m2)
    radius = diameter_mm / 2
    foot = cross(along, bisector)
    foot *= np.sign(foot[2]) * radius / np.sin(half)
    return float(normal @ foot) + radius, slope


#: How far the difference of a pin's widths at both ends may be off, pixels, where its edges' pieces
#: lie on a line.
U_CONVERGE_PX = 0.35
#: What a pin's width is good to besides, pixels: dirt, denoising, sharpening that is not undone to
#: the end (judgement).
U_WIDTH_PX = 0.08


def _reference(shape: Shape, camera: Camera, edges: list[TrueEdge], mm: float) -> Reference:
    moved = [(edge.start_px, edge.end_px) for edge in edges]
    both = moved[0], moved[1]
    distance, _ = pin_distance(camera, both, mm)
    # An edge's end is as much farther out as its start is farther in.
    scatter = 2 * float(np.hypot(edges[0].u_turn_px, edges[1].u_turn_px))
    u_converge = float(np.hypot(U_CONVERGE_PX, scatter))
    camera = told_by_parallels(camera.over_plate(distance), both, u_converge)
    distance, _ = pin_distance(camera, both, mm)
    width = float(np.linalg.norm(np.mean(moved[0], axis=0) - np.mean(moved[1], axis=0)))
    # What is not known of the metal moves both edges alike, outward or inward.
    u_edges = edges[0].u_px + edges[1].u_px
    u_scale = float(np.hypot(np.hypot(u_edges, U_WIDTH_PX) / width, U_PIN_MM / mm))
    return Reference(
        source="pin",
        camera=camera.over_plate(distance),
        u_scale=u_scale,
        height_mm=mm / 2,
        u_height_mm=0.02,
        where_px=shape.centre_px,
        labels=(shape.blob.label,),
        outline_px=shape.outline_px,
        read_px=np.mean(moved[0], axis=0) - np.mean(moved[1], axis=0),
    )
