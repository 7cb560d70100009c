"""The straight edges of a photo's objects, fitted together for blur, sharpening and rims."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.arcs import rim_arcs
from pitchcam.edges.falls import most_blur
from pitchcam.edges.focus import far_from_focus, focus_of
from pitchcam.edges.lines import Segment, StraightEdge, TrueEdge, straight_edge, turn_u_px
from pitchcam.edges.rims import BELIEVED, MOST_DRAWN_PX, UNLEARNT, Rims, fit_rims
from pitchcam.edges.telling import contradicted, even_corners, sharp_edges
from pitchcam.light.defocus import Focus
from pitchcam.light.esf import DEFAULT_SPREAD, Spread, unsharpen
from pitchcam.objects.field import Field
from pitchcam.objects.shapes import Shape, widest_stretch
from pitchcam.small import line, median

Points = NDArray[np.float64]

#: More edges than this add time and no knowledge.
MOST_EDGES = 6
#: A flat object's blur is that of its own height, out of focus where the thread is not, pixels.
U_FLAT_BLUR_PX = 0.8
#: How far one sharpening stands for that of other edges: it is none of the model's filters exactly.
U_SAME_GAIN, U_SAME_RADIUS_PX = 0.05, 0.1
#: And one blur in focus for another's (as in :func:`pitchcam.edges.rims.fit_rims`).
U_SAME_BLUR = 0.03
#: Straight pieces of an outline: bent by less than this, and at least so long, pixels.
BENT_PX, SHORTEST_PX = 0.8, 40.0
#: Cosine to the axis from which on a piece is the side of a cylinder (6 degrees).
ALONG = 0.995
#: Edges that even the best explanation misses by this tell nothing of the lens: four coded steps.
UNTOLD = 2 * BELIEVED
#: A piece of an edge with this many times the usual misfit is left out.
STRANGE = 2.5
#: Outer fall beyond which profiles are taken wider, and the blur is expected to be the fall's:
#: a mirrored band widens a usual blur's by half at most. Expected to be as usual, a blur of 1.8 px
#: leaves 2.6 px of a drawn black pin's width to a band, for 0.9 at the usual blur; and from 2 px on
#: the profile's inner end, from which the part's own darkness is read, lies within the fall.
HELD_PX = 1.5 * DEFAULT_SPREAD.blur_px
#: Standard deviations by which a blur is wider than what phones do from which on it is another's:
#: of six drawn photos shaken, zoomed or out of focus by 1.5 to 2.3 px, the pins came out 2 to 4 %
#: too thick, each edge off by 0.75 of the band of 3 to 4 px that the fit took it for.
MOST_USUAL = 2.0
#: Widest band, in blurs, that the rest of such a fall is taken for: the six photos' were 1.7 to 2.
MOST_OF_FALL = 2.0


def bar_edges(shape: Shape, field: Field, unit_px: float = 1.0) -> list[StraightEdge]:
    """Return both long edges of a pin, its ends left out."""
    s, upper, lower = shape.stations
    trim = 0.12 * len(s)
    radius = median(upper - lower) / 2
    return _both_sides(shape, field, (s[0] + trim, s[-1] - trim), radius, unit_px)


def corner_edges(
    shape: Shape, field: Field, unit_px: float = 1.0, *, is_round: bool = False
) -> list[StraightEdge]:
    """Return both edges of a part's widest stretch.

    A hexagon's corners mirror nothing; where ``is_round``, the stretch is taken as a cylinder.
    """
    start, end, width = widest_stretch(shape)
    trim = 0.15 * (end - start) + 3
    if end - start - 2 * trim < 12:
        return []
    radius = width / 2 if is_round else None
    return _both_sides(shape, field, (start + trim, end - trim), radius, unit_px)


def _both_sides(
    shape: Shape, field: Field, stretch: tuple[float, float], radius: float | None, unit_px: float
) -> list[StraightEdge]:
    start, end = stretch
    s, upper, lower = shape.stations
    inside = (s >= start) & (s <= end)
    edges = []
    for sign, side in ((1.0, upper), (-1.0, lower)):
        slope, offset = line(s[inside], side[inside])
        ends = np.array([[start, slope * start + offset], [end, slope * end + offset]])
        a, b = shape.axis.to_photo(ends)
        d = np.array(shape.axis.direction)
        outside = sign * np.array([-d[1], d[0]])
        segment = Segment(start=a, end=b, outside=outside)
        edges.append(straight_edge(shape.crop, field, segment, radius, unit_px=unit_px))
    return edges


def plain_edges(shape: Shape, field: Field, centre_px: tuple[float, float]) -> list[StraightEdge]:
    """Return the straight pieces of an outline that are sharp edges or the sides of a cylinder.

    Those of a thread are left out, and walls that the camera looks at: a card's side toward the
    picture's centre, where the lower edge and the mirrored wall lie beside the upper one.
    """
    flat = shape.kind == "card"
    if shape.kind == "disc" or not (flat or shape.threads):
        return []
    corners = cv2.approxPolyDP(shape.outline_px.astype(np.float32), BENT_PX, True)[:, 0]
    ends = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1).astype(float)
    lengths = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    middle = shape.outline_px.mean(axis=0)
    out = []
    for (a, b), length in sorted(zip(ends, lengths, strict=True), key=lambda e: -e[1]):
        if length < SHORTEST_PX:
            break
        st = shape.axis.to_axis(np.stack([a, b]))
        if any(r.start_px < st[:, 0].max() and r.end_px > st[:, 0].min() for r in shape.threads):
            continue
        d = (b - a) / length
        outside = np.array([-d[1], d[0]])
        outside *= np.sign(outside @ ((a + b) / 2 - middle)) or 1.0
        if flat and ((a + b) / 2 - np.array(centre_px)) @ outside < 0:
            continue
        along = abs(float(d @ np.array(shape.axis.direction)))
        radius = None
        if not flat and along > ALONG:
            radius = float(np.abs(st[:, 1]).mean())
        elif not flat and along > 1 - ALONG:
            continue  # a cone or a chamfer: neither sharp nor of a known curvature
        trim = 0.15 * length + 3
        segment = Segment(start=a + trim * d, end=b - trim * d, outside=outside)
        out.append(straight_edge(shape.crop, field, segment, radius))
    return out


def learn_rims(
    shapes: Sequence[Shape], field: Field, camera: Camera
) -> tuple[Rims, dict[int, list[TrueEdge]]]:
    """Fit the photo's straight edges together.

    Returns
    -------
    rims
        What they tell; what phones usually do where no object has a straight edge.
    pins
        For every pin, by its blob's label, its true edges.
    """
    flat = _flat_spread(shapes, field, camera)
    prior = _expected(flat)
    edges, owner = _own_edges(shapes, field)
    far = far_from_focus(edges, owner)
    if far:
        rest = [s for s in shapes if s.blob.label not in far]
        rims, pins = learn_rims(rest, field, camera)
        apart = [s for s in shapes if s.blob.label in far]
        falls = [e.fall_px for e, label in zip(edges, owner, strict=True) if label in far]
        sharp = rims.spread.blur_px
        return rims, pins | _blurred(apart, field, camera, median(np.array(falls)), sharp)[1]
    fall = median(np.array([e.fall_px for e in edges])) if edges else 0.0
    if fall > HELD_PX and most_blur(shapes) > HELD_PX:
        wide = _blurred(shapes, field, camera, fall)
        if not contradicted(wide[0], owner):
            return wide
    edges, owner = even_corners(*sharp_edges(edges, owner))
    if not edges:
        # No pin and no hexagon: any straight edge, of a card or a part, is drawn by the same lens.
        edges = [e for s in shapes for e in plain_edges(s, field, camera.centre_px)][:MOST_EDGES]
        owner = [None] * len(edges)
    if not edges:
        return replace(UNLEARNT, spread=prior, flat=flat), {}
    rims = _fit(edges, field, camera.f_px, prior, focus_of(shapes, edges, owner))
    if rims.misfit.max() > BELIEVED and all(label is None for label in owner):
        edges, rims = _otherwise(shapes, field, camera, prior, (edges, rims))
        owner = [None] * len(edges)
        if rims.misfit.min() > UNTOLD:
            # Faces that are lit look like no edge.
            return replace(UNLEARNT, spread=prior, flat=flat), {}
    plain = _without_strangers(edges, rims)
    if plain is not edges:
        focus = focus_of(shapes, plain, owner)
        edges, rims = plain, _fit(plain, field, camera.f_px, prior, focus)
    return replace(rims, flat=flat), _pins(edges, owner, rims)


def _own_edges(
    shapes: Sequence[Shape], field: Field, unit_px: float = 1.0
) -> tuple[list[StraightEdge], list[int | None]]:
    """Return the edges of pins and threaded parts, and the label of the pin that each belongs to.

    Pins come first: their edges are asked for; parts add to what is known of blur and sharpening.
    """
    edges: list[StraightEdge] = []
    owner: list[int | None] = []
    for shape in sorted(shapes, key=lambda s: s.kind != "bar"):
        if shape.kind == "bar" and len(edges) < MOST_EDGES:
            found = bar_edges(shape, field, unit_px)
            owner += [shape.blob.label] * len(found)
        elif shape.threads and len(edges) < MOST_EDGES:
            found = corner_edges(shape, field, unit_px)
            owner += [None] * len(found)
        else:
            continue
        edges += found
    return edges, owner


def _pins(
    edges: list[StraightEdge], owner: list[int | None], rims: Rims, sharp_px: float | None = None
) -> dict[int, list[TrueEdge]]:
    """Return the true edges of each pin, by its label.

    Out of the focus in which parts are blurred by ``sharp_px``, their blur is a lens's.
    """
    pins: dict[int, list[TrueEdge]] = {}
    first = 0
    for edge, label in zip(edges, owner, strict=True):
        pieces = slice(first, first + len(edge.profiles))
        first = pieces.stop
        if label is not None:
            true = _through(edge, rims.edges_px[pieces], rims.u_edges_px[pieces])
            # Out of focus, a blur is a lens's.
            open_px = _band_or_none(rims, pieces) if sharp_px is None else 0.0
            u_px = float(np.hypot(true.u_px, open_px))
            pins.setdefault(label, []).append(replace(true, u_px=u_px))
    return pins


def _band_or_none(rims: Rims, pieces: slice) -> float:
    """Return what is open of an edge whose blur is none of a lens, pixels.

    Shake and zoom do not fall as the model's blur does: the rest of the fall is taken for a
    mirrored band, which moves the edge by its width. A band wider than any such rest is seen.
    """
    usual = DEFAULT_SPREAD
    most = usual.blur_px + MOST_USUAL * usual.u_blur_px
    blur = rims.spread.blur_px
    share = np.clip((blur - most) / usual.blur_px, 0.0, 1.0)
    return float(share * np.minimum(rims.rims_px[pieces], MOST_OF_FALL * blur).mean())


def _blurred(
    shapes: Sequence[Shape],
    field: Field,
    camera: Camera,
    fall_px: float,
    sharp_px: float | None = None,
) -> tuple[Rims, dict[int, list[TrueEdge]]]:
    """Fit the edges of a photo so blurred that the usual profile does not hold their fall.

    It shows no more than a smaller photo would, and is fitted as one whose blur is the usual.
    Sharpening reaches less far than a blur beyond MOST_DRAWN_PX: it makes it narrower, and no halo.
    """
    unit = fall_px / DEFAULT_SPREAD.blur_px
    edges, owner = even_corners(*_own_edges(shapes, field, unit))
    prior = DEFAULT_SPREAD
    if fall_px > MOST_DRAWN_PX:
        prior = replace(prior, gain=0.0, u_gain=U_SAME_GAIN)
    focus = None
    if sharp_px is not None:
        # Beside what the lens blurs in focus there is the disc alone.
        prior = replace(prior, blur_px=sharp_px / unit, u_blur_px=U_SAME_BLUR * sharp_px / unit)
        count = sum(len(e.profiles) for e in edges)
        focus = Focus(apart=np.ones(count, bool), u_px=DEFAULT_SPREAD.blur_px)
    rims = _fit(edges, field, camera.f_px / unit, prior, focus)
    s = rims.spread
    rims = replace(
        rims,
        edges_px=unit * rims.edges_px,
        u_edges_px=unit * rims.u_edges_px,
        rims_px=unit * rims.rims_px,
        fall_px=fall_px,
        spread=replace(
            s,
            blur_px=unit * s.blur_px,
            u_blur_px=unit * s.u_blur_px,
            radius_px=unit * s.radius_px,
            u_radius_px=unit * s.u_radius_px,
        ),
    )
    return rims, _pins(edges, owner, rims, sharp_px)


def _otherwise(
    shapes: Sequence[Shape],
    field: Field,
    camera: Camera,
    prior: Spread,
    first: tuple[list[StraightEdge], Rims],
) -> tuple[list[StraightEdge], Rims]:
    """Return the edges, taken as sharp, round or from elsewhere, that one lens describes best.

    The widest stretch of a part need not be a hexagon: a collar or a body mirrors the light.
    """
    parts = [s for s in shapes if s.threads]
    tries = [first]
    for other in (
        [e for s in parts for e in corner_edges(s, field, is_round=True)],
        [e for s in shapes for e in plain_edges(s, field, camera.centre_px)],
    ):
        if other:
            own = other[:MOST_EDGES]
            tries.append((own, _fit(own, field, camera.f_px, prior)))
    return min(tries, key=lambda t: float(t[1].misfit.max()))


def _flat_spread(shapes: Sequence[Shape], field: Field, camera: Camera) -> Spread | None:
    """Return how the sharp edges of flat objects are drawn, None where none tell.

    They lie lower than the threads, and so are blurred otherwise; sharpening is the photo's own.
    """
    flat: list[StraightEdge] = []
    for shape in shapes:
        if shape.kind == "disc":
            flat += rim_arcs(shape, camera.centre_px)
        elif shape.kind == "card":
            flat += plain_edges(shape, field, camera.centre_px)
    if not flat:
        return None
    free = replace(DEFAULT_SPREAD, u_blur_px=U_FLAT_BLUR_PX)
    found = _fit(flat[:MOST_EDGES], field, camera.f_px, free)
    return found.spread if median(found.misfit) < BELIEVED else None


def _expected(flat: Spread | None) -> Spread:
    """Return what is known of the spread of other edges, which are in focus elsewhere."""
    if flat is None:
        return DEFAULT_SPREAD
    return replace(
        DEFAULT_SPREAD,
        gain=flat.gain,
        radius_px=flat.radius_px,
        u_gain=float(np.hypot(flat.u_gain, U_SAME_GAIN)),
        u_radius_px=float(np.hypot(flat.u_radius_px, U_SAME_RADIUS_PX)),
    )


def _fit(
    edges: Sequence[StraightEdge],
    field: Field,
    f_px: float,
    prior: Spread,
    focus: Focus | None = None,
) -> Rims:
    profiles = [p for e in edges for p in e.profiles]
    return fit_rims(profiles, f_px, prior, panel_near=field.full_frame, focus=focus)


def _without_strangers(edges: list[StraightEdge], rims: Rims) -> list[StraightEdge]:
    """Leave out pieces of edges that look unlike all others: they mirror a neighbour, or dirt."""
    most = max(BELIEVED, STRANGE * median(rims.misfit))
    if rims.misfit.max() <= most:
        return edges
    out, first = [], 0
    for edge in edges:
        fits = rims.misfit[first : first + len(edge.profiles)] <= most
        first += len(fits)
        if fits.any() and not fits.all():
            edge = replace(
                edge,
                profiles=tuple(p for p, f in zip(edge.profiles, fits, strict=True) if f),
                at=tuple(a for a, f in zip(edge.at, fits, strict=True) if f),
            )
        out.append(edge)
    return edges if all(a is b for a, b in zip(edges, out, strict=True)) else out


def _through(edge: StraightEdge, shifts: Points, u: Points) -> TrueEdge:
    """Lay the true edge through its pieces."""
    turn, shift, u_turn = 0.0, float(shifts.mean()), 0.0
    if len(shifts) > 1:
        turn, shift = np.polyfit(edge.at, shifts, 1, w=1 / u)
        u_turn = turn_u_px(np.array(edge.at), shifts - turn * np.array(edge.at) - shift, u)
    start, end = edge.moved(float(shift), float(turn))
    # What is not known of the band is the same for all pieces.
    return TrueEdge(start_px=start, end_px=end, u_px=float(u.mean()), u_turn_px=u_turn)


def sharpened_undone(shape: Shape, rims: Rims) -> Shape:
    """Return the shape with the phone's sharpening undone in its crop."""
    flat = rims.flat if shape.kind in ("disc", "card") else None
    light = unsharpen(shape.crop.light, shape.crop.background_code, flat or rims.spread)
    return replace(shape, crop=replace(shape.crop, light=light))
