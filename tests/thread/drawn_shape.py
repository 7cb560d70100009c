"""A thread measured from a drawn outline, with edges, crests and roots, for tests of the budget."""

from dataclasses import replace

import numpy as np

from pitchcam.edges.flanks import FlankEdge
from pitchcam.edges.section import fit_section
from pitchcam.edges.tips import Tip
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.frame import axis_frame
from pitchcam.thread.budget import Geometry
from pitchcam.thread.measure import ThreadShape
from tests.thread.helicoid import flanks_of, iso_profile, place, seen_sides

PITCH, MAJOR, MINOR, HEIGHT = 1.5, 14.0, 12.16, 9.0
AXIS = ImageAxis(point_px=(2045.5, 1471.5), direction=(1.0, 0.0))
#: u of the four flanks' edges; their median is 0.18 px.
U_EDGE_PX = (0.12, 0.20, 0.16, 0.24)
U_CREST_MM, U_ROOT_MM = 0.004, 0.012
#: How crests and roots move with the light beside the part, and its u.
CREST_BY_LIGHT_MM, ROOT_BY_LIGHT_MM, U_BESIDE = -0.2, -0.5, 0.002


#: Where such a thread lies, and what is not known of it.
PLACE = Geometry(
    height_mm=HEIGHT,
    u_scale=0.002,
    rise_mm=6.0,
    u_rise_mm=0.3,
    apart_mm=25.0,
    corner_share=0.2,
    corner_share_reference=0.6,
)


def bare_shape(flanks, section, frame, axis=AXIS):
    """A thread of which the flanks alone are known, as fitted."""
    z = section.points.z
    return ThreadShape(
        axis=axis,
        frame=frame,
        section=section,
        flanks=flanks,
        edges=(),
        tips=(),
        roots=(),
        spacing_px=abs(section.fit.pitch_mm) / frame.mm_per_px,
        span_mm=(float(z.min()), float(z.max())),
        outline_px=np.zeros((0, 2)),
        straight=True,
        nearness=0.0,
        bend_deg=0.0,
        blur_mm=0.02,
        u_beside=U_BESIDE,
    )


def drawn_shape(profile=None, *, pitch=PITCH, incline_rad=0.0, lift_mm=0.0, off_mm=0.0):
    """Measure a drawn thread as if level at HEIGHT; in fact it is inclined and lifted."""
    camera, frame = place(off_mm=off_mm)
    middle = 3005.0 * off_mm / (200.0 - HEIGHT)
    true = axis_frame(camera, AXIS, middle, HEIGHT + lift_mm, incline_rad)
    seen = seen_sides(profile or iso_profile(PITCH, MAJOR), pitch, pitch, true.pinhole)
    flanks = flanks_of(true, *seen, pitch)
    section = fit_section(flanks, frame, pitch)
    edges = zip([(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)], U_EDGE_PX, strict=True)
    return replace(
        bare_shape(flanks, section, frame),
        edges=tuple(
            FlankEdge(side=side, flank=flank, shift_px=0.0, u_px=u, u_by_height_px=0.0)
            for (side, flank), u in edges
        ),
        tips=_tips(MAJOR / 2, U_CREST_MM, CREST_BY_LIGHT_MM),
        roots=_tips(MINOR / 2, U_ROOT_MM, ROOT_BY_LIGHT_MM),
    )


def _tips(radius, u, by_light):
    return tuple(
        Tip(
            side=side,
            radius_mm=radius,
            u_mm=u,
            slope=0.0,
            count=6,
            misfit=0.0,
            by_light_mm=by_light,
        )
        for side in (1.0, -1.0)
    )


def with_edges_moved(shape, out_mm):
    """Fit again with every flank point moved out along its flank's normal, by ``out_mm`` each."""
    flanks = shape.flanks
    half = np.arctan(np.mean(shape.section.fit.tan_half))
    zy = shape.frame.from_photo(flanks.xy)
    normal = np.stack([flanks.flank * np.cos(half), flanks.side * np.sin(half)], axis=1)
    zy = zy + np.asarray(out_mm)[..., None] * normal
    xy = shape.frame.to_photo(np.column_stack([zy, np.zeros(len(zy))]))
    moved = replace(flanks, xy=xy)
    section = fit_section(moved, shape.frame, PITCH, rounds=3)
    return replace(shape, flanks=moved, section=section)
