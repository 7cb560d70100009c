"""Scale from the part itself: the crests that a caliper read.

A caliper reads a parallel thread anywhere, but a taper where its jaws find it largest: at the
large end of the full thread. With several threads in the picture any of them may be the one that
was read; with the scale it gives, all of them are threads that exist, with another's they hardly
are. So may a thread that is too short to be measured, or, by a slip, a collar, a shank, a hexagon
or what repeats as a thread does and is none: barbs, rings, a knurl. Which of these was read is then
open, and so may be that it was none of them.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.focal import log_held
from pitchcam.camera.pinhole import Camera
from pitchcam.errors import UnreadableError
from pitchcam.flags import FLAGS, UNFITTED_ADVICE
from pitchcam.frozen import dataclass
from pitchcam.match.evidence import log_evidences, log_of_none
from pitchcam.match.slips import slip_shares
from pitchcam.objects.regions import Region
from pitchcam.objects.shapes import Shape
from pitchcam.pipeline.part_threads import ANGLES_DEG, LIKELIER, NOT_FITTED, by_crests, measured
from pitchcam.pipeline.read_place import ReadPlace, diameter_mm, read_places, u_diameter
from pitchcam.pipeline.scene import OwnScale, Scene
from pitchcam.records import Quantity, ThreadReading
from pitchcam.reference_kinds import U_CALIPER_MM
from pitchcam.small import median
from pitchcam.thread.budget.geometry import Measured
from pitchcam.thread.budget.read import u_crests_mm
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.in_step import in_step, u_lag
from pitchcam.thread.likeness import no_ridges, no_thread
from pitchcam.thread.pose.records import U_INCLINE_RAD
from pitchcam.thread.reading import TAPER_SEEN

Values = NDArray[np.float64]

#: Where on a taper the jaws touch: beyond the last whole ridge seen, and how far that is open, in
#: pitches (judgement; a taper of 1:16 grows by a sixteenth of that).
LARGE_END_PITCHES, U_PLACE_PITCHES = 0.3, 0.6
#: Relative standard uncertainties that ratios within one picture have before their budget is made:
#: pitch, diameters; that of an angle in degrees and of a taper.
U_RATIO, U_ANGLE_DEG, U_TAPER = (0.003, 0.004), 1.5, 0.004
#: What a ridge that stands off at an end turns a taper by, by the square of the turns: a thirtieth
#: of a pitch on three flanks (:mod:`pitchcam.thread.budget.edges`).
U_TAPER_ONE_TURN = 0.1
#: Odds below which it stays open what was read; and the share within which two diameters are one
#: to the scale: what ratios within one picture are good to before their budget is made.
CLEAR, ALIKE = 20.0, 0.01
#: Why crests give no scale.
NO_CRESTS = "The crests of no thread could be measured on both sides, so that they give no scale."
#: Rounds in which distance and height settle, and the relative change at which they have: a
#: hundredth of what the best reading is good to.
ROUNDS, SETTLED = 3, 1e-5
#: Of a step the next is so much at most, by what is known of it (it is a twentieth of it).
MOST_LEFT = 0.5


def from_crests(scene: Scene, parts: list[Shape], reading_mm: float) -> OwnScale:
    """Return the camera at the distance where the thread that was read has the reading.

    Raises
    ------
    UnreadableError
        If there is no thread, or none whose crests are seen on both sides; where one was refused
        for a reason of its own, as blurred, and no other is seen, with that reason.
    """
    regions = sorted(((p, r) for p in parts for r in p.threads), key=lambda pr: -pr[1].turns)
    if not regions:
        raise UnreadableError(
            "There is no thread to measure.", FLAGS["no-thread"][1], code="no-thread"
        )
    camera = _first(scene, *regions[0], reading_mm)
    seen, refused = _seen(scene, camera, regions)
    if not seen:
        raise refused or UnreadableError(NO_CRESTS, UNFITTED_ADVICE, code="not-read")
    # What no screw thread's angle has was not the one that was read, if another is there.
    every, seen = seen, [(pr, s) for pr, s in seen if _may_be_one(s)] or seen[:1]
    longer = [reading_mm / _touched(s) for _, s in seen]
    places = []
    for place in read_places(scene, parts, [region for (_, region), _ in every]):
        by = reading_mm / diameter_mm(scene, camera, place)[0]
        # What is as wide as a measured thread tells the same scale less well.
        if all(abs(by / own - 1) > ALIKE for own in longer[: len(seen)]):
            places.append(place)
            longer.append(by)
    if len(longer) == 1:
        choice = _Choice(number=0)
    else:
        doubts = np.array([_no_thread(region, s) for (_, region), s in seen])
        slipped = slip_shares()["reference-major"]
        shares = np.append(np.log(1 - doubts + doubts * slipped), [p.log_share for p in places])
        choice = _chosen([s for _, s in seen], doubts, camera, np.array(longer), shares)
    if choice.number >= len(seen):
        return _at_place(scene, camera, places[choice.number - len(seen)], reading_mm, choice)
    (part, region), shape = seen[choice.number]
    taken, told = camera.distance_mm, _told(camera, shape, reading_mm)
    left = 0.0
    for look in range(ROUNDS):
        # Where the steps end, each that share of the one before.
        far = told + left / (1 - left) * (told - taken)
        if abs(far - camera.distance_mm) < SETTLED * far:
            break
        camera = camera.over_plate(far)
        seen_again = None
        with suppress(UnreadableError):
            # The second look tells where the third will be.
            seen_again = _shape(scene, camera, part, region, rough=look == 0)
        if seen_again is None:
            break  # what was seen from elsewhere tells nothing of a step from here
        shape = seen_again
        before, taken, told = (taken, told), far, _told(camera, shape, reading_mm)
        left = (told - before[1]) / (taken - before[0])
        left = left if abs(left) < MOST_LEFT else 0.0
    u = float(np.hypot(U_CALIPER_MM, U_PLACE_PITCHES * shape.pitch_mm * abs(_grows(shape))))
    return OwnScale(
        camera=camera,
        part=part,
        region=region,
        frame=shape.frame,
        axis=shape.axis,
        u_reading=float(np.hypot(u / reading_mm, choice.apart)),
        u_crests=u_crests_mm(shape) / reading_mm,
        doubt=choice.doubt,
    )


@dataclass(frozen=True, kw_only=True)
class _Choice:
    """Which of the places where a caliper may have been held it was, and what is left open.

    ``apart`` is a relative standard uncertainty of all lengths, by the other places that come into
    question; ``doubt`` is the flag that says so where one of them gives another scale, or where a
    slip gives this one.
    """

    number: int
    apart: float = 0.0
    doubt: str | None = None


def _chosen(
    seen: list[Measured], doubts: Values, camera: Camera, longer: Values, shares: Values
) -> _Choice:
    """Choose the place that was read.

    Parameters
    ----------
    seen, doubts
        What repeats as a thread does, and the probability that it is none, (seen,).
    camera
        The camera in whose scale they were measured.
    longer, shares
        How many times as long all lengths are with the reading at each place, those seen first;
        and how probable each is before the threads are asked, as a logarithm, (places,).
    """
    # That all threads exist with lengths that many times as long, and a phone is held there.
    scores = shares + [
        sum(map(partial(_exists, by), seen, doubts))
        + log_held(camera.distance_mm * by, camera.u_lens)
        for by in longer
    ]
    best = int(np.argmax(scores))
    # What is left with less is a tail, which a standard uncertainty does not tell.
    rest = scores > scores[best] - np.log(CLEAR)
    off, weight = longer / longer[best] - 1, np.exp(scores - scores[best]) * rest
    rivals = rest & (np.abs(off) > ALIKE)
    slipped, doubt = shares < np.log(LIKELIER), None
    # Where hands slipped, they may have read anything else.
    if slipped[best] or slipped[rivals].any():
        doubt = "which-place"
    elif rivals.any():
        doubt = "which-thread"
    return _Choice(number=best, apart=float(np.sqrt(weight @ off**2 / weight.sum())), doubt=doubt)


def _exists(longer: float, shape: Measured, doubt: float) -> float:
    """Return the log density of a shape so many times as long: of any thread, or of none."""
    reading, factor = _rough(shape), np.array([longer])
    thread = float(log_evidences(reading, factor)[0])
    none = float(log_of_none(reading, factor)[0])
    return none + float(np.log((1 - doubt) * np.exp(thread - none) + doubt))


def _no_thread(region: Region, shape: Measured) -> float:
    """Return the probability that what repeats in a region is no thread: barbs, rings, a gear."""
    u = u_lag(region, shape)
    if isinstance(shape, CrestShape):
        rings, none = in_step(shape.lag, region, shape), no_ridges(shape, u, U_INCLINE_RAD)
    else:
        fit = shape.section.fit
        angles = [Quantity(value=a, u=U_ANGLE_DEG) for a in (fit.angle_deg, *fit.half_angles_deg)]
        single = shape.section.winding.starts == 1
        rings = in_step(shape.lag, region, shape) if single else 0.0
        none = no_thread(shape, region, angles, u)
    return 1 - (1 - rings) * (1 - none)


def _at_place(
    scene: Scene, camera: Camera, place: ReadPlace, reading_mm: float, choice: _Choice
) -> OwnScale:
    """Return the scale by a place that is no measured thread."""
    for _ in range(ROUNDS):
        diameter, frame = diameter_mm(scene, camera, place)
        reach = float(frame.origin @ np.array(camera.normal))
        camera = camera.over_plate(reach * reading_mm / diameter + camera.distance_mm - reach)
    return OwnScale(
        camera=camera,
        part=place.part,
        region=None,
        frame=diameter_mm(scene, camera, place)[1],
        axis=place.part.axis,
        u_reading=float(np.hypot(U_CALIPER_MM / reading_mm, choice.apart)),
        u_crests=u_diameter(place),
        doubt=choice.doubt or "read-elsewhere",
    )


def _told(camera: Camera, shape: Measured, reading_mm: float) -> float:
    """Return the camera's distance at which a thread that was measured would have the reading."""
    reach = float(shape.frame.origin @ np.array(camera.normal))
    return reach * reading_mm / _touched(shape) + camera.distance_mm - reach


