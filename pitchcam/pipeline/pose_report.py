"""What is said of a part's pose: its quantities, and what is seen otherwise or not at all in it."""

from __future__ import annotations

import numpy as np

from pitchcam.flags import flag
from pitchcam.records import Flag, PartPose, Quantity, ThreadReading
from pitchcam.thread.pose.records import Pose

#: A part that lies more aslant than this is better laid level, degrees: its pose then counts for as
#: much as the reference.
ASLANT_DEG = 3.0


def part_pose(pose: Pose) -> PartPose:
    """Return the contract's quantities of a pose."""
    turn = None
    if pose.turn_rad is not None and pose.u_turn_rad is not None:
        turn = _degrees(pose.turn_rad, pose.u_turn_rad)
    return PartPose(
        inclination_deg=_degrees(pose.incline_rad, pose.u_incline_rad),
        axis_height_mm=Quantity(value=pose.axis_height_mm, u=pose.u_axis_height_mm),
        turn_deg=turn,
    )


def lies_aslant(pose: Pose, number: int) -> list[Flag]:
    """Return the warning that a part lies aslant, where that is beyond doubt."""
    incline, u = abs(np.degrees([pose.incline_rad, pose.u_incline_rad]))
    if incline < ASLANT_DEG or incline < 2 * u:
        return []
    return [
        flag(
            "inclined",
            f"part {number} lies aslant by {incline:.0f} degrees; that is taken into account",
        )
    ]


def _degrees(value_rad: float, u_rad: float) -> Quantity:
    return Quantity(value=float(np.degrees(value_rad)), u=float(np.degrees(u_rad)))


def left_hand(number: int, rows_shown: bool) -> list[Flag]:
    """Return what is said of a part with a left-hand thread.

    Rows of a picture that are moved by a pixel lean the flanks of one side one way and those of the
    other side the other way, as the other hand does; ``rows_shown`` says that these would be seen.
    """
    told = flag("left-hand", f"the flanks of part {number} are those of a left-hand thread")
    return [told] if rows_shown else [told, flag("no-straight-edge")]


def hidden_flanks(reading: ThreadReading, number: int) -> Flag:
    """Return what is not read of a thread that was measured by its crests."""
    hidden, unread = "some of their flanks: ", "pitch diameter and minor diameter"
    if reading.angle_deg is None:
        hidden, unread = "their flanks: ", "thread angle, pitch diameter and minor diameter"
    text = f"part {number} is seen so much along its axis that its ridges hide {hidden}{unread}"
    return flag("slanted", f"{text} are not read")
