"""One thread of a part: refused with a reason, or measured, budgeted, read and named."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import numpy as np

from pitchcam.boundary import boundary
from pitchcam.edges.flank_fit import FEWEST_TO_VOTE
from pitchcam.edges.flank_points import most_lower
from pitchcam.edges.sight import Sight
from pitchcam.errors import OutlineError, UnreadableError
from pitchcam.flags import UNFITTED_ADVICE, flag
from pitchcam.frozen import dataclass
from pitchcam.match import name_thread
from pitchcam.objects.frame import axis_frame
from pitchcam.objects.own_axis import local_axis, region_along
from pitchcam.objects.regions import Region
from pitchcam.objects.shapes import Shape
from pitchcam.pipeline.by_form import by_form, hangs_on_form
from pitchcam.pipeline.cast import as_cast
from pitchcam.pipeline.inputs import scale_shares
from pitchcam.pipeline.outline import budgeted
from pitchcam.pipeline.place import geometry
from pitchcam.pipeline.pose_report import hidden_flanks, left_hand, lies_aslant, part_pose
from pitchcam.pipeline.scene import Scene
from pitchcam.pipeline.told_lens import told
from pitchcam.pipeline.unfit import Found, hardly_turns, refusal, too_small
from pitchcam.records import BudgetLine, Flag, Quantity, ThreadReading, ThreadResult, Verdict
from pitchcam.thread.as_laid import measure_as_laid
from pitchcam.thread.budget import relative_u_scale
from pitchcam.thread.crest_lines import CrestShape, measure_crests
from pitchcam.thread.doubts import told as doubt
from pitchcam.thread.extent import thread_extent
from pitchcam.thread.in_step import in_step, u_lag
from pitchcam.thread.likeness import no_ridges, no_thread
from pitchcam.thread.measure import MOST_LOWER, ThreadShape, measure_thread
from pitchcam.thread.pose.drift import Kind
from pitchcam.thread.pose.height import Rest, rest_height
from pitchcam.thread.pose.laid import Known, lay_either
from pitchcam.thread.pose.records import Pose
from pitchcam.thread.reading import crest_plots, crest_reading, half_angles, plots, to_reading
from pitchcam.thread.ridges import are_ridges
from pitchcam.thread.runs import U_SHEAR_RAD, refuse_run

#: Below this many pixels a pitch an impossible angle is put down to the pixels.
COARSE_PX = 12.0
#: Turns below which what fits no series is no finding: a crest of the run-out may be one of them.
SURE_TURNS = 2.9
#: Included angles that a screw thread of the series in question can show: from BA's 47.5 to the 80
#: of Pg.
ANGLES_DEG = (38.0, 88.0)
#: Slant from which on ridges may hide their flanks. Below, a thread shows them or is none, unless
#: it is so thick that one side's begin lower than MOST_LOWER all the same: with the helix's lean of
#: one start (hidden flanks tell no more) from a radius of 9 pitches on at this slant.
LEAST_SLANT = 0.10
#: Probability of both sides in step from which on they are taken so: for rings where the grooves
#: are hidden, for two starts where they are seen.
LIKELIER = 0.5
#: Slope of the axis beyond which a thread is measured anew in its pose, not only fitted again: it
#: moves what is seen of a flank by a twentieth of its height.
ASLANT_RAD = np.radians(3.0)
#: Raised where what is seen of a thread does not determine it.
NOT_FITTED = (np.linalg.LinAlgError, OutlineError)


@dataclass(frozen=True, kw_only=True)
class OnAxis:
    """The scale on a thread's axis, mm per pixel, and what its error hangs on.

    ``shares`` as in :class:`pitchcam.adjust.whole.Seen`.
    """

    mm_per_px: Quantity
    shares: dict[str, float]

    def rescaled(self, factor: float, left: float) -> OnAxis:
        """Return the scale times a factor, with a share of its uncertainty left."""
        scale = self.mm_per_px
        return replace(
            self, mm_per_px=Quantity(value=scale.value * factor, u=scale.u * factor * left)
        )


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What is asked of every thread: the internal one that a cast shows, and what plots show.

    ``shrinkage`` is that of the cast's compound, relative.
    """

    cast: bool = False
    shrinkage: Quantity | None = None
    plots: bool = True


