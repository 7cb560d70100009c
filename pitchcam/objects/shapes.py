"""What each object on the light is: a part, or one of the references by its shape."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.frozen import dataclass
from pitchcam.objects.axis import ImageAxis, between_sides, envelope, find_axis, other_directions
from pitchcam.objects.contour import LIT_LEVEL, Crop, crop_object, outline
from pitchcam.objects.end_face import Face, end_face
from pitchcam.objects.faint import faint_regions, sheared, wave_share
from pitchcam.objects.field import Blob, Field
from pitchcam.objects.frame import cross_shift
from pitchcam.objects.one_sided import two_sided
from pitchcam.objects.own_axis import local_axis
from pitchcam.objects.regions import Region, find_regions
from pitchcam.small import line, median, percentile

Points = NDArray[np.float64]
Kind = Literal["bar", "disc", "card", "other"]

#: A pin or drill shank is at least this many times longer than wide, and at most.
BAR_ASPECT = (1.7, 25.0)
#: ISO/IEC 7810 ID-1: 85.60 mm x 53.98 mm; perspective changes the ratio by a percent or two.
CARD_ASPECT = 85.60 / 53.98
CARD_TOLERANCE = 0.06


#: Mean difference of both sides, in widths, at which half is left of what speaks for an axis: about
#: their own axes turned parts keep to a third of it, about one 8 degrees off it is thrice that.
UNLIKE = 0.02
#: A part this many times longer than wide has its axis along it.
SLENDER = 1.8

#: Cosine to the long axis below which a line lies across it (within 30 degrees of square to it).
CROSSWISE = 0.5

#: Where nothing shows a repeat, the directions that are tried for a ripple, and how many of those
#: that show the most of one are followed: four turns stay a wave up to 3 degrees off their axis.
RIPPLE_WAYS = [np.array([np.cos(a), np.sin(a)]) for a in np.radians(np.arange(0, 180, 5))]
FOLLOWED = 3
#: Directions that are tried where none of the outline's own shows a repeat.
ALL_WAYS = [np.array([np.cos(a), np.sin(a)]) for a in np.radians(np.arange(0, 180, 15))]

#: Share of an outline that must lie on one circle for a disc; the border of the light may cut it.
DISC_SHARE = 0.68
#: A circle through fewer points of an outline is any corner's.
FEWEST_ON_CIRCLE = 20


def fit_circle(
    points: Points, tolerance_px: float = 2.0
) -> tuple[Points, float, NDArray[np.bool_]]:
    """Fit a circle to the larger part of a set of points; return centre, radius, which lie on it.

    Algebraic least squares, repeated on the points that agree, from several thirds of the outline.

    Notes
    -----
    Our own, although scikit-image has a robust fit: every object of every photo is asked whether it
    is round, and with that library's import it brings 321 modules of SciPy, which take longer to
    load than the photo takes to measure. Points drawn at random find the circle of a disc that the
    border cuts less often than its thirds do (0.48 of an outline for 0.69); given the points, both
    agree to ten digits (tests).
    """
    best: tuple[Points, float, NDArray[np.bool_]] = (
        points.mean(axis=0),
        1.0,
        np.zeros(len(points), bool),
    )
    third = len(points) // 3
    for start in range(0, len(points), max(1, len(points) // 6)):
        use = np.zeros(len(points), bool)
        use[np.arange(start, start + third) % len(points)] = True
        circle: tuple[Points, float] | None = None
        for _ in range(5):
            if use.sum() < FEWEST_ON_CIRCLE:
                break
            x, y = points[use].T
            model = np.stack([2 * x, 2 * y, np.ones_like(x)], axis=1)
            (cx, cy, c), *_ = np.linalg.lstsq(model, x * x + y * y, rcond=None)
            radius = float(np.sqrt(max(c + cx * cx + cy * cy, 1e-9)))
            off = np.abs(np.hypot(points[:, 0] - cx, points[:, 1] - cy) - radius)
            use, circle = off < tolerance_px, (np.array([cx, cy]), radius)
        if circle is not None and use.sum() > best[2].sum():
            best = (*circle, use)
    return best


#: A disc far from the picture's middle shows both rims, circles that lie a thickness times the
#: slant apart: its outline keeps to one circle within this share of the radius, and as much more of
#: the slant's tangent (a third of what a coin's thickness, a sixth of its radius, parts them by).
ROUND, ROUND_ASLANT = 0.02, 0.03


def circle_share(points: Points, slant: float = 0.0) -> float:
    """Return the share of an outline's points that lie on one circle, as nearly as a disc's do.

    ``slant`` is the tangent of the angle off the optical axis under which it is seen.
    """
    across = float(np.ptp(points, axis=0).max())
    centre, radius, on = fit_circle(points, max(2.0, (ROUND + ROUND_ASLANT * slant) * across / 2))
    if not 20 < radius < 2 * float(np.ptp(points, axis=0).max()):
        return 0.0
    # The points must go round the circle, not be a short arc of a large one.
    turn = np.sort(np.arctan2(*(points[on] - centre).T))
    gaps = np.diff(np.append(turn, turn[0] + 2 * np.pi)) if on.any() else np.array([7.0])
    return float(on.mean()) if gaps.max() < 2.5 else 0.0


#: How far the middle between both sides may lie off the axis, as a share of the mean width: turned
#: parts and jaws keep to 0.027, objects that overlap come to 0.049 and more (renders).
LOPSIDED = 0.037


@dataclass(frozen=True, kw_only=True)
class Shape:
    """One object: its outline at the part level, axis, envelope, repeating regions and kind."""

    blob: Blob
    crop: Crop
    outline_px: Points
    axis: ImageAxis
    stations: tuple[Points, Points, Points]
    threads: tuple[Region, ...]
    others: tuple[Region, ...]
    kind: Kind

    @property
    def length_px(self) -> float:
        """Extent along the axis."""
        return float(len(self.stations[0]))

    @property
    def width_px(self) -> float:
        """Largest extent across the axis (the upper percent left out)."""
        _, upper, lower = self.stations
        return percentile(upper - lower, 99)

    @property
    def lopsided(self) -> bool:
        """Whether its two sides differ as no turned part's do."""
        s, upper, lower = self.stations
        width, middle = upper - lower, (upper + lower) / 2
        on = width > 0.1 * float(width.max())
        slope, offset = line(s[on], middle[on])
        bent = middle[on] - slope * s[on] - offset
        return float(np.abs(bent).mean()) > LOPSIDED * float(width[on].mean())

    @cached_property
    def lit_outline_px(self) -> Points:
        """The outline at LIT_LEVEL, (n, 2), which edges are placed from.

        Raises
        ------
        OutlineError
            If nothing of the object is darker than that, or hardly anything.
        """
        return outline(self.crop, LIT_LEVEL)

    @cached_property
    def lit_stations(self) -> tuple[Points, Points, Points]:
        """Stations and the outermost of both sides at LIT_LEVEL, of :func:`envelope`."""
        return envelope(self.axis.to_axis(self.lit_outline_px))

    @cached_property
    def end_faces(self) -> tuple[Face, ...]:
        """The flat faces at its ends that the outline at LIT_LEVEL shows.

        Where the border cuts an end, the outline there is the border's.
        """
        ends, cut = np.array([-1.0, 1.0]), self.cut_stations
        middle = self.axis.to_axis(self.lit_outline_px)[:, 0].mean()
        whole = [end for end in ends if not (end * (cut - middle) > 0).any()]
        faces = (end_face(self.lit_outline_px, self.axis, end) for end in whole)
        return tuple(face for face in faces if face is not None)

    @property
    def cut_places(self) -> Points:
        """Where the border of the light or of the picture cuts it, (n, 2): along and across."""
        at = np.array(self.blob.border_px, float).reshape(-1, 2)
        places: Points = self.axis.to_axis(at)
        return places

    @property
    def cut_stations(self) -> Points:
        """Stations at which the border of the light or of the picture cuts it, (n,)."""
        stations: Points = self.cut_places[:, 0]
        return stations

    @property
    def centre_px(self) -> Points:
        """Middle of the outline's box."""
        middle: Points = (self.outline_px.min(axis=0) + self.outline_px.max(axis=0)) / 2
        return middle


