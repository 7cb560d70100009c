"""The terms of a thread that was measured by its crests alone, besides those of the scale."""

from __future__ import annotations

from pitchcam.records import BudgetLine
from pitchcam.thread.budget.geometry import Geometry, by_pitch
from pitchcam.thread.budget.pose import inclined
from pitchcam.thread.crest_lines import CrestShape, remeasure_crests

#: Floors for what crests leave open, lengths as shares of the pitch: crests may be truncated
#: parallel to the axis or run out, and a neighbour's ellipse shifts what is seen of one. Pitches of
#: 98 rendered threads are no farther off than crests' scatter and ends say, diameters of 292
#: neither (what is left for both is judgement). The tapers of 118 others were 0.001 off at the
#: median; where four crests or more a side show, with this their errors are 0.9 of u.
U_CRESTS = {"pitch_mm": 0.0005, "major_mm": 0.005, "taper": 0.001}


def inclination(shape: CrestShape, place: Geometry) -> BudgetLine:
    """Measure again with the axis inclined by its u: under a slant, pitch goes with it."""
    now = shape.quantities()
    larger = dict.fromkeys(now, 0.0)
    for sign in (1.0, -1.0):
        turned = remeasure_crests(shape, shape.camera, *inclined(place, sign)).quantities()
        for k in now.keys() & turned.keys():
            if abs(turned[k] - now[k]) > abs(larger[k]):
                larger[k] = turned[k] - now[k]
    return BudgetLine(source="inclination of the part", contributions=larger)


def edges(shape: CrestShape, place: Geometry) -> BudgetLine:
    """Return what it contributes that the crests' edges lie out or in together."""
    return BudgetLine(source="edge and rim", contributions={"major_mm": 2 * shape.u_edge_mm})


def flank_light(shape: CrestShape, place: Geometry) -> BudgetLine | None:
    """Return what it contributes that the light on the flanks is not known: the panel's, the rim's.

    The top of a flank mirrors more of it than its foot, and is seen by so much more inside.
    """
    if shape.outlined is None:
        return None
    own = {"angle_deg": shape.outlined.u_light_deg}
    return BudgetLine(source="light on the flanks", contributions=own, correlated=False)


def bent_flanks(shape: CrestShape, place: Geometry) -> BudgetLine | None:
    """Return what no drawn thread explains of an outline leaves in the angle: bent flanks, corners.

    It is alike on every ridge.
    """
    if shape.outlined is None:
        return None
    own = {"angle_deg": shape.outlined.u_bend_deg}
    return BudgetLine(source="bent flanks", contributions=own, correlated=False)


def scatter(shape: CrestShape, place: Geometry) -> BudgetLine:
    """Return what the scatter of the crests contributes: type A."""
    outlined, u_pitch = shape.outlined, shape.u_pitch_mm
    if outlined is not None and outlined.u_longer > 0.0:
        u_pitch = outlined.u_longer * shape.pitch_mm
    return BudgetLine(
        source="edge noise",
        kind="A",
        correlated=False,
        degrees_of_freedom=max(float(len(shape.crests.xy) - 4), 1.0),
        contributions={
            "pitch_mm": u_pitch,
            "major_mm": shape.u_major_mm,
            "taper": shape.u_taper,
            "angle_deg": shape.u_angle_deg if outlined is None else outlined.u_noise_deg,
        },
    )


def form(shape: CrestShape, place: Geometry) -> BudgetLine:
    """Return the floors of what crests leave open, and what their form leaves in the angle."""
    own = by_pitch(shape, U_CRESTS)
    if shape.outlined is not None:
        own["angle_deg"] = shape.outlined.u_form_deg
    return BudgetLine(source="form of the model", contributions=own, correlated=False)