def measured(scene: Scene, part: Shape, region: Region) -> tuple[ThreadShape, Rest]:
    """Measure one thread at its height; the hexagon's turn, seen from the thread, corrects it.

    What was found is kept: the last look at the thread that gives the scale is the first at it as
    a thread.
    """
    # The objects are held beside what was found, so that no other gets their place in memory.
    hangs_on = (part, region, scene.camera, scene.reference)
    key = (*map(id, hangs_on), scene.rough)
    if key not in scene.kept:
        scene.kept[key] = (hangs_on, *_measured(scene, part, region))
    return scene.kept[key][1:]


def _measured(scene: Scene, part: Shape, region: Region) -> tuple[ThreadShape, Rest]:
    camera = scene.camera
    rest = rest_height(part, camera, scene.rims.spread.blur_px)
    sight = _sight(scene, part, region, rest.height_mm)
    try:
        shape = _wound(sight)
    except NOT_FITTED:
        # Taken as level, its ridges hide their flanks; laid by its crests, it may show them.
        crests, rest = by_crests(scene, part, region)
        if abs(rest.pose.slope_rad) < ASLANT_RAD and _may_hide(crests):
            raise
        return _wound(sight.laid(camera, rest.height_mm, rest.pose.slope_rad)), rest
    rest, laid = _laid(shape, scene, part, rest)
    if abs(rest.pose.slope_rad) > ASLANT_RAD:
        # Which points are straight, and where the light has its edges, goes with the slope.
        with suppress(*NOT_FITTED):
            aslant = sight.laid(camera, rest.height_mm, rest.pose.slope_rad)
            return measure_as_laid(laid, aslant), rest
    return laid, rest


def _wound(sight: Sight) -> ThreadShape:
    """Measure a thread; both sides in step have two starts, and a helix twice as steep."""
    shape = measure_thread(sight)
    twice = in_step(shape.lag, sight.region, sight) > LIKELIER
    return measure_thread(sight, starts=2) if twice else shape


def _sight(scene: Scene, part: Shape, region: Region, height_mm: float) -> Sight:
    """Return how a thread is seen, its axis level at a height over the plate."""
    points = part.lit_outline_px
    axis = local_axis(points, part.axis, region)
    region = region_along(points, part.axis, axis, region)
    middle = (region.start_px + region.end_px) / 2
    return Sight(
        crop=part.crop,
        field=scene.field,
        rims=scene.rims,
        region=region,
        outline_px=points,
        axis=axis,
        frame=axis_frame(scene.camera, axis, middle, height_mm),
        roots=not scene.rough,
        u_shear_rad=0.0 if scene.rows_shown else U_SHEAR_RAD,
    )


def _focused(scene: Scene, found: Found) -> Scene:
    """Return the scene; where no tag states the focal length, with that which the part tells."""

    def lies(scene: Scene) -> Pose:
        with suppress(*NOT_FITTED):
            return measured(replace(scene, rough=True), found.part, found.region)[1].pose
        return by_crests(scene, found.part, found.region)[1].pose

    return told(scene, lies)


def _laid(shape: Kind, scene: Scene, part: Shape, level: Rest) -> tuple[Rest, Kind]:
    """Return how a part rests, by one of its threads, and the thread in that pose."""
    fixed = None if scene.reference is None else scene.reference.pivot_mm
    known = Known(height_mm=scene.spec.axis_height_mm, fixed_mm=fixed)
    return lay_either(shape, part, level, scene.rims.spread.blur_px, known)


def one_thread(
    scene: Scene, found: Found, wanted: Wanted, flags: list[Flag]
) -> tuple[ThreadResult, OnAxis | None]:
    """Measure and name one threaded region of a part.

    Returns
    -------
    result, scale
        The thread, ``unreadable`` where it cannot be measured (then a flag in ``flags`` says why);
        and the scale on its axis.
    """
    problem = refusal(scene, found)
    if problem is None:
        try:
            return _either_way(scene, found, wanted, flags)
        except NOT_FITTED:
            problem = _not_fitted(found)
        except UnreadableError as error:
            # The message is a sentence; among warnings it stands as a clause.
            text = error.message.rstrip(".")
            problem = flag(error.code, text[:1].lower() + text[1:], error.advice)
    return _unreadable(found, problem, flags), None