def widest_stretch(shape: Shape) -> tuple[float, float, float]:
    """Return start, end and width (pixels) of the part's widest straight stretch on both sides."""
    return _widest(two_sided(shape.stations))


def stands_out(shape: Shape) -> bool:
    """Whether something stands out on one side of the part only, which would make it wider."""
    return _widest(shape.stations)[2] > widest_stretch(shape)[2]


def _widest(stations: tuple[Points, Points, Points]) -> tuple[float, float, float]:
    s, upper, lower = stations
    width = upper - lower
    top = percentile(width, 99.3)
    on = np.flatnonzero(width > 0.985 * top)
    runs = np.split(on, np.flatnonzero(np.diff(on) > 2) + 1)
    run = max(runs, key=len)
    return float(s[run[0]]), float(s[run[-1]]), median(width[run])


def describe(pixels: NDArray[np.generic], field: Field, blob: Blob, camera: Camera) -> Shape:
    """Cut out one object and find its outline, axis, threads and kind.

    Raises
    ------
    OutlineError
        If it has no outline that an object has.
    """
    crop = crop_object(pixels, field, blob.label, blob.box_px, cut=blob.cut)
    points = outline(crop)
    lie = _along(points, find_axis(points), camera)
    kind: Kind = "other" if lie.threads or lie.others else _kind(points, camera)
    if kind == "bar":
        # A stud wider than long is a bar across its axis.
        across = [a for a in between_sides(points) if _crosswise(a, lie.axis)]
        best = max([lie, *(_along(points, axis, camera) for axis in across)], key=_evidence)
        kind, lie = ("other", best) if best.threads else (kind, lie)
    if kind == "other" and not (lie.threads and slender(lie.stations)):
        # The longest way through a part need not be its axis: the one that shows a thread is.
        ways = [find_axis(points, way) for way in other_directions(points)]
        lie = max([lie, *(_along(points, axis, camera) for axis in ways)], key=_evidence)
        if not lie.threads and not lie.others:
            # A collar that is seen aslant leads all of them astray.
            around = [*between_sides(points), *(find_axis(points, way) for way in ALL_WAYS)]
            lie = max([lie, *(_along(points, axis, camera) for axis in around)], key=_evidence)
    if kind == "other":
        lie = _with_faint(points, lie, camera)
    return Shape(
        blob=blob,
        crop=crop,
        outline_px=points,
        axis=lie.axis,
        stations=lie.stations,
        threads=lie.threads,
        others=lie.others,
        kind=kind,
    )


