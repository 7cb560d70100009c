"""From a measured shape to the reading that is named and reported."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.records import BudgetLine, Quantity, ThreadPlots, ThreadReading
from pitchcam.small import distinct
from pitchcam.thread.budget import combined, quantity, values
from pitchcam.thread.budget.geometry import Measured
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape

Values = NDArray[np.float64]

#: Slower tapers than this are not tapers: at the large end and in the middle the diameters are
#: then stated alike. 1:16 is 0.0625; the u of a photo's taper is 0.002-0.006.
TAPER_SEEN = 0.03
#: What is stated where a taper is largest.
DIAMETERS = ("major_mm", "pitch_diameter_mm", "minor_mm")


def to_reading(
    shape: ThreadShape, lines: tuple[BudgetLine, ...], ends_mm: tuple[float, float]
) -> ThreadReading:
    """Return the reading of a thread with its uncertainties and correlations.

    Parameters
    ----------
    shape
        The measured thread.
    lines
        Its budget.
    ends_mm
        Where the thread begins and ends along z, from the frame's origin.

    Notes
    -----
    A thread that tapers has its diameters stated at its large end, with the distance of that
    station from the small end; a parallel one in its middle.
    """
    v = values(shape)
    slope = v.get("taper", 0.0)
    station, reach = None, 0.0
    if abs(slope) > TAPER_SEEN:
        large, small = (ends_mm[1], ends_mm[0]) if slope > 0 else (ends_mm[0], ends_mm[1])
        reach = large * np.sign(slope)
        station = Quantity(value=abs(large - small), u=0.35 * shape.pitch_mm)
    # The taper is fitted about the middle.
    half = abs(ends_mm[1] - ends_mm[0]) / 2 if station else 0.0
    u, correlation = _stated(lines, slope, half)
    moved = {k: v[k] + reach * abs(slope) if k in v else None for k in DIAMETERS}
    return ThreadReading(
        pitch_mm=quantity(v.get("pitch_mm"), u["pitch_mm"]),
        major_mm=quantity(moved["major_mm"], u["major_mm"]),
        pitch_diameter_mm=quantity(moved["pitch_diameter_mm"], u["pitch_diameter_mm"]),
        minor_mm=quantity(moved["minor_mm"], u["minor_mm"]),
        angle_deg=quantity(v.get("angle_deg"), u["angle_deg"]),
        taper=quantity(abs(slope) if "taper" in v else None, u["taper"]),
        diameter_station_mm=station,
        starts=shape.section.winding.starts,
        correlation=correlation,
    )


def crest_reading(shape: CrestShape, lines: tuple[BudgetLine, ...]) -> ThreadReading:
    """Return the reading of a thread that was measured by its crests alone.

    A thread that tapers has its diameter stated at the large end of the crests seen.
    """
    v = values(shape)
    slope = v["taper"]
    station, reach = None, 0.0
    if abs(slope) > TAPER_SEEN:
        large, small = shape.span_mm[::-1] if slope > 0 else shape.span_mm
        reach = large * np.sign(slope)
        station = Quantity(value=abs(large - small) + 0.5 * shape.pitch_mm, u=shape.pitch_mm)
    # Those who take the scale out of it again know the station alone.
    half = station.value / 2 if station else 0.0
    u, correlation = _stated(lines, slope, half)
    return ThreadReading(
        pitch_mm=quantity(v["pitch_mm"], u["pitch_mm"]),
        major_mm=quantity(v["major_mm"] + reach * abs(slope), u["major_mm"]),
        angle_deg=quantity(v.get("angle_deg"), u["angle_deg"]),
        taper=quantity(abs(slope), u["taper"]),
        diameter_station_mm=station,
        correlation=correlation,
    )


def _stated(
    lines: tuple[BudgetLine, ...], slope: float, reach_mm: float
) -> tuple[dict[str, float], dict[tuple[str, str], float]]:
    """Return u and correlations of what is stated: a taper without its sign, diameters at reach.

    A diameter stated ``reach_mm`` from the middle toward the large end is that of the middle plus
    as much times the taper: an error of the taper is in both, and in all diameters alike.
    """
    u, correlation = combined(lines)
    if slope < 0:
        correlation = {k: -r if "taper" in k else r for k, r in correlation.items()}
    if not reach_mm:
        return u, correlation
    names = list(u)
    size = np.array([u[k] for k in names])
    covariance = np.diag(size**2)
    for (a, b), r in correlation.items():
        i, j = names.index(a), names.index(b)
        covariance[i, j] = covariance[j, i] = r * size[i] * size[j]
    moves = np.eye(len(names))
    moves[[names.index(k) for k in DIAMETERS if k in u], names.index("taper")] = reach_mm
    covariance = moves @ covariance @ moves.T
    size = np.sqrt(np.diag(covariance))
    scaled = covariance / np.maximum(np.outer(size, size), 1e-30)
    return (
        {k: float(s) for k, s in zip(names, size, strict=True)},
        {(a, b): float(scaled[names.index(a), names.index(b)]) for a, b in correlation},
    )


def half_angles(
    shape: ThreadShape, lines: tuple[BudgetLine, ...]
) -> tuple[Quantity | None, Quantity | None]:
    """Return both half angles, first that of the flank facing the thread's start."""
    u, _ = combined(lines)
    # What the whole outline adds to the flanks' angle falls on both alike.
    more = (shape.angle_deg - shape.section.fit.angle_deg) / 2
    a, b = (half + more for half in shape.section.fit.half_angles_deg)
    # Each flank carries its own share of the included angle's u, and the axis's direction.
    each = float(np.hypot(u["angle_deg"] / np.sqrt(2), 0.15))
    return quantity(b, each), quantity(a, each)


