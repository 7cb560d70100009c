"""The main job: from one photo to named threads.

photo -> lit field -> objects -> edges and rims -> reference -> every thread -> name. Each step is
a function of its own module; this one only hands their results on and turns failures into flags.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import UnreadableError, UsageError
from pitchcam.flags import FLAGS, flag
from pitchcam.match import name_thread
from pitchcam.outline.field import Field, find_field
from pitchcam.outline.rims import Rims
from pitchcam.photo import Photo, load_photo
from pitchcam.records import (
    Flag,
    Measurement,
    PartResult,
    PhotoInfo,
    Quantity,
    ScaleResult,
    ScaleSpec,
    ThreadReading,
    ThreadResult,
    Verdict,
)  # fmt: skip
from pitchcam.scale.camera import Camera, camera_from_exif
from pitchcam.scale.find import check_spec, find_reference
from pitchcam.scale.reference import Reference
from pitchcam.scale.shapes import Shape, describe
from pitchcam.scale.straight import learn_rims, sharpened_undone
from pitchcam.scale.tilt import PRIOR_TILT_RAD, window_tilt
from pitchcam.thread.budget import Geometry, budget
from pitchcam.thread.ends import thread_ends
from pitchcam.thread.height import Rest, hexagon_roll, rest_height, turned
from pitchcam.thread.measure import ThreadShape, measure_thread, remeasure
from pitchcam.thread.reading import half_angles, plots, to_reading
from pitchcam.thread.regions import Region

Progress = Callable[[str], None]

#: A thread needs at least this many pixels a pitch: below, its flanks are shorter than the blur.
FEWEST_PX = 7.0
#: A blur beyond this share of the pitch fills the roots and rounds the flanks away.
MOST_BLUR = 0.13
#: Full turns that a photo must show.
FEWEST_TURNS = 2.9
#: Lag of the two sides, in pitches, below which they are in step (0.5 for a single start).
IN_STEP = 0.2
#: Included angles that a screw thread of the series in question can show.
ANGLES_DEG = (38.0, 74.0)


@dataclass(frozen=True, kw_only=True)
class Scene:
    """One photo, taken apart: its objects, edges, reference and what was noticed on the way."""

    photo: Photo
    field: Field
    shapes: tuple[Shape, ...]
    rims: Rims
    camera: Camera
    reference: Reference | None
    flags: tuple[Flag, ...]


def identify(
    path: str | Path,
    scale: ScaleSpec | None = None,
    *,
    cast: bool = False,
    shrinkage: Quantity | None = None,
    plots: bool = True,
    progress: Progress | None = None,
) -> Measurement:
    """Measure and name every thread in a photo.

    Parameters
    ----------
    path
        The photo.
    scale
        The reference as the user states it; by default the marker sheet is looked for.
    cast
        The parts are casts of internal threads: judged against internal limits.
    shrinkage
        Relative shrinkage of the cast's compound (0.002 is 0.2 %), with its uncertainty.
    plots
        Keep what pictures and plots show.
    progress
        Called with a few words at every step.

    Returns
    -------
    Measurement
        The contract's document; threads that could not be measured carry the verdict
        ``unreadable``, and the warnings say why.

    Raises
    ------
    UnreadableError
        If the photo as a whole does not carry the measurement.
    InputError
        If the file is no photo that can be read.
    UsageError
        If the stated reference cannot be right.
    """
    spec = scale or ScaleSpec()
    check_spec(spec)
    say = progress or (lambda text: None)
    say("reading the photo")
    photo = load_photo(path)
    scene = _take_apart(photo, spec, say)
    say("measuring the threads")
    return _measure(scene, spec, cast, shrinkage, plots, say)


def _take_apart(photo: Photo, spec: ScaleSpec, say: Progress) -> Scene:
    say("finding the parts")
    pixels: NDArray[np.generic] = photo.pixels
    field = find_field(pixels)
    flags: list[Flag] = []
    camera, reference = _camera(photo, field, spec, flags)
    if reference is not None:
        # Beside the sheet's window lies paper, which is no background for parts.
        field = find_field(pixels, within_px=reference.outline_px)
    shapes = [describe(pixels, field, b) for b in field.blobs]
    if not shapes:
        raise UnreadableError(
            "No dark part on a bright background was found.", FLAGS["no-part"][1], code="no-part"
        )
    say("placing the edges")
    rims, pins = learn_rims(shapes, field, camera.f_px)
    _refuse_whole(shapes, rims, field)
    assert rims is not None
    shapes = [sharpened_undone(s, rims) for s in shapes]
    if reference is None:
        camera = _tilted(pixels, field, camera)
        if spec.source in ("pin", "disc", "card", "jaws"):
            reference = find_reference(spec, shapes, camera, pins)
            camera = reference.camera
        elif spec.source != "major":
            raise UnreadableError(
                "No marker sheet was found, and no other reference was stated.",
                "State the reference beside the part (--pin, --disc, --card, --jaws) or the "
                "caliper's reading of the thread (--major).", code="no-reference",
            )  # fmt: skip
    flags += _scene_flags(rims, field, camera)
    return Scene(
        photo=photo, field=field, shapes=tuple(shapes), rims=rims, camera=camera,
        reference=reference, flags=tuple(flags),
    )  # fmt: skip


def _camera(
    photo: Photo, field: Field, spec: ScaleSpec, flags: list[Flag]
) -> tuple[Camera, Reference | None]:
    """Return the camera from profile, sheet or EXIF, and the sheet as reference if it is there."""
    from pitchcam.scale.profile import load_profile

    camera = camera_from_exif(photo.width_px, photo.height_px, photo.f35_mm)
    profile = None
    if spec.camera_profile is not None:
        profile = load_profile(Path(spec.camera_profile))
        p = profile.for_size(photo.width_px, photo.height_px)
        camera = replace(
            camera, f_px=p.f_px, u_f_px=p.u_f_px, centre_px=p.centre_px, k1=p.k1, k2=p.k2
        )
    # A sheet shows as a dozen or more dark squares; without them the search is not worth its time.
    if spec.source in ("auto", "sheet") or len(field.blobs) >= 10:
        from pitchcam.scale.sheet import find_sheet

        f_px = camera.f_px if photo.f35_mm else None
        pose = find_sheet(_grey8(photo.pixels), f_px, spec.sheet_bar_mm, profile=profile)
        if pose is not None:
            window = np.array(pose.window_px)
            reference = Reference(
                source="sheet", camera=pose.camera,
                u_scale=pose.mm_per_px.u / pose.mm_per_px.value, height_mm=0.0, u_height_mm=0.1,
                where_px=window.mean(axis=0), labels=(), outline_px=window,
            )  # fmt: skip
            return pose.camera, reference
        if spec.source == "sheet":
            raise UnreadableError(
                "No marker sheet was found in the photo.",
                "Show at least four of its markers whole and sharp, retake.", code="no-reference",
            )  # fmt: skip
    if photo.f35_mm is None and profile is None and spec.source != "major":
        flags.append(flag("no-exif"))
    return camera, None


def _grey8(pixels: NDArray[np.generic]) -> NDArray[np.uint8]:
    import cv2

    coded: Any = pixels
    eight = (coded / 257).astype(np.uint8) if pixels.dtype == np.uint16 else coded
    grey = eight if eight.ndim == 2 else cv2.cvtColor(eight, cv2.COLOR_BGR2GRAY)
    return np.asarray(grey, dtype=np.uint8)


def _tilted(pixels: NDArray[np.generic], field: Field, camera: Camera) -> Camera:
    found = window_tilt(pixels, field, camera)
    if found is None:
        return replace(camera, u_tilt_rad=float(PRIOR_TILT_RAD))
    return camera.tilted(*found)


def _refuse_whole(shapes: list[Shape], rims: Rims | None, field: Field) -> None:
    """Raise where nothing in the photo can be measured, with the reason that a person can mend."""
    spacing = max((r.spacing_px for s in shapes for r in s.threads), default=0.0)
    blur = rims.spread.blur_px if rims is not None else 0.0
    if spacing == 0:
        blur = max(blur, _overall_blur(shapes))
    if blur > 2.6 and blur > MOST_BLUR * spacing:
        raise UnreadableError(
            f"The outline is out of focus or shaken: edges are blurred over {2.5 * blur:.0f} "
            "pixels.", FLAGS["blurred"][1], code="blurred",
        )  # fmt: skip
    if spacing > 0 and rims is not None:
        return
    if any(s.blob.cut for s in shapes if s.kind == "other"):
        raise UnreadableError(
            "A part is cut by the edge of the picture or of the light.", FLAGS["cut"][1],
            code="cut",
        )  # fmt: skip
    barbs = any(s.others for s in shapes)
    what = "only hose barbs or rings were found" if barbs else "no threaded part was found"
    raise UnreadableError(
        f"There is no thread to measure: {what}.", FLAGS["no-thread"][1], code="no-thread"
    )


def _overall_blur(shapes: list[Shape]) -> float:
    """Return a rough blur from the width of the outlines' fall of light, pixels."""
    from pitchcam.outline.contour import outline

    widths = []
    for shape in shapes:
        try:
            low, high = outline(shape.crop, 0.3, fill_px=30), shape.outline_px
        except ValueError:
            continue
        import cv2

        areas = [abs(cv2.contourArea(p.astype(np.float32))) for p in (low, high)]
        length = cv2.arcLength(high.astype(np.float32), True)
        # Levels 0.86 and 0.3 of an edge lie 1.6 standard deviations apart.
        widths.append((areas[1] - areas[0]) / max(length, 1.0) / 1.6)
    return min(widths, default=0.0)


