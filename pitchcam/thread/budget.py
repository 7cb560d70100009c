"""The uncertainty budget of one thread (JCGM 100): labelled terms, their shares and correlation.

A term's shares are signed: within one term the quantities move together (a scale error moves
pitch and diameters alike), except in the term of the points' own noise. What the budget leaves
out: a part that is bent, out of round or not a thread of one pitch; a reference that is not what
was stated.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitchcam.records import NAMING_QUANTITIES, BudgetLine, Quantity
from pitchcam.scale.camera import Camera
from pitchcam.thread.measure import ThreadShape, remeasure

NOISE = "edge noise"

#: A part resting on a hexagon whose other end touches, or whose flats are not true, lies inclined
#: by about this (common practice, no source; the sample photos of workshops reach 4.5 degrees).
U_INCLINE_RAD = np.radians(1.2)
#: Distortion left by a phone's own correction: 0.1-0.5 % toward the corners, as a slope of scale.
U_DISTORTION_CORNER = 0.003
#: Floors for what the model of a thread leaves out (crest form, roughness of the flanks).
U_MODEL = {
    "pitch_mm": 0.0002, "major_mm": 0.015, "pitch_diameter_mm": 0.012, "minor_mm": 0.03,
    "angle_deg": 0.25, "taper": 0.0008,
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Geometry:
    """What the place of a thread adds: its axis's height and how far it lies from the reference.

    ``u_scale`` is the relative uncertainty of the reference's own scale; ``rise_mm`` the height
    of the axis over the reference's plane with ``u_rise_mm``; ``apart_mm`` the distance along the
    plate between reference and thread; ``corner_share`` the thread's distance from the picture's
    centre as a share of the corner's, ``corner_share_reference`` the reference's.
    """

    height_mm: float
    u_scale: float
    rise_mm: float
    u_rise_mm: float
    apart_mm: float
    corner_share: float
    corner_share_reference: float
    has_profile: bool = False
    scale_on_axis: bool = False


def values(shape: ThreadShape) -> dict[str, float]:
    """Return the naming quantities of a measured thread; what was not measured is absent."""
    found = {
        "pitch_mm": shape.pitch_mm,
        "major_mm": shape.diameter_mm(shape.tips),
        "pitch_diameter_mm": shape.pitch_diameter_mm,
        "minor_mm": shape.diameter_mm(shape.roots),
        "angle_deg": shape.section.fit.angle_deg,
        "taper": shape.taper,
    }
    return {k: v for k, v in found.items() if v is not None and np.isfinite(v)}


def budget(shape: ThreadShape, geometry: Geometry) -> tuple[BudgetLine, ...]:
    """Return the labelled terms of a thread's uncertainty, largest sources of scale first."""
    measured = values(shape)
    lines = [
        *_scale_lines(shape, geometry),
        _incline_line(shape, geometry),
        *_edge_lines(shape),
        _slant_line(shape),
        *_panel_lines(shape),
        _noise_line(shape),
        BudgetLine(source="form of the model", shares={
            k: u * (shape.pitch_mm if k == "pitch_mm" else 1.0) for k, u in U_MODEL.items()
        }),
    ]  # fmt: skip
    return tuple(_of_measured(line, measured) for line in lines)


def _of_measured(line: BudgetLine, measured: Mapping[str, float]) -> BudgetLine:
    """Leave out the shares in what was not measured."""
    return replace(line, shares={k: u for k, u in line.shares.items() if k in measured})


def _scaled(shape: ThreadShape, share: float) -> dict[str, float]:
    v = values(shape)
    lengths = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm")
    return {k: v[k] * share for k in lengths if k in v}


def _scale_lines(shape: ThreadShape, g: Geometry) -> list[BudgetLine]:
    reach = float(np.linalg.norm(shape.frame.origin))
    lines = [BudgetLine(source="scale of the reference", shares=_scaled(shape, g.u_scale))]
    if not g.scale_on_axis:
        camera: Camera = shape.camera
        height = g.u_rise_mm / reach
        # The scale at the axis is that of the reference less rise / f: f's error counts so far.
        focal = g.rise_mm / reach * camera.u_f_px / camera.f_px
        tilt = g.apart_mm * camera.u_tilt_rad / reach
        lines.append(BudgetLine(source="height of the axis", shares=_scaled(shape, height)))
        lines.append(BudgetLine(source="focal length", shares=_scaled(shape, focal)))
        lines.append(BudgetLine(source="tilt of the camera", shares=_scaled(shape, tilt)))
    slope = 0.0005 if g.has_profile else U_DISTORTION_CORNER
    if g.scale_on_axis:
        bend = slope * g.corner_share * 0.3
    else:
        bend = slope * abs(g.corner_share**2 - g.corner_share_reference**2) * 1.5
    lines.append(BudgetLine(source="lens distortion", shares=_scaled(shape, bend)))
    return lines


def _incline_line(shape: ThreadShape, g: Geometry) -> BudgetLine:
    """Measure again with the axis inclined by its u: taper in first order, pitch in second."""
    now = values(shape)
    shares: dict[str, float] = dict.fromkeys(now, 0.0)
    for sign in (1.0, -1.0):
        turned = values(remeasure(shape, shape.camera, g.height_mm, sign * U_INCLINE_RAD))
        for k in now.keys() & turned.keys():
            change = turned[k] - now[k]
            if abs(change) > abs(shares[k]):
                shares[k] = change
    return BudgetLine(source="inclination of the part", shares=shares)


