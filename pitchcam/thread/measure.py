"""One threaded region, from its outline in the photo to the numbers of its axial section."""

from __future__ import annotations

from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.crests import Around, fit_tips
from pitchcam.edges.flank_place import Surface
from pitchcam.edges.flank_points import BELOW_CREST, Flanks, Slant, flank_points, most_lower
from pitchcam.edges.flanks import FlankEdge, move_to_edges, moved_px
from pitchcam.edges.lines import reach_to_border
from pitchcam.edges.rims import mirror_angle
from pitchcam.edges.section import Section, Winding, fit_again, fit_section
from pitchcam.edges.sight import Sight, laid_frame
from pitchcam.edges.tips import Tip
from pitchcam.errors import OutlineError
from pitchcam.frozen import dataclass, replace
from pitchcam.light.mirrored import Mirror
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.frame import AxisFrame, Framed
from pitchcam.thread.bent import bend
from pitchcam.thread.hand import crests_apart, flanks_lean, is_left, may_be_left
from pitchcam.thread.moved import moved_sight
from pitchcam.thread.outlined import OutlineAngle
from pitchcam.thread.spectrum import spectral_spacing

Values = NDArray[np.float64]

#: Share of each flank's points, both sides together, that must be straight for the others to be
#: left out, and how many on each side.
ENOUGH_STRAIGHT, FEWEST_STRAIGHT = 0.15, 6
#: Slant from which on flanks without enough straight points are taken as hidden: crests read off
#: them come out up to 1 mm wrong beyond, and right to 0.1 mm below (renders of known threads).
MOST_SLANT = 0.13
#: The same where straight points are seen on one side: how far below the crest, in pitches, the
#: other side's flanks begin; for the slants of which that is asked at all.
MOST_LOWER, LEAST_HIDING = 0.2, 0.1

#: Scatter of the flank points in pixels and in pitches, and misfit of a crest's light, above which
#: the light is uneven. Over masked light, renders of known threads keep to 0.08-0.15 px, large ones
#: to 0.006 pitches, and 0.003-0.025; close to a panel they reach 0.2-0.3 px, 0.008-0.013 pitches
#: and 0.03-0.05.
UNEVEN_PX, UNEVEN_PITCHES = 0.19, 0.007
UNEVEN_TIP = 0.03
#: From this turn of the axis on, which points are sound is asked anew: flanks of the wrong pose are
#: bent, and some pass for spoiled (judgement; budgets move it by less).
ANOTHER_POSE_RAD = 0.02

#: How far a crest mirrors as its flanks do: standard uncertainties of loss and mirrored share, and
#: relative ones of roughness and of the angles, which the panel's distance makes; close to a panel
#: its light reaches around the edge from anywhere.
U_LOSS, U_SHARE, U_ROUGHNESS = 0.1, 0.1, 0.3
U_ANGLES, U_NEAR_ANGLES = 0.3, 0.5