def _scene_flags(rims: Rims, field: Field, camera: Camera) -> list[Flag]:
    flags = []
    widest = float(rims.rims_px.max()) if len(rims.rims_px) else 0.0
    if widest > 2.5:
        flags.append(flag("rim", f"parts mirror the light over {widest:.0f} pixels along their "
                                 "edges"))  # fmt: skip
    if rims.spread.gain > 0.55:
        flags.append(flag("halo"))
    if camera.tilt_deg > 2.5:
        flags.append(flag("tilt", f"the camera was tilted by about {camera.tilt_deg:.0f} degrees"))
    if field.clipped_share > 0.1:
        flags.append(flag(
            "over-exposed", f"{100 * field.clipped_share:.0f} % of the background is clipped"
        ))  # fmt: skip
    return flags


@dataclass(frozen=True, kw_only=True)
class _Found:
    """A measured thread on its part."""

    shape: ThreadShape
    region: Region
    rest: Rest


def _measure(
    scene: Scene, spec: ScaleSpec, cast: bool, shrinkage: Quantity | None, with_plots: bool,
    say: Progress,
) -> Measurement:  # fmt: skip
    taken = set(scene.reference.labels) if scene.reference is not None else set()
    parts = [s for s in scene.shapes if s.blob.label not in taken and s.kind == "other"]
    parts = sorted((p for p in parts if p.threads or p.others), key=_reading_order)
    flags = list(scene.flags)
    camera = scene.camera
    if spec.source == "major":
        camera = _camera_from_major(scene, parts, float(spec.mm or 0.0), spec)
    results = []
    first_scale: Quantity | None = None
    for number, part in enumerate(parts, start=1):
        say(f"measuring part {number} of {len(parts)}")
        threads = []
        for region in part.threads:
            result, scale = _one_thread(
                scene, camera, part, region, spec, cast, shrinkage, with_plots, number, flags
            )
            threads.append(result)
            first_scale = first_scale or scale
        x0, y0 = part.outline_px.min(axis=0)
        x1, y1 = part.outline_px.max(axis=0)
        step = max(1, len(part.outline_px) // 400)
        results.append(PartResult(
            id=number, box_px=(float(x0), float(y0), float(x1), float(y1)),
            threads=tuple(t for t in threads if t is not None),
            outline_px=tuple((float(x), float(y)) for x, y in part.outline_px[::step]),
        ))  # fmt: skip
    if not any(p.threads for p in results):
        code = flags[-1].code if flags and flags[-1].code in FLAGS else "no-thread"
        last = flags[-1] if flags else flag("no-thread")
        raise UnreadableError(_sentence(last.message), last.advice, code=code)
    return Measurement(
        photo=PhotoInfo(
            file=Path(scene.photo.path).name, sha256=scene.photo.sha256,
            width_px=scene.photo.width_px, height_px=scene.photo.height_px,
        ),
        scale=_scale_result(scene, camera, spec, first_scale),
        parts=tuple(results), warnings=_distinct(flags),
    )  # fmt: skip


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."


def _reading_order(shape: Shape) -> tuple[int, float]:
    """Return the key that numbers parts in rows from the top, each row from the left."""
    x, y = shape.centre_px
    return int(y // 400), float(x)


def _distinct(flags: list[Flag]) -> tuple[Flag, ...]:
    seen: dict[tuple[str, str], Flag] = {}
    for f in flags:
        seen.setdefault((f.code, f.message), f)
    return tuple(seen.values())


def _scale_result(
    scene: Scene, camera: Camera, spec: ScaleSpec, first: Quantity | None
) -> ScaleResult | None:
    if first is None:
        return None
    height = None
    if np.isfinite(camera.distance_mm):
        share = camera.u_f_px / camera.f_px
        height = Quantity(value=camera.distance_mm, u=camera.distance_mm * max(share, 0.002))
    outline = scene.reference.outline_px if scene.reference is not None else np.zeros((0, 2))
    step = max(1, len(outline) // 200)
    box = None
    if len(outline):
        (x0, y0), (x1, y1) = outline.min(axis=0), outline.max(axis=0)
        box = (float(x0), float(y0), float(x1), float(y1))
    source = scene.reference.source if scene.reference is not None else spec.source
    return ScaleResult(
        source=source, mm_per_px=first, camera_height_mm=height, box_px=box,
        outline_px=tuple((float(x), float(y)) for x, y in outline[::step]),
    )  # fmt: skip


def _measured(
    scene: Scene, camera: Camera, part: Shape, region: Region, spec: ScaleSpec
) -> tuple[ThreadShape, Rest]:
    """Measure one thread at its height; the hexagon's turn, seen from the thread, corrects it."""
    rest = rest_height(part, camera)
    if spec.axis_height_mm is not None:
        rest = replace(rest, height_mm=spec.axis_height_mm, u_height_mm=0.1)
    def measured(starts: int) -> ThreadShape:
        return measure_thread(
            part.crop, scene.field, camera, part.axis, region, rest.height_mm, scene.rims,
            starts=starts,
        )

    shape = measured(1)
    if shape.lag < IN_STEP:
        # Both sides in step: two starts, and a helix twice as steep.
        shape = measured(2)
    if spec.axis_height_mm is None and rest.hexagon:
        roll = hexagon_roll(part, shape.section, shape.frame, camera, rest)
        rest = turned(rest, *roll)
        shape = remeasure(shape, camera, rest.height_mm, 0.0)
    return shape, rest


def _camera_from_major(
    scene: Scene, parts: list[Shape], reading_mm: float, spec: ScaleSpec
) -> Camera:
    """Return the camera at the distance where the longest thread's crests have the reading."""
    regions = [(p, r) for p in parts for r in p.threads]
    if not regions:
        raise UnreadableError(
            "There is no thread to measure.", FLAGS["no-thread"][1], code="no-thread"
        )
    part, region = max(regions, key=lambda pr: pr[1].turns)
    _, upper, lower = part.stations
    width_px = float(np.median((upper - lower)[
        (part.stations[0] > region.start_px) & (part.stations[0] < region.end_px)
    ]))  # fmt: skip
    camera = scene.camera.over_plate(scene.camera.f_px * reading_mm / width_px * 1.06, np.nan)
    for _ in range(3):
        shape, rest = _measured(scene, camera, part, region, spec)
        major = shape.diameter_mm(shape.tips)
        if major is None:
            raise UnreadableError(
                "The crests could not be measured on both sides.", FLAGS["blurred"][1],
                code="not-read",
            )  # fmt: skip
        reach = camera.distance_mm - rest.height_mm
        camera = camera.over_plate(reach * reading_mm / major + rest.height_mm, np.nan)
    return camera


def _one_thread(
    scene: Scene, camera: Camera, part: Shape, region: Region, spec: ScaleSpec, cast: bool,
    shrinkage: Quantity | None, with_plots: bool, number: int, flags: list[Flag],
) -> tuple[ThreadResult | None, Quantity | None]:  # fmt: skip
    problem = _refuse_region(scene, part, region, number)
    if problem is not None:
        flags.append(problem)
        return None, None
    try:
        shape, rest = _measured(scene, camera, part, region, spec)
    except (np.linalg.LinAlgError, ValueError):
        flags.append(flag("not-read", f"the flanks of part {number} could not be fitted"))
        return None, None
    angle = shape.section.fit.angle_deg
    if not ANGLES_DEG[0] <= angle <= ANGLES_DEG[1]:
        flags.append(flag("no-thread", f"part {number} repeats with an included angle of "
                                       f"{angle:.0f} degrees, as no thread does"))  # fmt: skip
        return None, None
    lines = budget(shape, _geometry(scene, shape, rest, spec))
    reading = to_reading(shape, lines, thread_ends(shape, part, region))
    if cast:
        reading = _as_cast(reading, shrinkage)
    verdict: Verdict = name_thread(reading)
    result = ThreadResult(
        reading=reading, half_angles_deg=half_angles(shape, lines), turns=region.turns,
        span_px=_span(shape), budget=lines, verdict=verdict,
        plots=plots(shape, reading) if with_plots else None,
    )  # fmt: skip
    relative = float(np.sqrt(sum(
        (line.shares.get("pitch_mm", 0.0) / shape.pitch_mm) ** 2 for line in lines[:5]
    )))  # fmt: skip
    return result, Quantity(value=shape.mm_per_px, u=shape.mm_per_px * relative)


def _refuse_region(scene: Scene, part: Shape, region: Region, number: int) -> Flag | None:
    if part.blob.cut and _near_border(scene, part, region):
        return flag("cut", f"part {number} is cut through its thread by the edge of the picture "
                           "or of the light")  # fmt: skip
    if region.turns < FEWEST_TURNS:
        return flag("few-turns", f"part {number} shows only {region.turns:.1f} turns of thread")
    if region.spacing_px < FEWEST_PX:
        return flag("too-small", f"the thread of part {number} has only {region.spacing_px:.0f} "
                                 "pixels a pitch")  # fmt: skip
    if scene.rims.spread.blur_px > MOST_BLUR * region.spacing_px:
        blur_px, pitch_px = scene.rims.spread.blur_px, region.spacing_px
        return flag("blurred", f"the blur reaches over {blur_px:.1f} pixels, "
                               f"the pitch of part {number} over {pitch_px:.0f}")  # fmt: skip
    if _clipped(scene, part):
        return flag("over-exposed", f"the background beside part {number} is clipped to white")
    return None


def _near_border(scene: Scene, part: Shape, region: Region) -> bool:
    s = np.array([region.start_px, region.end_px])
    ends = part.axis.to_photo(np.stack([s, np.zeros(2)], axis=1))
    h, w = scene.photo.pixels.shape[:2]
    reach = part.width_px * 0.7
    return bool(
        (ends < reach).any() or (ends[:, 0] > w - reach).any() or (ends[:, 1] > h - reach).any()
    )


def _clipped(scene: Scene, part: Shape) -> bool:
    """Whether the background around a part is clipped in the channel that is measured."""
    import cv2

    x0, y0 = part.crop.origin_px
    h, w = part.crop.mask.shape
    pixels = scene.photo.pixels[y0 : y0 + h, x0 : x0 + w]
    around = cv2.dilate(part.crop.mask, np.ones((15, 15), np.uint8)) - part.crop.mask
    full = np.iinfo(pixels.dtype).max
    values = pixels[around > 0]
    if values.ndim == 2:
        values = values[:, 0] if part.crop.channel == "blue" else values.min(axis=1)
    return float(np.mean(values >= 0.992 * full)) > 0.25


def _geometry(scene: Scene, shape: ThreadShape, rest: Rest, spec: ScaleSpec) -> Geometry:
    camera = shape.camera
    centre = np.array(camera.centre_px)
    corner = float(np.hypot(*centre))
    here = camera.project(shape.frame.origin)
    share = float(np.hypot(*(here - centre))) / corner
    has_profile = spec.camera_profile is not None
    if scene.reference is None:
        # A caliper reads the crests to 0.02 mm, and the crests in the picture go into it as well.
        major = shape.diameter_mm(shape.tips) or 1.0
        return Geometry(
            height_mm=rest.height_mm, u_scale=0.025 / major, rise_mm=0.0, u_rise_mm=0.0,
            apart_mm=0.0, corner_share=share, corner_share_reference=share,
            has_profile=has_profile, scale_on_axis=True,
        )  # fmt: skip
    r = scene.reference
    there = float(np.hypot(*(r.where_px - centre))) / corner
    apart = float(np.hypot(*(here - r.where_px))) * shape.mm_per_px
    return Geometry(
        height_mm=rest.height_mm, u_scale=r.u_scale, rise_mm=rest.height_mm - r.height_mm,
        u_rise_mm=float(np.hypot(rest.u_height_mm, r.u_height_mm)), apart_mm=apart,
        corner_share=share, corner_share_reference=there, has_profile=has_profile,
    )  # fmt: skip


def _as_cast(reading: ThreadReading, shrinkage: Quantity | None) -> ThreadReading:
    """Turn a cast's reading into the internal thread's: larger by the compound's shrinkage."""
    s = shrinkage or Quantity(value=0.0, u=0.002)
    if not 0.0 <= s.value < 0.1:
        raise UsageError(
            f"A shrinkage of {100 * s.value:g} % cannot be right.", "State 0 to 10 percent."
        )

    def grown(q: Quantity | None) -> Quantity | None:
        if q is None:
            return None
        factor = 1 / (1 - s.value)
        return Quantity(value=q.value * factor, u=float(np.hypot(q.u, q.value * s.u)))

    return replace(
        reading, gender="internal", pitch_mm=grown(reading.pitch_mm),
        major_mm=grown(reading.major_mm), pitch_diameter_mm=grown(reading.pitch_diameter_mm),
        minor_mm=grown(reading.minor_mm),
    )  # fmt: skip


def _span(shape: ThreadShape) -> tuple[tuple[float, float], tuple[float, float]]:
    ends = shape.frame.to_photo(shape.camera, np.array([
        [shape.span_mm[0], 0.0, 0.0], [shape.span_mm[1], 0.0, 0.0],
    ]))  # fmt: skip
    return (float(ends[0, 0]), float(ends[0, 1])), (float(ends[1, 0]), float(ends[1, 1]))
