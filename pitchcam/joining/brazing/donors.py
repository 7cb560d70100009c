"""A donor: a fitting of which one end is kept and the other cut off, its bore opened if need be."""

from __future__ import annotations

import math

from pitchcam.errors import RefusedError, UsageError
from pitchcam.frozen import dataclass
from pitchcam.joining.brazing.refuse import brazeable
from pitchcam.joining.mating.ends import End, profile_of
from pitchcam.joining.metals import Metal
from pitchcam.joining.practice import practice
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.series import find


@dataclass(frozen=True, kw_only=True, slots=True)
class Donor:
    """Lengths in mm along a donor's axis, from the tip of the kept end.

    ``keep_thread_mm`` and ``cut_thread_mm`` are male threads or tails outside the body (0 for
    female and closed ends), ``keep_depth_mm`` and ``cut_depth_mm`` how deep a female thread goes
    into the body. ``body_mm`` is the hex between the shoulders. ``bore_mm`` is as bought,
    ``final_bore_mm`` as drilled.
    """

    fitting: Fitting
    keep: End
    cut: End | None
    metal: Metal
    keep_thread_mm: float
    keep_depth_mm: float
    cut_thread_mm: float
    cut_depth_mm: float
    body_mm: float
    hex_mm: float
    bore_mm: float
    final_bore_mm: float

    @property
    def body_left_mm(self) -> float:
        """Body that is left once the wrong end is off and the face is trued."""
        return self.body_mm - self.cut_depth_mm - practice("facing")

    @property
    def solid_mm(self) -> float:
        """Body left between the face and the bottom of a kept female thread."""
        return self.body_left_mm - self.keep_depth_mm

    @property
    def saw_at_mm(self) -> float:
        """Where to saw, from the tip of the kept end: the facing allowance beyond the face."""
        return self.keep_thread_mm + self.body_left_mm + practice("facing")

    @property
    def stub_mm(self) -> float:
        """Diameter a spigot can be turned to from the unwanted male thread; 0 where none."""
        if self.cut is None or self.cut.is_hose or self.cut.gender == "internal":
            return 0.0
        size = find(self.cut.designation)
        return math.floor(size.basic_minor_mm * 2.0 - 2.0 * size.taper * self.cut_thread_mm) / 2.0

    @property
    def drilled(self) -> bool:
        """Whether its bore must be opened."""
        return self.final_bore_mm > self.bore_mm


def make_donor(fitting: Fitting, keep_b: bool, bore_mm: float) -> Donor:
    """Return the donor that keeps one end of a fitting, with at least this bore.

    Parameters
    ----------
    fitting
        The row of stock; its hex must be stated.
    keep_b
        Keep end B and cut A off, else the other way.
    bore_mm
        Way that must be clear through it.

    Raises
    ------
    RefusedError
        If its metal or plating must not be brazed, or the bore leaves too thin a wall.
    UsageError
        If the row does not state its hex or the kept end is closed.
    """
    keep, cut = (fitting.end_b, fitting.end_a) if keep_b else (fitting.end_a, fitting.end_b)
    stated = (fitting.thread_b_mm, fitting.thread_a_mm)
    keep_stated, cut_stated = stated if keep_b else stated[::-1]
    if keep is None:
        raise UsageError(f"{fitting.id} has nothing to keep at that end.", "Keep the other end.")
    if fitting.hex_mm is None:
        raise UsageError(f"{fitting.id} does not state its hex.", "Measure it, write it in stock.")
    made_of = brazeable(fitting)
    keep_thread, keep_depth = end_lengths(keep, keep_stated)
    cut_thread, cut_depth = end_lengths(cut, cut_stated)
    donor = Donor(
        fitting=fitting,
        keep=keep,
        cut=cut,
        metal=made_of,
        keep_thread_mm=keep_thread,
        keep_depth_mm=keep_depth,
        cut_thread_mm=cut_thread,
        cut_depth_mm=cut_depth,
        body_mm=fitting.length_mm - keep_thread - cut_thread,
        hex_mm=fitting.hex_mm,
        bore_mm=fitting.bore_mm,
        final_bore_mm=max(fitting.bore_mm, bore_mm),
    )
    _check(donor)
    return donor


def end_lengths(end: End | None, stated: float | None) -> tuple[float, float]:
    """Return (length outside the body, depth inside it) of an end."""
    if end is None:
        return 0.0, 0.0
    if end.is_hose:
        # Tails that state no length: 2.5 bores hold a clamp behind the barbs (common practice).
        return (stated if stated is not None else 2.5 * float(end.designation[5:])), 0.0
    length = stated if stated is not None else profile_of(end).engagement_mm
    return (length, 0.0) if end.gender == "external" else (0.0, length)


def _check(d: Donor) -> None:
    if d.body_left_mm < practice("flats"):
        raise RefusedError(
            f"{d.fitting.id} has only {max(d.body_left_mm, 0.0):.1f} mm of body left once its "
            "other end is off: nothing to hold or join.",
            "Take a donor with a longer hex.",
        )
    body = (d.hex_mm - d.final_bore_mm) / 2.0
    if body < practice("wall_min"):
        raise RefusedError(
            f"a bore of {d.final_bore_mm:g} mm leaves {max(body, 0.0):.2f} mm of wall in the hex "
            f"of {d.fitting.id}; {practice('wall_min'):g} mm is the least.",
            "Ask for less bore, or take a larger donor.",
        )
    wall = kept_wall_mm(d)
    least = practice("tail_wall_min" if d.keep.is_hose else "wall_min")
    if d.drilled and wall < least:
        raise RefusedError(
            f"a bore of {d.final_bore_mm:g} mm leaves {max(wall, 0.0):.2f} mm of wall in "
            f"{d.keep.text} of {d.fitting.id}; {least:g} mm is the least.",
            "Ask for less bore, or take a larger donor.",
        )


def kept_wall_mm(d: Donor) -> float:
    """Return the kept end's wall after drilling: under a male's root, in a tail, in the hex."""
    if d.keep.is_hose:
        return (float(d.keep.designation[5:]) - d.final_bore_mm) / 2.0
    if d.keep.gender == "external":
        size = find(d.keep.designation)
        small = size.basic_minor_mm - size.taper * (size.gauge_length_mm or 0.0)
        return (small - d.final_bore_mm) / 2.0
    return (d.hex_mm - find(d.keep.designation).basic_major_mm) / 2.0