def plots(shape: ThreadShape, reading: ThreadReading) -> ThreadPlots:
    """Return the polylines and points that pictures and plots of a thread show.

    The folded profile is level, with the diameters of ``reading``: those of the large end on a
    tapered thread. Crests and roots are fitted as lines, and stand as one point each.
    """
    fit, p = shape.section.fit, shape.section.points
    start, end = shape.span_mm
    axis = shape.frame.to_photo(
        np.array([[start - shape.pitch_mm, 0.0, 0.0], [end + shape.pitch_mm, 0.0, 0.0]])
    )
    pitch = fit.pitch_mm
    centre = fit.phase_mm + np.where(p.side < 0, fit.lag_mm, 0.0)
    place = (p.z - centre) / pitch
    radius = p.r - fit.taper / 2 * p.z
    ends = [(0.0, t.radius_mm) for t in shape.tips] + [(0.5, t.radius_mm) for t in shape.roots]
    place, radius = place[fit.used], radius[fit.used]
    place = np.append(place, [at for at, _ in ends])
    radius = np.append(radius, [r for _, r in ends])
    if reading.pitch_diameter_mm is not None:
        radius = radius + (reading.pitch_diameter_mm.value - shape.pitch_diameter_mm) / 2
    return ThreadPlots(
        axis_px=(tuple(axis[0]), tuple(axis[1])),
        edges_px=_edges(shape),
        crests_px=_crests(shape),
        flanks_px=_flank_lines(shape),
        spectrum=_spectrum(shape),
        folded=(tuple(np.mod(place + 0.5, 1.0)), tuple(radius)),
        drift=_drift(shape),
    )


def crest_plots(shape: CrestShape) -> ThreadPlots:
    """Return what a picture marks of a thread measured by its crests: axis, edges and crests."""
    start, end = shape.span_mm
    ends = np.array([[start - shape.pitch_mm, 0.0, 0.0], [end + shape.pitch_mm, 0.0, 0.0]])
    axis = shape.frame.to_photo(ends)
    return ThreadPlots(
        axis_px=((float(axis[0, 0]), float(axis[0, 1])), (float(axis[1, 0]), float(axis[1, 1]))),
        edges_px=_edges(shape),
        crests_px=tuple((float(x), float(y)) for x, y in shape.crests.xy),
    )