def _edge_lines(shape: ThreadShape) -> list[BudgetLine]:
    """Edges of all flanks out or in together; and the flanks' edges different along the thread."""
    fit = shape.section.fit
    if not shape.edges:
        return []
    u = np.array([min(e.u_px, 3.0) for e in shape.edges])
    # Neighbouring profiles share the model's error: the mean counts, not the mean over root n.
    common = float(np.hypot(np.median(u), 0.05)) * shape.mm_per_px
    sine = float(np.sin(np.arctan(np.mean(fit.tan_half))))
    together = BudgetLine(source="edge and rim", shares={
        "pitch_diameter_mm": 2 * common / sine,
        "major_mm": 2 * common * 0.7,
        "minor_mm": 2 * common / sine * 0.6,
    })  # fmt: skip
    length = max(shape.span_mm[1] - shape.span_mm[0], shape.pitch_mm)
    single = float(np.hypot(np.median(u) * 0.7, 0.06)) * shape.mm_per_px
    flank = 0.35 * shape.pitch_mm
    apart = BudgetLine(source="rim along the thread", shares={
        # Both halves of the thread differ by sqrt 2 u per flank, four flanks average.
        "pitch_mm": shape.pitch_mm * single / np.cos(np.arcsin(sine)) * np.sqrt(2) / 2
        / (length / 2) * 0.5,
        "taper": 2 * single / sine * np.sqrt(2) / 2 / (length / 2) * 0.5,
        "angle_deg": float(np.degrees(single / flank)),
    })  # fmt: skip
    return [together, apart]


#: What is left of a slanted view after its contour has been unfolded, at a slant of 0.136: a
#: Whitworth thread reads 3.2 degrees too open there when its crest's rounding cannot be told from
#: its flank (from an exact contour, without light). It grows with the slant's square.
SLANT = 0.136
SLANT_ANGLE_DEG = 3.2
SLANT_LEFT = 0.25
SLANT_DIAMETER_MM = 0.03


def _slant_line(shape: ThreadShape) -> BudgetLine:
    grow = (shape.slant / SLANT) ** 2
    return BudgetLine(source="view along the thread", shares={
        "angle_deg": SLANT_ANGLE_DEG * grow * (SLANT_LEFT if shape.straight else 1.0),
        "pitch_diameter_mm": SLANT_DIAMETER_MM * grow * shape.pitch_mm,
    })  # fmt: skip


#: With the panel close behind the part the mirrored band covers a third of the radius, shines
#: unevenly up the flank and changes along the thread: renders of known threads read 0-4.6 degrees
#: in angle and 0-0.018 in taper off (half of the largest is taken).
NEAR_PANEL = {
    "pitch_mm": 0.0015, "major_mm": 0.05, "pitch_diameter_mm": 0.06, "minor_mm": 0.10,
    "angle_deg": 2.3, "taper": 0.009,
}  # fmt: skip


def _panel_lines(shape: ThreadShape) -> list[BudgetLine]:
    if not shape.near_panel:
        return []
    return [BudgetLine(source="panel close behind the part", shares={
        k: u * (shape.pitch_mm if k == "pitch_mm" else 1.0) for k, u in NEAR_PANEL.items()
    })]  # fmt: skip


def _noise_line(shape: ThreadShape) -> BudgetLine:
    fit = shape.section.fit
    c = fit.covariance
    # d(angle) = d tan / (1 + tan^2) for each flank.
    t = np.array(fit.tan_half)
    g = np.degrees(1 / (1 + t**2))
    angle = float(np.sqrt(g @ c[4:6, 4:6] @ g))
    width = np.sqrt(c[3, 3]) / sum(fit.tan_half)
    tips = [t.u_mm for t in shape.tips]
    roots = [t.u_mm for t in shape.roots]
    return BudgetLine(source=NOISE, kind="A", shares={
        "pitch_mm": float(np.sqrt(c[1, 1])),
        "major_mm": float(np.hypot(tips[0], tips[1])) if len(tips) == 2 else 0.0,
        "pitch_diameter_mm": 2 * float(width),
        "minor_mm": float(np.hypot(roots[0], roots[1])) if len(roots) == 2 else 0.0,
        "angle_deg": angle,
        "taper": float(np.sqrt(max(c[7, 7] + c[8, 8] + 2 * c[7, 8], 0.0))),
    })  # fmt: skip


def combined(lines: Sequence[BudgetLine]) -> tuple[dict[str, float], dict[tuple[str, str], float]]:
    """Return the standard uncertainties and the correlations that the lines give together."""
    n = len(NAMING_QUANTITIES)
    total = np.zeros((n, n))
    for line in lines:
        v = np.array([line.shares.get(k, 0.0) for k in NAMING_QUANTITIES])
        independent = line.source in (NOISE, "form of the model", "panel close behind the part")
        total += np.diag(v**2) if independent else np.outer(v, v)
    u = np.sqrt(np.maximum(np.diag(total), 1e-18))
    names = NAMING_QUANTITIES
    correlation = {
        (names[i], names[j]): float(np.clip(total[i, j] / (u[i] * u[j]), -0.999, 0.999))
        for i in range(n)
        for j in range(i + 1, n)
    }
    return dict(zip(names, (float(x) for x in u), strict=True)), correlation


def quantity(value: float | None, u: float) -> Quantity | None:
    """Return a quantity, or None where there is no value."""
    return None if value is None else Quantity(value=float(value), u=float(u))


__all__ = ["Geometry", "budget", "combined", "quantity", "values"]