@dataclass(frozen=True, kw_only=True)
class ThreadShape(Framed):
    """A measured thread: the geometry it was measured with and what came out, mm and degrees.

    Diameters are at the frame's origin; ``tips`` and ``roots`` hold one entry per side that could
    be fitted. ``straight`` says that only points on the flanks' straight part went into the fit
    (seen far along the thread, too few of them are left); ``nearness``, 0 to 1, how far the light
    on the flanks is that of a panel close behind the part; ``bend_deg`` how much more their outer
    half opens than the inner one, beyond chance. ``spacing_px`` is the crests' spacing in the
    photo, ``blur_mm`` its blur on the axis, ``swept_mm`` how far a motion carried the thread along
    it, to either side, in the picture, ``outlined`` the angle by the whole outline, if asked,
    ``u_beside`` the relative standard uncertainty of the light beside the part.
    """

    axis: ImageAxis
    section: Section
    flanks: Flanks
    edges: tuple[FlankEdge, ...]
    tips: tuple[Tip, ...]
    roots: tuple[Tip, ...]
    spacing_px: float
    span_mm: tuple[float, float]
    outline_px: Values
    straight: bool
    nearness: float
    bend_deg: float
    blur_mm: float
    u_beside: float
    swept_mm: float = 0.0
    outlined: OutlineAngle | None = None

    @property
    def pitch_mm(self) -> float:
        """Distance of neighbouring crests along the axis."""
        return abs(self.section.fit.pitch_mm)

    @property
    def lag(self) -> float:
        """Offset of the crests of both sides in pitches, 0 to 0.5: 0.5 for a single start."""
        turns = self.section.fit.lag_mm / self.section.fit.pitch_mm
        return float(abs(turns - np.round(turns)))

    @property
    def pitch_diameter_mm(self) -> float:
        """Diameter at which ridge and groove are equally wide, at the frame's origin."""
        return 2 * self.section.fit.pitch_radius_mm

    @property
    def slant(self) -> float:
        """Tangent of the angle at which rays meet the axis's normal plane in mid-thread."""
        return abs(self.section.slant(self.frame, sum(self.span_mm) / 2))

    @property
    def angle_deg(self) -> float:
        """The included angle, by the flanks and by the whole outline."""
        own = self.section.fit.angle_deg
        return (
            own
            if self.outlined is None
            else self.outlined.beside(own, self.section.slant(self.frame))
        )

    @property
    def hidden(self) -> bool:
        """Whether the flanks are seen so aslant that hardly any straight part of them is left."""
        return _hides(self.straight, self.slant, self.section)

    @property
    def taper(self) -> float:
        """Change of diameter per length along z (signed)."""
        return self.section.fit.taper

    @property
    def major_mm(self) -> float | None:
        """Diameter over the crests, at the frame's origin; None without both sides."""
        return self.diameter_mm(self.tips)

    def quantities(self) -> dict[str, float]:
        """Return what was measured, by the names that naming uses."""
        found = {
            "pitch_mm": self.pitch_mm,
            "major_mm": self.major_mm,
            "pitch_diameter_mm": self.pitch_diameter_mm,
            "minor_mm": self.diameter_mm(self.roots),
            "angle_deg": self.angle_deg,
            "taper": self.taper,
        }
        return {k: v for k, v in found.items() if v is not None}

    def diameter_mm(self, tips: tuple[Tip, ...]) -> float | None:
        """Return the crest or root diameter at the frame's origin; None without both sides."""
        return sum(t.radius_mm for t in tips) if len(tips) > 1 else None


@dataclass(frozen=True, kw_only=True)
class _Wound:
    """A thread taken as of one hand: its fields are those of :class:`ThreadShape`."""

    section: Section
    flanks: Flanks
    edges: tuple[FlankEdge, ...]
    surface: Surface
    nearness: float
    tips: tuple[Tip, ...]
    roots: tuple[Tip, ...]