def _edges(shape: Measured) -> tuple[tuple[tuple[float, float], ...], ...]:
    st = shape.axis.to_axis(shape.outline_px)
    ends = shape.axis.to_axis(
        shape.frame.to_photo(np.array([[shape.span_mm[0], 0.0, 0.0], [shape.span_mm[1], 0.0, 0.0]]))
    )[:, 0]
    low, high = min(ends) - 0.5 * shape.spacing_px, max(ends) + 0.5 * shape.spacing_px
    out = []
    for sign in (1, -1):
        on = (st[:, 0] > low) & (st[:, 0] < high) & (st[:, 1] * sign > 0)
        points = shape.outline_px[on]
        order = np.argsort(st[on, 0], kind="stable")
        out.append(tuple((float(x), float(y)) for x, y in points[order]))
    return tuple(out)


def _middles(shape: ThreadShape, side: float) -> Values:
    """Return where the crests are seen; in the section they lie elsewhere along the axis."""
    p, fit = shape.section.points, shape.section.seen
    ridges = distinct(p.ridge[(p.side == side) & fit.used])
    out: Values = fit.phase_mm + (fit.lag_mm if side < 0 else 0.0) + fit.pitch_mm * ridges
    return out


def _crests(shape: ThreadShape) -> tuple[tuple[float, float], ...]:
    out: list[tuple[float, float]] = []
    for tip in shape.tips:
        z = _middles(shape, tip.side)
        y = tip.side * (tip.radius_mm + tip.slope * z)
        zy = shape.section.from_axis(np.stack([z, y], axis=-1))
        xy = shape.frame.to_photo(np.concatenate([zy, np.zeros((len(zy), 1))], axis=-1))
        out.extend((float(a), float(b)) for a, b in xy)
    return tuple(out)


def _flank_lines(shape: ThreadShape) -> tuple[tuple[tuple[float, float], tuple[float, float]], ...]:
    f = shape.flanks
    lines = []
    for side in (1.0, -1.0):
        for ridge in distinct(f.ridge[f.side == side]):
            for flank in (1.0, -1.0):
                on = (f.side == side) & (f.ridge == ridge) & (f.flank == flank)
                if on.sum() < 4:
                    continue
                xy = f.xy[on]
                d = np.linalg.svd(xy - xy.mean(axis=0))[2][0]
                t = (xy - xy.mean(axis=0)) @ d
                a, b = xy.mean(axis=0) + t.min() * d, xy.mean(axis=0) + t.max() * d
                lines.append(((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))))
    return tuple(lines)


def _spectrum(shape: ThreadShape) -> tuple[tuple[float, ...], tuple[float, ...]]:
    from pitchcam.thread.spectrum import side_profiles, spectrum

    z, upper, lower = side_profiles(shape.outline_px, shape.frame, shape.span_mm)
    frequency, amplitude = spectrum(z, upper, lower, shape.pitch_mm)
    return tuple(frequency), tuple(amplitude)


def _drift(shape: ThreadShape) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Deviation of every ridge's middle from even spacing, in micrometres."""
    fit, p = shape.section.fit, shape.section.points
    at, off = [], []
    tan = np.where(p.flank > 0, fit.tan_half[0], fit.tan_half[1])
    radius = p.r - fit.taper / 2 * p.z - fit.ref_radius_mm
    expected = (
        fit.phase_mm
        + np.where(p.side < 0, fit.lag_mm, 0.0)
        + fit.pitch_mm * p.ridge
        + p.flank * (fit.width_mm / 2 - radius * tan)
    )
    rest = p.z - expected
    for side in (1.0, -1.0):
        for ridge in distinct(p.ridge[p.side == side]):
            on = (p.side == side) & (p.ridge == ridge) & fit.used
            both = [rest[on & (p.flank == f)] for f in (1.0, -1.0)]
            if min(len(b) for b in both) < 3:
                continue
            at.append(float(p.z[on].mean()))
            off.append(1000 * float(np.mean([b.mean() for b in both])))
    order = np.argsort(at)
    return tuple(np.array(at)[order]), tuple(np.array(off)[order])