def _seen(
    scene: Scene, camera: Camera, regions: list[tuple[Shape, Region]]
) -> tuple[list[tuple[tuple[Shape, Region], Measured]], UnreadableError | None]:
    """Return the threads whose crests are seen, and why the first of those refused was so.

    A thread that is refused, as blurred, says so where it is measured; the others give the scale.
    """
    seen: list[tuple[tuple[Shape, Region], Measured]] = []
    refused: UnreadableError | None = None
    for part, region in regions:
        try:
            shape = _shape(scene, camera, part, region, rough=True)
        except UnreadableError as error:
            refused = refused or error
            continue
        if shape is not None:
            seen.append(((part, region), shape))
    return seen, refused


def _first(scene: Scene, part: Shape, region: Region, reading_mm: float) -> Camera:
    """Return the camera at the distance that the outline's width gives."""
    s, upper, lower = part.stations
    inside = (s > region.start_px) & (s < region.end_px)
    if not inside.any():
        raise UnreadableError(NO_CRESTS, UNFITTED_ADVICE, code="not-read")
    width_px = median((upper - lower)[inside])
    # Crests stand a few percent above the outline's median.
    mm_per_px = reading_mm / (width_px * 1.03)
    camera = scene.held(mm_per_px)
    return camera.over_plate(camera.f_px * mm_per_px)


