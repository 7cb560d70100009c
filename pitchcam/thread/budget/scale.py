"""The scale's terms: reference, height of the axis, focal length, tilt, distortion.

By similar triangles the scale on the axis is that of the reference's plane less the rise over the
focal length, and the lengths follow it. Angles and taper have a share in the focal length alone:
it tells how far off the optical axis a thread is seen.
"""

from __future__ import annotations

import numpy as np

from pitchcam.records import BudgetLine
from pitchcam.thread.budget.geometry import LENGTHS, Geometry, Measured, reach_mm, scaled, values
from pitchcam.thread.budget.pose import sloped
from pitchcam.thread.pose.drift import again

#: A displacement of k c^3 at the share c of the corner's distance makes the scale wrong by k c^2
#: across the radius and by 3 k c^2 along it; at an angle to it, by k c^2 and this times the square
#: of its cosine more.
MORE_ALONG = 2.0
#: Root mean square of the square of a standard normal variable.
ROOT_3 = float(np.sqrt(3))


def _line(source: str, shape: Measured, share: float) -> BudgetLine:
    return BudgetLine(source=source, contributions=scaled(shape, share), of_scale=True)


def reference(shape: Measured, place: Geometry) -> BudgetLine:
    """Return what the reference's own scale contributes."""
    return _line("scale of the reference", shape, place.u_scale)


def axis_height(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Return what the axis's height over the reference contributes: it brings the axis nearer.

    Over crests that were read on another part, all that makes one axis nearer than the other.
    """
    u = place.u_beside_mm if place.scale_on_axis else place.u_rise_mm
    if place.scale_on_axis and u == 0.0:
        return None
    return _line("height of the axis", shape, -u / reach_mm(shape))


def focal_length(shape: Measured, place: Geometry) -> BudgetLine:
    """Measure again with the focal length longer and shorter by its u, the reference as it is seen.

    The rise counts by its share of the distance. Slant and the helix's shadow go with the distance
    too, the shadow's taper with its square: they move pitch diameter, angle and taper. The slope
    that the end faces show is another one then.
    """
    plane = place.height_mm - place.rise_mm
    u = shape.camera.u_lens

    def at(lens: float) -> dict[str, float]:
        camera = shape.camera.refocused(float(np.exp(lens)), plane)
        away = (camera.distance_mm - plane) * float(np.exp(place.scale_per_lens * lens))
        camera = camera.over_plate(plane + away)
        return values(again(shape, camera, *sloped(place, place.slope_per_lens * lens)))

    # Half of what lies between both ends: what goes with 1 / L^2 is far from straight.
    longer, shorter = at(u), at(-u)
    return BudgetLine(
        source="focal length",
        of_scale=not place.scale_on_axis,
        contributions={k: (longer[k] - shorter[k]) / 2 for k in longer if k in shorter},
    )


def principal_along(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Measure again with the principal point moved along the axis: where the lens's middle was."""
    return _recentred("principal point along", shape, place, 0)


def principal_across(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Measure again with the principal point moved across the axis."""
    return _recentred("principal point across", shape, place, 1)


def principal_along_either(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Return what the principal point's place along the axis changes alike either way."""
    return _recentred("principal point along, either way", shape, place, 0, even=True)


def principal_across_either(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Return what the principal point's place across the axis changes alike either way."""
    return _recentred("principal point across, either way", shape, place, 1, even=True)


def _recentred(
    source: str, shape: Measured, place: Geometry, i: int, *, even: bool = False
) -> BudgetLine | None:
    """Return what changes with the principal point's place, or alike whichever way it lies.

    A round part off the optical axis is drawn wider than it is, by the secant of the angle; a disc
    that lies flat is not, and a pin beside it by another angle's. In the middle of the view that
    goes with the square of the place, and with nothing that goes with the place itself: the two
    are lines of their own, or quantities would correlate that do not (the mean fourth power of a
    normal variable is three times its squared variance).
    """
    if not place.recentred:
        return None
    now = values(shape)
    one, other = (
        values(again(shape, camera, place.height_mm, place.slope_rad))
        for camera in place.recentred[i]
    )
    both = [k for k in now if k in one and k in other]
    if even:
        square = {k: ROOT_3 * ((one[k] + other[k]) / 2 - now[k]) for k in both}
        return BudgetLine(source=source, of_scale=not place.scale_on_axis, contributions=square)
    straight = {k: (one[k] - other[k]) / 2 for k in both}
    return BudgetLine(source=source, of_scale=not place.scale_on_axis, contributions=straight)


def tilt(shape: Measured, place: Geometry) -> BudgetLine | None:
    """Return what the camera's tilt contributes: depth over the way from reference to thread."""
    if place.scale_on_axis:
        return None
    share = place.apart_mm * place.u_tilt_rad / reach_mm(shape)
    return _line("tilt of the camera", shape, share)


def distortion(shape: Measured, place: Geometry) -> BudgetLine:
    """Return what distortion contributes: its scale at the thread against that at the reference.

    Along the radius it is three times that across it: the pitch has another than the diameters. A
    reference that is drawn oval by it tells a tilt that is none.
    """
    corner = shape.camera.u_corner
    along = 1 + MORE_ALONG * place.radial
    across = 1 + MORE_ALONG * (1 - place.radial)
    there = place.bent_reference * place.corner_share_reference**2 + place.bent_tilt
    if place.scale_on_axis:
        # The diameter was read, of this thread or of another.
        own = across * place.corner_share**2
        there = own if place.bent_read is None else place.bent_read
    v = values(shape)
    by = {k: v[k] * corner * (across * place.corner_share**2 - there) for k in LENGTHS if k in v}
    by["pitch_mm"] = v["pitch_mm"] * corner * (along * place.corner_share**2 - there)
    return BudgetLine(source="lens distortion", contributions=by, of_scale=True)