def _either_way(
    scene: Scene, found: Found, wanted: Wanted, flags: list[Flag]
) -> tuple[ThreadResult, OnAxis | None]:
    """Measure and name a thread by its flanks, or by its crests where no flanks can be fitted."""
    number = found.number
    try:
        with boundary(lambda: f"the measurement of part {number}", NOT_FITTED):
            scene = _focused(scene, found)
            return _one_thread(scene, found, wanted, flags)
    except NOT_FITTED:
        with boundary(lambda: f"the crests of part {number}", NOT_FITTED):
            return _by_crests(scene, found, wanted, flags)


def _one_thread(
    scene: Scene, found: Found, wanted: Wanted, flags: list[Flag]
) -> tuple[ThreadResult, OnAxis | None]:
    part, region, number = found.part, found.region, found.number
    shape, rest = measured(scene, part, region)
    if shape.hidden:
        with suppress(*NOT_FITTED):
            return _by_crests(scene, found, wanted, flags)
    angle = shape.section.fit.angle_deg
    if not ANGLES_DEG[0] <= angle <= ANGLES_DEG[1]:
        problem = flag(
            "no-thread",
            f"part {number} repeats with an included angle of {angle:.0f} degrees, as "
            "no screw thread does",
        )
        if region.turns < SURE_TURNS + 1:
            # A shoulder or a chamfer at either end counts as a turn's side, and makes the angle.
            problem = hardly_turns(number)
        elif region.spacing_px < COARSE_PX:
            problem = too_small(found)  # so few pixels may have made the angle
        return _unreadable(found, problem, flags), None
    # What is no thread shows no rows out of place, nor do flanks that are thrown away.
    if not scene.rows_shown:
        refuse_run(shape, number)
    if shape.section.winding.hand < 0:
        flags += left_hand(number, scene.rows_shown)
    flags += lies_aslant(rest.pose, number)
    place = geometry(scene, region, shape, rest)
    shape, lines = budgeted(shape, place)
    reading = to_reading(shape, lines, thread_extent(shape, part, region))
    if wanted.cast:
        reading = as_cast(reading, wanted.shrinkage)
    verdict: Verdict = name_thread(reading)
    if hangs_on_form(verdict) and not wanted.cast:
        with suppress(*NOT_FITTED):
            crests, laid = by_crests(scene, part, region)
            u_slope = geometry(scene, region, crests, laid).u_slope_rad
            reading = by_form(reading, crests, u_slope, verdict)
            verdict = name_thread(reading)
    if _unsure(region, verdict) or _hardly_flanks(region, shape):
        return _unreadable(found, hardly_turns(number), flags), None
    halves = half_angles(shape, lines)
    result = ThreadResult(
        reading=reading,
        half_angles_deg=halves,
        turns=region.turns,
        span_px=_span(shape),
        budget=lines,
        verdict=verdict,
        plots=plots(shape, reading) if wanted.plots else None,
        pose=part_pose(rest.pose),
        taper_sign=_sign(shape.section.fit.taper),
        in_step=doubt(in_step(shape.lag, region, shape)) if reading.starts == 1 else 0.0,
        no_thread=doubt(
            no_thread(shape, region, (reading.angle_deg, *halves), u_lag(region, shape))
        ),
    )
    return result, OnAxis(
        mm_per_px=_axis_scale(shape, lines), shares=scale_shares(scene, shape, place, lines, number)
    )


def _by_crests(
    scene: Scene, found: Found, wanted: Wanted, flags: list[Flag]
) -> tuple[ThreadResult, OnAxis | None]:
    """Measure and name a thread whose flanks are hidden by what its crests tell."""
    region, number = found.region, found.number
    shape, rest = by_crests(scene, found.part, region)
    if not _may_hide(shape):
        raise OutlineError("flanks that nothing hides are not seen")
    rings = in_step(shape.lag, region, shape)
    if rings > LIKELIER:
        # So do two starts; hidden flanks do not tell which of both they are.
        text = f"the crests of part {number} stand opposite each other, as those of rings do"
        return _unreadable(found, flag("no-thread", text), flags), None
    if not are_ridges(shape):
        text = f"part {number} repeats, but between its crests is not the outline of ridges"
        return _unreadable(found, flag("no-thread", text), flags), None
    flags += lies_aslant(rest.pose, number)
    place = geometry(scene, region, shape, rest)
    shape, lines = budgeted(shape, place)
    reading = crest_reading(shape, lines)
    if wanted.cast:
        reading = as_cast(reading, wanted.shrinkage)
    verdict = name_thread(reading)
    if hangs_on_form(verdict) and not wanted.cast:
        reading = by_form(reading, shape, place.u_slope_rad, verdict)
        verdict = name_thread(reading)
    if _unsure(region, verdict):
        return _unreadable(found, hardly_turns(number), flags), None
    flags.append(hidden_flanks(reading, number))
    result = ThreadResult(
        reading=reading,
        half_angles_deg=(None, None),
        turns=region.turns,
        span_px=_span(shape),
        budget=lines,
        verdict=verdict,
        plots=crest_plots(shape) if wanted.plots else None,
        pose=part_pose(rest.pose),
        taper_sign=_sign(shape.taper),
        in_step=doubt(rings),
        no_thread=doubt(no_ridges(shape, u_lag(region, shape), place.u_slope_rad)),
    )
    return result, OnAxis(
        mm_per_px=_axis_scale(shape, lines), shares=scale_shares(scene, shape, place, lines, number)
    )