def measure_thread(sight: Sight, starts: int = 1) -> ThreadShape:
    """Measure one threaded region.

    Parameters
    ----------
    sight
        How the thread is seen, its axis where it is taken to lie.
    starts
        Number of starts (1, or 2 where both sides are in step).

    Raises
    ------
    numpy.linalg.LinAlgError
        If the points do not determine the fit; the caller reports the thread as not readable.
    OutlineError
        If the thread is seen so aslant that its ridges hide their flanks, or so small that hardly
        more points are left on them than a thread has parameters.
    UnreadableError
        If it was moved over too much of its pitch while the photo was taken.
    """
    frame = sight.frame
    right, left = Winding(starts=starts), Winding(starts=starts, hand=-1.0)
    spacing_mm = spectral_spacing(sight)
    seen = Slant(blur_px=sight.blur_px, swept_px=sight.swept_px, starts=starts)
    flanks = flank_points(sight.outline_px, sight.axis, sight.region, frame, seen)
    first = fit_section(flanks, frame, spacing_mm, right, rounds=3)
    below = (seen.below_crest(sight.region.spacing_px), BELOW_CREST[1])
    for _ in range(2):
        kept, straight = _straight(flanks, first, frame, spacing_mm, below)
        if len(kept.xy) == len(flanks.xy):
            break
        flanks = kept
        first = fit_section(flanks, frame, spacing_mm, right, rounds=3)
    if _hides(straight, sight.slant, first):
        raise OutlineError("the ridges hide their flanks")

    def wound(winding: Winding, first: Section) -> _Wound:
        moved, edges, surface = move_to_edges(flanks, sight, first)
        section = fit_section(moved, frame, spacing_mm, winding)
        if not section.fit.scatter.determined:
            raise OutlineError("so few points on the flanks determine no thread")
        if not 0.0 < section.fit.width_mm < abs(section.fit.pitch_mm):
            # Of few points ridges' width and number may trade: at mid-flank it is within a pitch.
            raise OutlineError("the ridges between the flanks are none")
        near = _nearness(section, surface, sight.mm_per_px, straight)
        tips, roots = _tips(sight, section, surface, near_panel=near > 0.5)
        return _Wound(
            section=section,
            flanks=moved,
            edges=edges,
            surface=surface,
            nearness=1.0 if any(t.misfit > UNEVEN_TIP for t in tips) else near,
            tips=tips,
            roots=roots,
        )

    own = wound(right, first)
    if straight:
        told = 0.0
        with suppress(np.linalg.LinAlgError):
            told = flanks_lean(own.section, own.flanks, own.edges, frame, sight.u_shear_rad).left
            told += crests_apart(own.section, own.tips, frame)
        if may_be_left(told):
            with suppress(OutlineError, np.linalg.LinAlgError):
                other = wound(left, fit_section(flanks, frame, spacing_mm, left, rounds=3))
                if is_left(told, right=own.surface.misfit, left=other.surface.misfit):
                    own = other
    if own.surface.own_blur_px is not None and sight.own_blur_px is None:
        return measure_thread(moved_sight(sight, own.surface.own_blur_px), starts)
    section = own.section
    z = section.points.z[section.fit.used]
    return ThreadShape(
        axis=sight.axis,
        frame=frame,
        section=section,
        flanks=own.flanks,
        edges=own.edges,
        tips=own.tips,
        roots=own.roots,
        spacing_px=sight.region.spacing_px,
        span_mm=(float(z.min()), float(z.max())),
        outline_px=sight.outline_px,
        straight=straight,
        nearness=own.nearness,
        bend_deg=bend(own.flanks, section, frame, spacing_mm, moved_px(own.edges, sight.blur_px)),
        blur_mm=sight.blur_mm,
        u_beside=own.surface.u_background,
        swept_mm=sight.swept_px * sight.mm_per_px,
    )


def _hides(straight: bool, slant: float, section: Section) -> bool:
    """Whether a slant hides so much of the flanks that crests tell more of the thread.

    The helix adds its own lean to the slant on one of the sides.
    """
    if not straight and slant > MOST_SLANT:
        return True
    radius = section.fit.pitch_radius_mm / abs(section.fit.pitch_mm)
    lower = most_lower(slant, radius, section.winding.starts)
    return slant > LEAST_HIDING and lower > MOST_LOWER


def _nearness(section: Section, surface: Surface, mm_per_px: float, straight: bool) -> float:
    """Return how far the light is that of a panel close behind the part, 0 to 1.

    The traced light tells the panel's distance; flanks that scatter more than any even light draws
    them tell that the trace does not hold. Under a slant they scatter all the same.
    """
    scatter = section.fit.rms_mm
    limit = max(UNEVEN_PX * mm_per_px, UNEVEN_PITCHES * abs(section.fit.pitch_mm))
    if straight and scatter > limit:
        return 1.0
    return surface.near


