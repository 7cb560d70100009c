"""The main job: from one photo to named threads.

photo -> lit field -> objects -> edges and rims -> reference -> every thread -> name. Each step is
a function of its own module; this one hands their results on and puts the answer together.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np

from pitchcam.adjust.next_photo import next_photo
from pitchcam.boundary import boundary
from pitchcam.camera.lenses import Lenses
from pitchcam.errors import PitchcamError, UnreadableError
from pitchcam.flags import FLAGS, flag
from pitchcam.frozen import dataclass
from pitchcam.match.reference import belief_of, doubted
from pitchcam.match.stated_size import left_doubtful, u_of
from pitchcam.objects.shapes import Shape
from pitchcam.photo import Photo
from pitchcam.photo.given import Given, photo_of
from pitchcam.pipeline.arguments import checked_scale, checked_shrinkage
from pitchcam.pipeline.beside import in_copies
from pitchcam.pipeline.damage import refuse_damaged
from pitchcam.pipeline.left_open import WHICH_READ, all_left_open, if_a_thread
from pitchcam.pipeline.own_scale import from_crests
from pitchcam.pipeline.part_threads import OnAxis, Wanted, one_thread
from pitchcam.pipeline.scene import Progress, Scene, take_apart
from pitchcam.pipeline.together import LITTLE_DOUBT, as_the_picture_tells
from pitchcam.pipeline.unfit import Found
from pitchcam.pipeline.unscaled import assumed, told_in_ratios, told_without
from pitchcam.records import (
    Flag,
    Measurement,
    PartResult,
    PhotoInfo,
    Quantity,
    ScaleResult,
    ScaleSpec,
    ThreadResult,
)

#: Reasons that may be the reference's alone: without it the photo still tells ratios and angles.
WITHOUT = ("no-reference", "cut", "touching", "references-disagree")
NO_SCALE = ScaleResult(source="none", mm_per_px=None)


def identify(
    photo: Given,
    scale: ScaleSpec | None = None,
    *,
    f35_mm: float | None = None,
    cast: bool = False,
    shrinkage: Quantity | None = None,
    plots: bool = True,
    progress: Progress | None = None,
    lenses: Lenses | None = None,
    processes: int = 1,
) -> Measurement:
    """Measure and name every thread in a photo.

    Parameters
    ----------
    photo
        Its path; or a :class:`~pitchcam.photo.Photo` that :func:`~pitchcam.photo.load_photo`
        opened; or pixels, ``(h, w)`` grey or ``(h, w, 3)`` in the order blue, green, red, uint8 or
        uint16, upright.
    scale
        The reference as the user states it; by default the marker sheet is looked for.
    f35_mm
        With pixels: the lens's focal length as on a 36 x 24 mm frame, None where unknown.
    cast
        The parts are casts of internal threads: judged against internal limits.
    shrinkage
        Relative shrinkage of the cast's compound (0.002 is 0.2 %), with its uncertainty.
    plots
        Keep what pictures and plots show.
    progress
        Called with a few words at every step.
    lenses
        What was learnt of phones' lenses: the photo is measured with it, and a card in it teaches.
    processes
        Over how many processes, this one counted, several parts may be spread, where the system
        allows it; the answer is the same.

    Returns
    -------
    Measurement
        The contract's document; threads that could not be measured carry the verdict
        ``unreadable``, and the warnings say why.

    Raises
    ------
    UnreadableError
        If the photo as a whole does not carry the measurement; an
        :class:`~pitchcam.errors.InnerFaultError` if a stage failed as nobody foresaw.
    InputError
        If the file is no photo that can be read.
    UsageError
        If an argument, or the stated reference, cannot be right.

    Examples
    --------
    >>> import pitchcam
    >>> pin = pitchcam.ScaleSpec(source="pin", mm=6.0)
    >>> found = pitchcam.identify("samples/p05-unf12-pin.jpg", pin)
    >>> found.parts[0].threads[0].verdict.designation
    '1/2-20 UNF'
    """
    spec, shrinkage = checked_scale(scale), checked_shrinkage(shrinkage)
    doing = ["opening the photo"]

    def say(text: str) -> None:
        doing.append(text)
        if progress is not None:
            progress(text)

    say("reading the photo")
    opened = photo_of(photo, f35_mm)
    with boundary(lambda: doing[-1]):
        refuse_damaged(opened)
        lens = None if lenses is None else lenses.known(opened)
        wanted = Wanted(cast=cast, shrinkage=shrinkage, plots=plots)
        try:
            scene = take_apart(opened, spec, say, lens)
        except UnreadableError as error:
            raise _without_reference(opened, spec, error, wanted) from error
        say("measuring the threads")
        found = _measure(scene, wanted, say, processes)
    if lenses is not None and scene.told is not None:
        lenses.teach(opened, scene.told)
    if lens is not None and found.scale is not None:
        found = replace(found, scale=replace(found.scale, lens_photos=lens.photos))
    return found


def _without_reference(
    photo: Photo, spec: ScaleSpec, error: UnreadableError, wanted: Wanted
) -> UnreadableError:
    """Return why a photo is refused; where only its reference is missing, with what it tells."""
    if spec.source in ("major", "none") or error.code not in WITHOUT:
        return error

    def say(text: str) -> None:
        pass

    bare = replace(spec, source="none", mm=None)
    with suppress(PitchcamError), boundary(lambda: "measuring without the reference"):
        return told_without(error, _measure(take_apart(photo, bare, say), wanted, say))
    return error


def _measure(scene: Scene, wanted: Wanted, say: Progress, processes: int = 1) -> Measurement:
    spec = scene.spec
    taken = set(scene.reference.labels) if scene.reference is not None else set()
    parts = [s for s in scene.shapes if s.blob.label not in taken and s.kind == "other"]
    parts = sorted((p for p in parts if p.threads or p.others), key=_reading_order)
    flags = list(scene.flags)
    which: str | None = None
    if spec.source == "major" and scene.reference is None:
        own = from_crests(scene, parts, float(spec.mm or 0.0))
        scene = replace(scene, camera=own.camera, own=own)
        if own.doubt is not None:
            flags.append(flag(own.doubt))
        which = own.doubt if own.doubt in WHICH_READ else None
    unscaled = spec.source == "none" and scene.reference is None
    if unscaled:
        scene = replace(scene, camera=assumed(scene.camera))
    all_faint = all(r.faint for p in parts for r in p.threads)

    def one(i: int, scene: Scene = scene) -> Read:
        say(f"measuring part {i + 1} of {len(parts)}")
        return _one_part(scene, parts[i], i + 1, wanted, all_faint)

    # A thread costs about as much as another, whatever its length.
    each = in_copies(one, [float(len(p.threads)) for p in parts], processes)
    for part in each:
        flags += part.flags
    results = [part.result for part in each]
    on_axes = [list(part.scales) for part in each]
    if which is not None:
        results = all_left_open(results, which)
    if unscaled:
        results = told_in_ratios(results, scene.camera, flags)
        u_size = 0.0
    else:
        belief = belief_of(results, spec, scene.camera.distance_mm)
        said = len(flags)
        results = doubted(results, spec, belief, flags)
        u_size = u_of(belief) if len(flags) > said else 0.0
        # What others tell counts where the reference is as stated.
        if len(flags) == said and belief.wrong < LITTLE_DOUBT and which is None:
            results, on_axes = as_the_picture_tells(results, on_axes, (spec, belief), flags)
    results = [replace(p, threads=tuple(map(if_a_thread, p.threads))) for p in results]
    read = [t for p in results for t in p.threads if t.verdict.status != "unreadable"]
    if spec.source == "major" and scene.reference is not None:
        _compare_major(read, float(spec.mm or 0.0))
    if not read:
        code = flags[-1].code if flags and flags[-1].code in FLAGS else "no-thread"
        last = flags[-1] if flags else flag("no-thread")
        raise UnreadableError(_sentence(last.message), last.advice, code=code)
    measurement = Measurement(
        photo=PhotoInfo(
            file=Path(scene.photo.path).name,
            sha256=scene.photo.sha256,
            width_px=scene.photo.width_px,
            height_px=scene.photo.height_px,
            lens=_lens(scene),
        ),
        scale=NO_SCALE if unscaled else _scale_result(scene, _first(on_axes)),
        parts=tuple(results),
        warnings=_distinct(flags),
    )
    advised = replace(measurement, parts=tuple(_advised(measurement, p) for p in results))
    return left_doubtful(advised, u_size, height_known=spec.axis_height_mm is not None)


@dataclass(frozen=True, kw_only=True)
class Read:
    """A part as it was read, each thread's scale, and what is to be said of it."""

    result: PartResult
    scales: tuple[OnAxis | None, ...]
    flags: tuple[Flag, ...]