def by_crests(scene: Scene, part: Shape, region: Region) -> tuple[CrestShape, Rest]:
    """Measure one thread by its crests alone, in its part's pose.

    What was found is kept with the scene: it is asked for again where flanks cannot be fitted.
    """
    # The objects are held beside what was found, so that no other gets their place in memory.
    key, kept = (id(part), id(region)), scene.by_crests
    if key not in kept:
        rest = rest_height(part, scene.camera, scene.rims.spread.blur_px)
        shape = measure_crests(_sight(scene, part, region, rest.height_mm))
        rest, laid = _laid(shape, scene, part, rest)
        kept[key] = (part, region, laid, rest)
    return kept[key][2], kept[key][3]


def _may_hide(shape: CrestShape) -> bool:
    """Whether a thread's ridges, as they are seen, may hide their flanks on one side."""
    lower = most_lower(shape.slant, shape.major_mm / 2 / shape.pitch_mm)
    return shape.slant > LEAST_SLANT or lower > MOST_LOWER


def _axis_scale(shape: ThreadShape | CrestShape, lines: tuple[BudgetLine, ...]) -> Quantity:
    """Return the scale on the axis: that of its depth, not of the slant way to it, mm per pixel."""
    value = float(shape.frame.origin[2]) / shape.camera.f_px
    return Quantity(value=value, u=value * relative_u_scale(lines, shape.pitch_mm))


def _unreadable(found: Found, problem: Flag, flags: list[Flag]) -> ThreadResult:
    """Note the problem and return the thread without any quantity."""
    flags.append(problem)
    part, region = found.part, found.region
    ends = part.axis.to_photo(np.array([[region.start_px, 0.0], [region.end_px, 0.0]]))
    return ThreadResult(
        reading=ThreadReading(),
        half_angles_deg=(None, None),
        turns=region.turns,
        span_px=((float(ends[0, 0]), float(ends[0, 1])), (float(ends[1, 0]), float(ends[1, 1]))),
        budget=(),
        verdict=Verdict(status="unreadable", next_step=problem.advice),
    )


def _unsure(region: Region, verdict: Verdict) -> bool:
    """Whether a reading that fits no series is put down to the few turns it comes from."""
    return region.turns < SURE_TURNS and verdict.status == "off-series"


def _hardly_flanks(region: Region, shape: ThreadShape) -> bool:
    """Whether flanks so few were measured that nothing tells a shoulder's from a thread's."""
    return region.turns < SURE_TURNS and shape.section.fit.scatter.flanks < FEWEST_TO_VOTE


def _not_fitted(found: Found) -> Flag:
    """Return why flanks could not be fitted: too few turns or pixels, or something else."""
    if found.region.turns < SURE_TURNS:
        return hardly_turns(found.number)
    if found.region.spacing_px < COARSE_PX:
        return too_small(found)
    text = f"the flanks of part {found.number} could not be fitted"
    return flag("not-read", text, UNFITTED_ADVICE)


def _sign(taper: float) -> int:
    return -1 if taper < 0 else 1


def _span(shape: ThreadShape | CrestShape) -> tuple[tuple[float, float], tuple[float, float]]:
    ends = shape.frame.to_photo(np.array([[s, 0.0, 0.0] for s in shape.span_mm]))
    return (float(ends[0, 0]), float(ends[0, 1])), (float(ends[1, 0]), float(ends[1, 1]))