@dataclass(frozen=True, kw_only=True)
class _Lie:
    """An outline along one of the axes it may have; ``shift`` is that of its sides at both ends."""

    axis: ImageAxis
    shift: tuple[float, float]
    stations: tuple[Points, Points, Points]
    threads: tuple[Region, ...]
    others: tuple[Region, ...]


def _crosswise(axis: ImageAxis, long: ImageAxis) -> bool:
    return abs(float(np.dot(axis.direction, long.direction))) < CROSSWISE


def _along(points: Points, axis: ImageAxis, camera: Camera) -> _Lie:
    stations = envelope(axis.to_axis(points))
    shift = _shift(axis, stations[0], camera)
    threads, others = find_regions(*stations, shift)
    return _Lie(
        axis=axis, shift=shift, stations=stations, threads=tuple(threads), others=tuple(others)
    )


def _shift(axis: ImageAxis, s: Points, camera: Camera) -> tuple[float, float]:
    first, last = (cross_shift(camera, axis, float(at)) for at in s[[0, -1]])
    return first, last


def _with_faint(points: Points, lie: _Lie, camera: Camera) -> _Lie:
    """Return a lie with the threads that are a ripple only; what was no thread there goes."""
    stations = envelope(sheared(lie.axis.to_axis(points), lie.shift))
    faint = faint_regions(stations, lie.shift, lie.threads, lie.others)
    if not faint:
        return lie
    others = [
        o for o in lie.others if all(o.start_px > f.end_px or o.end_px < f.start_px for f in faint)
    ]
    threads = sorted([*lie.threads, *faint], key=lambda r: r.start_px)
    return replace(lie, threads=tuple(threads), others=tuple(others))


