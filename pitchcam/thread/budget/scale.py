"""The scale's terms: reference, height of the axis, focal length, tilt, distortion.

By similar triangles the scale on the axis is that of the reference's plane less the rise over the
focal length, and the lengths follow it; angles and taper have no share.
"""

from __future__ import annotations

from pitchcam.records import BudgetLine
from pitchcam.thread.budget.geometry import Geometry, Measured, reach_mm, scaled

#: A displacement of k c^3 at the share c of the corner's distance makes the scale wrong by k c^2
#: across the radius and 3 k c^2 along it; neither direction is known here, and between the two
#: 1.5 is taken (judgement).
DISTORTION_SCALE = 1.5
#: Where the crests themselves give the scale, pitch and diameters lie in one place; what is left is
#: that the scale differs along and across, by this share of the displacement (judgement).
DISTORTION_ON_AXIS = 0.3


def _line(source: str, shape: Measured, share: float) -> BudgetLine:
    return BudgetLine(source=source, contributions=scaled(shape, share), of_scale=True)


def reference(shape: Measured, place: Geometry) -> BudgetLine:
    """Return what the reference's own scale contributes."""
    return _line("scale of the reference", shape, place.u_scale)


def axis_height(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Return what the axis's height over the reference contributes: it brings the axis nearer."""
    if place.scale_on_axis:
        return None
    return _line("height of the axis", shape, -place.u_rise_mm / reach_mm(shape))


def focal_length(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Return what the focal length contributes, by way of the rise over it."""
    if place.scale_on_axis:
        return None
    share = place.rise_mm / reach_mm(shape) * shape.camera.u_f_px / shape.camera.f_px
    return _line("focal length", shape, share)


def tilt(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Return what the camera's tilt contributes: depth over the way from reference to thread."""
    if place.scale_on_axis:
        return None
    share = place.apart_mm * shape.camera.u_tilt_rad / reach_mm(shape)
    return _line("tilt of the camera", shape, share)


def distortion(shape: Measured, place: Geometry) -> BudgetLine:
    """Return what distortion contributes: its scale at the thread against that at the reference."""
    corner = shape.camera.u_corner
    here, there = place.corner_share, place.corner_share_reference
    if place.scale_on_axis:
        share = corner * here * DISTORTION_ON_AXIS
    else:
        share = corner * abs(here**2 - there**2) * DISTORTION_SCALE
    return _line("lens distortion", shape, share)
