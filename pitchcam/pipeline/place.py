"""Where a thread lies in its picture, as its budget takes it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.objects.regions import Region
from pitchcam.pipeline.scene import Scene
from pitchcam.pipeline.told_lens import recentred, scale_per_lens
from pitchcam.thread.budget import Geometry
from pitchcam.thread.budget.geometry import BENT_EVERY_WAY, reach_mm
from pitchcam.thread.budget.scale import MORE_ALONG
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape
from pitchcam.thread.pose.height import Rest

Values = NDArray[np.float64]


def geometry(scene: Scene, region: Region, shape: ThreadShape | CrestShape, rest: Rest) -> Geometry:
    """Return what the place of a thread, measured in a region, adds to its budget."""
    camera = shape.camera
    centre = np.array(camera.centre_px)
    corner = float(np.hypot(*centre))
    here = camera.project(shape.frame.origin)
    share = float(np.hypot(*(here - centre))) / corner
    radial = _radial(here - centre, np.array(shape.axis.direction))
    lies = rest.pose
    moved = recentred(scene, np.array(shape.axis.direction))
    if scene.reference is None:
        return Geometry(
            height_mm=rest.height_mm,
            u_scale=_u_own_scale(scene, region),
            rise_mm=0.0,
            u_rise_mm=0.0,
            apart_mm=0.0,
            corner_share=share,
            corner_share_reference=share,
            radial=radial,
            scale_on_axis=True,
            read_crests=scene.own is not None and scene.own.region is region,
            slope_rad=lies.slope_rad,
            u_slope_rad=lies.own_u_slope_rad,
            height_per_rad=lies.height_per_rad,
            slope_per_lens=lies.slope_per_lens,
            recentred=moved,
            rows_shown=scene.rows_shown,
            **_from_read(scene, region, shape, rest),
        )
    r = scene.reference
    there = float(np.hypot(*(r.where_px - centre))) / corner
    read = BENT_EVERY_WAY
    if r.read_px is not None:
        read = 1 + MORE_ALONG * _radial(r.where_px - centre, r.read_px)
    # Along the part's axis its pose tells the tilt.
    across = shape.frame.across
    apart = float((shape.frame.origin - r.pivot_mm) @ across)
    told = float(np.array(r.lean_per_corner) @ across[:2])
    u_tilt = camera.u_tilt_rad if lies.u_across_rad is None else lies.u_across_rad
    return Geometry(
        height_mm=rest.height_mm,
        u_scale=r.u_scale,
        rise_mm=rest.height_mm - r.height_mm,
        u_rise_mm=float(np.hypot(rest.u_height_mm, r.u_height_mm)),
        apart_mm=abs(apart),
        corner_share=share,
        corner_share_reference=there,
        radial=radial,
        bent_reference=read,
        bent_tilt=-told * apart / reach_mm(shape),
        slope_rad=lies.slope_rad,
        u_slope_rad=lies.own_u_slope_rad,
        height_per_rad=lies.height_per_rad,
        slope_per_lens=lies.slope_per_lens,
        scale_per_lens=scale_per_lens(scene),
        recentred=moved,
        rows_shown=scene.rows_shown,
        u_tilt_rad=_left(u_tilt, told * camera.u_corner),
    )


def _from_read(
    scene: Scene, region: Region, shape: ThreadShape | CrestShape, rest: Rest
) -> dict[str, float]:
    """Return what lies between a thread and the one whose crests gave the scale, if another's did.

    Threads of one part share an axis: its slope takes the one nearer than the other. Those of two
    parts differ by both heights, and by the camera's tilt along the way between them.
    """
    own = scene.own
    if own is None or own.region is region:
        return {}
    camera = shape.camera
    off = camera.project(own.frame.origin) - np.array(camera.centre_px)
    share = float(np.hypot(*off) / np.hypot(*camera.centre_px))
    across = 1 + MORE_ALONG * (1 - _radial(off, np.array(own.axis.direction)))
    bent = across * share**2
    way = shape.frame.origin - own.frame.origin
    if any(r is region for r in own.part.threads):
        return {"lever_mm": float(way @ shape.frame.along), "bent_read": bent}
    far = float(np.hypot(*way[:2]))
    leans = far * camera.leans.u_along(way[:2]) if far > 0 else 0.0
    heights = np.sqrt(2.0) * rest.u_height_mm
    return {"u_beside_mm": float(np.hypot(heights, leans)), "bent_read": bent}


def _u_own_scale(scene: Scene, region: Region) -> float:
    """Return what a scale by crests is good to at a thread, besides its own crests if those did."""
    own = scene.own
    if own is None:
        return 0.0
    return own.u_reading if own.region is region else float(np.hypot(own.u_reading, own.u_crests))


def _left(u: float, told: float) -> float:
    """Return what is left of a standard uncertainty beside a share that counts elsewhere."""
    return float(np.sqrt(max(u**2 - told**2, 0.0)))


def _radial(way: Values, direction: Values) -> float:
    """Return the square of the cosine between two directions (2,); a half where one is none."""
    lengths = float((way @ way) * (direction @ direction))
    return 0.5 if lengths == 0 else float((way @ direction) ** 2) / lengths