def searched_all_round(shape: Shape, camera: Camera) -> Shape:
    """Return a shape without any thread with the ripples that another axis of it shows.

    For photos that show no thread at all: it takes as long as all the rest of the shape does.
    """
    points = shape.outline_px
    ways = [*other_directions(points), *ALL_WAYS]
    axes = [*between_sides(points), *(find_axis(points, way) for way in ways)]
    axes += _rippled(points, camera)
    lies = [_with_faint(points, _along(points, axis, camera), camera) for axis in axes]
    best = max(lies, key=_evidence)
    if not best.threads:
        return shape
    return replace(
        shape, axis=best.axis, stations=best.stations, threads=best.threads, others=best.others
    )


def searched_along(shape: Shape, camera: Camera) -> Shape:
    """Return a bar with the ripples along it: a stud seen far aslant may be as smooth as a pin."""
    axis, stations = shape.axis, shape.stations
    shift = _shift(axis, stations[0], camera)
    lie = _Lie(axis=axis, shift=shift, stations=stations, threads=(), others=())
    threads = _with_faint(shape.outline_px, lie, camera).threads
    return replace(shape, threads=threads, kind="other") if threads else shape


def _rippled(points: Points, camera: Camera) -> list[ImageAxis]:
    """Return the axes of ripples, along the directions that show the most of one.

    A part's middle line follows its head and its collar, which seen aslant are not where their
    thread's is: an axis of ripples is taken from their own crests.
    """
    ways = [_across_middle(points, way) for way in RIPPLE_WAYS]
    shares = []
    for axis in ways:
        st = axis.to_axis(points)
        ends = np.array([st[:, 0].min(), st[:, 0].max()])
        shares.append(wave_share(envelope(sheared(st, _shift(axis, ends, camera)))))
    out = []
    for k in np.argsort(shares)[::-1][:FOLLOWED]:
        if shares[k] > 0.0:
            lie = _with_faint(points, _along(points, ways[k], camera), camera)
            out += [local_axis(points, lie.axis, r) for r in lie.threads if r.faint]
    return out


def _across_middle(points: Points, way: Points) -> ImageAxis:
    """Return the line in a direction that halves an outline's extent across it."""
    normal = np.array([-way[1], way[0]])
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    across = (points - middle) @ normal
    x, y = middle + normal * (across.min() + across.max()) / 2
    return ImageAxis(point_px=(float(x), float(y)), direction=(float(way[0]), float(way[1])))


def _evidence(lie: _Lie) -> tuple[float, float]:
    """Return how much speaks for an axis: turns of thread along it, then other repeats.

    Both count the less the more the outline's sides differ about it.
    """
    _, upper, lower = lie.stations
    off = np.abs(upper + lower).mean() / max(float((upper - lower).mean()), 1.0)
    share = 1 / (1 + (off / UNLIKE) ** 2)
    return share * sum(r.turns for r in lie.threads), share * sum(r.turns for r in lie.others)


def slender(stations: tuple[Points, Points, Points]) -> bool:
    """Whether an outline is so long that no other axis but that along it comes into question."""
    s, upper, lower = stations
    return len(s) > SLENDER * percentile(upper - lower, 99)


def _kind(points: Points, camera: Camera) -> Kind:
    contour = points.astype(np.float32)
    area = cv2.contourArea(contour)
    _, (w, h), _ = cv2.minAreaRect(contour)
    w, h = max(w, h), max(min(w, h), 1.0)
    # What fills the rectangle around it is no disc, whose search takes ten times as long.
    if area > 0.96 * w * h and abs(w / h / CARD_ASPECT - 1) < CARD_TOLERANCE:
        return "card"
    if area > 0.93 * w * h and BAR_ASPECT[0] <= w / h <= BAR_ASPECT[1]:
        return "bar"
    away = (points.min(axis=0) + points.max(axis=0)) / 2 - camera.centre_px
    if circle_share(points, float(np.hypot(*away)) / camera.f_px) > DISC_SHARE:
        return "disc"
    return "other"