def _straight(
    flanks: Flanks,
    section: Section,
    frame: AxisFrame,
    spacing_mm: float,
    within: tuple[float, float],
) -> tuple[Flanks, bool]:
    """Keep the points that lie on the straight part of the flank in the axial section.

    ``within`` says how far below the crest, in pitches.

    Seen along the thread, a flank's contour turns toward or away from the camera, and its radius
    is larger than its distance from the axis in the picture: what looks like mid-flank may be the
    crest's rounding.
    """
    seen = np.abs(section.to_axis(frame.from_photo(flanks.xy))[:, 1])
    below = flanks.below - (section.points.r - seen) / spacing_mm
    keep = (below > within[0]) & (below < within[1])
    # Seen so far along the thread that little of a flank is left, the rest would say nothing. One
    # side's flanks tell of the angle where the other's are hid; each must show where it lies.
    for flank in (1.0, -1.0):
        group = flanks.flank == flank
        if keep[group].sum() < ENOUGH_STRAIGHT * group.sum():
            return flanks, False
        if any(keep[group & (flanks.side == side)].sum() < FEWEST_STRAIGHT for side in (1, -1)):
            return flanks, False
    return flanks.only(keep), True


def _tips(
    sight: Sight, section: Section, surface: Surface, *, near_panel: bool
) -> tuple[tuple[Tip, ...], tuple[Tip, ...]]:
    around = Around(
        mirrors={
            side: _mirror(sight, section, surface, side, near_panel=near_panel)
            for side in (1.0, -1.0)
        },
        background=surface.background,
        near_panel=near_panel,
    )
    tips = fit_tips(sight, section, around)
    if not sight.roots:
        return tips, ()
    return tips, fit_tips(sight, section, around, groove=True, crests=tips)


def _mirror(
    sight: Sight, section: Section, surface: Surface, side: float, *, near_panel: bool
) -> Mirror:
    """Return what one side mirrors: as far as its normals' directions reach in the light."""
    angles = []
    plus, minus = section.fit.tan_half
    foot = np.array([0.0, side * section.fit.pitch_radius_mm, 0.0])
    for along, out in ((-1.0, minus), (0.0, 1.0), (1.0, plus)):
        ends = sight.to_photo(np.stack([foot, foot + [along, side * out, 0.0]]))
        normal = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
        reach = reach_to_border(sight.field, ends[0], normal)
        panel = surface.panel / (1 + surface.panel)
        angles.append(mirror_angle(reach, sight.camera.f_px, panel))
    return Mirror(
        metal=surface.metal.elsewhere(U_LOSS, U_ROUGHNESS, U_SHARE),
        angles_rad=(angles[0], angles[1], angles[2]),
        u_angles=U_NEAR_ANGLES if near_panel else U_ANGLES,
    )


def remeasure(
    shape: ThreadShape, camera: Camera, height_mm: float, incline_rad: float
) -> ThreadShape:
    """Fit the same edge points again with another geometry: for the uncertainty budget.

    Crests and roots keep their place in the picture and follow the scale across the axis.
    """
    frame = laid_frame(shape.frame, shape.axis, camera, height_mm, incline_rad)
    spacing_mm = shape.spacing_px * frame.mm_per_px
    section = None
    if float(frame.along @ shape.frame.along) <= np.cos(ANOTHER_POSE_RAD):
        # So far from its own pose a thread of few turns may leave no point sound.
        with suppress(np.linalg.LinAlgError):
            section = fit_section(shape.flanks, frame, spacing_mm, shape.section.winding, rounds=3)
    if section is None:
        section = fit_again(shape.section, shape.flanks, frame, spacing_mm)
    grow = frame.across_mm_per_px / shape.frame.across_mm_per_px
    return replace(
        shape,
        frame=frame,
        section=section,
        tips=tuple(replace(t, radius_mm=t.radius_mm * grow) for t in shape.tips),
        roots=tuple(replace(t, radius_mm=t.radius_mm * grow) for t in shape.roots),
    )