def _shape(
    scene: Scene, camera: Camera, part: Shape, region: Region, *, rough: bool
) -> Measured | None:
    """Return a thread, by its flanks or by its crests alone; None where neither is seen."""
    scene = replace(scene, camera=camera, rough=rough)
    with suppress(*NOT_FITTED):
        shape = measured(scene, part, region)[0]
        if shape.major_mm is not None and not shape.hidden:
            return shape
    with suppress(*NOT_FITTED):
        return by_crests(scene, part, region)[0]
    return None


def _may_be_one(shape: Measured) -> bool:
    """Return whether a thread's angle, where it is seen, is one of a screw thread."""
    angle = shape.quantities().get("angle_deg", ANGLES_DEG[0])
    return ANGLES_DEG[0] <= angle <= ANGLES_DEG[1]


def _touched(shape: Measured) -> float:
    """Return the diameter that a caliper reads of a thread, in the picture's present scale, mm."""
    major, grows = shape.major_mm or np.nan, _grows(shape)
    if grows == 0:
        return float(major)
    end = max(shape.span_mm) if grows > 0 else min(shape.span_mm)
    large = end + np.sign(grows) * LARGE_END_PITCHES * shape.pitch_mm
    return float(major + large * grows)


def _u_taper(shape: Measured) -> float:
    """Return what a taper is good to, by the turns that it was read over."""
    turns = max((max(shape.span_mm) - min(shape.span_mm)) / shape.pitch_mm, 1.0)
    return float(np.hypot(U_TAPER, U_TAPER_ONE_TURN / turns**2))


def _grows(shape: Measured) -> float:
    """Return the taper of a thread; 0 where what is seen of one is none."""
    seen = max(TAPER_SEEN, 2 * _u_taper(shape))
    return float(shape.taper) if abs(shape.taper) > seen else 0.0


def _rough(shape: Measured) -> ThreadReading:
    v = shape.quantities()

    def length(name: str, share: float, at: float = 0.0) -> Quantity | None:
        if name not in v:
            return None
        return Quantity(value=v[name] + at, u=share * (v[name] + at))

    taper = v["taper"]
    # Under a slant an axis inclined a little more shortens what lies along it.
    u_pitch = float(np.hypot(U_RATIO[0], shape.frame.slant() * U_INCLINE_RAD))
    offset, station = 0.0, None
    if _grows(shape):
        low, high = shape.span_mm
        offset = (high if taper > 0 else low) * taper
        station = Quantity(value=high - low + shape.pitch_mm, u=shape.pitch_mm)
    return ThreadReading(
        pitch_mm=length("pitch_mm", u_pitch),
        major_mm=length("major_mm", U_RATIO[1], offset),
        angle_deg=Quantity(value=v["angle_deg"], u=U_ANGLE_DEG) if "angle_deg" in v else None,
        taper=Quantity(value=abs(taper), u=_u_taper(shape)),
        diameter_station_mm=station,
    )