def _one_part(scene: Scene, part: Shape, number: int, wanted: Wanted, all_faint: bool) -> Read:
    flags: list[Flag] = []
    threads: list[ThreadResult] = []
    scales: list[OnAxis | None] = []
    for region in part.threads:
        found, before = Found(part=part, region=region, number=number), len(flags)
        result, scale = one_thread(scene, found, wanted, flags)
        if region.faint and not all_faint and result.verdict.status == "unreadable":
            # A ripple that is none of a thread is nothing to tell beside one.
            del flags[before:]
            continue
        threads.append(result)
        scales.append(scale)
    x0, y0 = part.outline_px.min(axis=0)
    x1, y1 = part.outline_px.max(axis=0)
    step = max(1, len(part.outline_px) // 400)
    return Read(
        result=PartResult(
            id=number,
            box_px=(float(x0), float(y0), float(x1), float(y1)),
            threads=tuple(threads),
            outline_px=tuple((float(x), float(y)) for x, y in part.outline_px[::step]),
        ),
        scales=tuple(scales),
        flags=tuple(replace(f, part=number) for f in flags),
    )


def _advised(measurement: Measurement, part: PartResult) -> PartResult:
    """Return a part whose open threads say which further photo would tell most."""

    def advised(thread: ThreadResult) -> ThreadResult:
        more = next_photo(measurement, part, thread)
        if more is None:
            return thread
        step = f"{thread.verdict.next_step or ''} {more}".strip()
        return replace(thread, verdict=replace(thread.verdict, next_step=step))

    return replace(part, threads=tuple(advised(t) for t in part.threads))


def _first(on_axes: list[list[OnAxis | None]]) -> Quantity | None:
    return next((s.mm_per_px for own in on_axes for s in own if s is not None), None)


def _compare_major(read: list[ThreadResult], stated_mm: float) -> None:
    """Hold the caliper's reading against the sheet's scale."""
    majors = [t.reading.major_mm for t in read if t.reading.major_mm is not None]
    if majors and all(abs(q.value - stated_mm) > max(0.03 * stated_mm, 4 * q.u) for q in majors):
        raise UnreadableError(
            f"By the marker sheet the thread measures {majors[0].value:.2f} mm, by the caliper "
            f"{stated_mm:.2f} mm.",
            FLAGS["references-disagree"][1],
            code="references-disagree",
        )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."


def _reading_order(shape: Shape) -> tuple[int, float]:
    """Return the key that numbers parts in rows from the top, each row from the left."""
    x, y = shape.centre_px
    return int(y // 400), float(x)


def _distinct(flags: list[Flag]) -> tuple[Flag, ...]:
    seen: dict[tuple[str, str, int | None], Flag] = {}
    for f in flags:
        seen.setdefault((f.code, f.message, f.part), f)
    return tuple(seen.values())


def _lens(scene: Scene) -> str:
    """Return what tells one lens from another: its stated focal length and the picture's size."""
    photo = scene.photo
    long, short = max(photo.width_px, photo.height_px), min(photo.width_px, photo.height_px)
    stated = "unstated" if photo.f35_mm is None else f"{photo.f35_mm:g} mm"
    return f"{stated} {long}x{short}"


def _scale_result(scene: Scene, first: Quantity | None) -> ScaleResult | None:
    if first is None:
        return None
    camera, spec = scene.camera, scene.spec
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
        source=source,
        mm_per_px=first,
        camera_height_mm=height,
        box_px=box,
        stated_mm=spec.mm if source == spec.source else spec.sheet_bar_mm,
        focal_px=Quantity(value=camera.f_px, u=camera.u_f_px),
        outline_px=tuple((float(x), float(y)) for x, y in outline[::step]),
    )
