"""The least error of the same model as the fit's: all that it has free, with its stated priors.

What a picture tells is taken as places of edges: the pin's two sides, the stud's shanks, the crests
and flanks of every ridge, each with the information that its pixels have
(:func:`tests.adjustment.bound.information`). What is not known is the camera (distance, focal
length, tilt, distortion), the pin's size and place, and the stud's place, height, inclination and
sizes; what the budget knows of them beforehand counts as information (van Trees). Crest, angle and
light are those of :mod:`tests.adjustment.freedom`. OpenCV projects, derivatives are differences.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass

import cv2
import numpy as np

from tests.adjustment import freedom
from tests.adjustment.bound import (
    BASIC,
    DISTANCE_MM,
    F35_MM,
    FORMS,
    LEVEL_DEG,
    LEVEL_SHARE,
    PIN_LENGTH_MM,
    PIN_MM,
    U_CORNER,
    U_FOCAL,
    U_PIN_MM,
    U_TILT_DEG,
    UNEVEN_DEG,
    Profile,
    information,
    profile_of,
    stud_of,
)
from tests.drawn_photo import Shot, Stud, project

Array = np.ndarray

#: Points of the pin's and the shanks' sides that stand for all of a side's pixels.
OF_PIN, OF_SHANK = 20, 5
#: Step of the differences, in mm, radians and shares alike: places move by a hundredth of a pixel.
STEP = 1e-4


def mixture_u_rad() -> float:
    """Return the deviation of a normal distribution that tells as much as that of inclinations."""
    x = np.radians(np.linspace(-8, 8, 32001))
    dense, slope = np.zeros_like(x), np.zeros_like(x)
    for share, u_deg in ((LEVEL_SHARE, LEVEL_DEG), (1 - LEVEL_SHARE, UNEVEN_DEG)):
        u = np.radians(u_deg)
        bell = share * np.exp(-0.5 * (x / u) ** 2) / u / np.sqrt(2 * np.pi)
        dense += bell
        slope -= bell * x / u**2
    return float(np.trapezoid(slope**2 / np.maximum(dense, 1e-300), x) ** -0.5)


#: What is not known, and to what the budget knows it beforehand: mm, radians and shares.
UNKNOWN: dict[str, float] = {
    "pitch": np.inf,
    "major": np.inf,
    "taper": np.inf,
    "first shank": np.inf,
    "second shank": np.inf,
    "along": np.inf,
    "across": np.inf,
    "heading": np.inf,
    "incline": mixture_u_rad(),
    "pin": U_PIN_MM,
    "pin across": np.inf,
    "pin heading": np.inf,
    "distance": np.inf,
    "focal": U_FOCAL,
    "tilt x": np.radians(U_TILT_DEG),
    "tilt y": np.radians(U_TILT_DEG),
    "corner": U_CORNER,
}


def contour(axis: Array, along: Array, radius: Array, centre: Array, side: float) -> Array:
    """Return where rays touch a round part, (n, 3), beside points of its axis (n, 3)."""
    toward = centre - axis
    toward -= (toward @ along)[:, None] * along
    away = np.linalg.norm(toward, axis=1, keepdims=True)
    toward /= away
    out = np.cross(along, toward)
    rise = radius[:, None] / away
    touched: Array = axis + radius[:, None] * (rise * toward + side * np.sqrt(1 - rise**2) * out)
    return touched


@dataclass(frozen=True, kw_only=True)
class Seen:
    """Edges in the picture: points (n, 2) with the information of each, and how they are asked.

    ``along`` (n,) says which tell their place along the thread, the others across their edge.
    """

    points: Array
    told: Array
    along: Array


def seen(stud: Stud, px: float, profile: Profile, off: dict[str, float]) -> Seen:
    """Return the edges of a stud beside a pin, with what is not known off by so much.

    The stud lies inclined by LEVEL_DEG on its first end, which touches the plate.
    """
    get = {name: off.get(name, 0.0) for name in UNKNOWN}
    shot = Shot(
        f35_mm=F35_MM,
        distance_mm=DISTANCE_MM + get["distance"],
        focal_share=get["focal"],
        tilt_rad=(get["tilt x"], get["tilt y"]),
        corner_shift=get["corner"],
    )
    turn = cv2.Rodrigues(np.array([*shot.tilt_rad, 0.0]))[0]
    centre = (-turn.T @ [0, 0, shot.distance_mm]) * [1, 1, -1]
    i, px_per_mm = information(), px / stud.pitch_mm
    points: list[Array] = []
    told: list[Array] = []
    asked: list[Array] = []

    def add(at: Array, each: float, along: bool = False) -> None:
        points.append(project(at, shot))
        told.append(np.full(len(at), each))
        asked.append(np.full(len(at), along))

    size = PIN_MM + get["pin"]
    way = np.array([np.cos(get["pin heading"]), np.sin(get["pin heading"]), 0.0])
    middle = np.array([0.0, -(PIN_MM / 2 + 4.0) + get["pin across"], size / 2])
    axis = middle + np.linspace(-0.5, 0.5, OF_PIN)[:, None] * PIN_LENGTH_MM * way
    for side in (1.0, -1.0):
        at = contour(axis, way, np.full(OF_PIN, size / 2), centre, side)
        add(at, i * PIN_LENGTH_MM * px_per_mm / OF_PIN)

    up = np.radians(LEVEL_DEG) + get["incline"]
    flat = np.array([np.cos(get["heading"]), np.sin(get["heading"]), 0.0])
    way = np.cos(up) * flat + np.sin(up) * np.array([0, 0, 1.0])
    radii = [(stud.shank_mm + get[name]) / 2 for name in ("first shank", "second shank")]
    first, last = stud.ends_mm
    high = radii[0] * np.cos(up) - first * np.sin(up)
    middle = np.array([get["along"], stud.major_mm / 2 + 1.0 + get["across"], high])
    turns = round(stud.thread_mm / stud.pitch_mm)
    ridges = (np.arange(turns) - (turns - 1) / 2) * (stud.pitch_mm + get["pitch"])
    crests = (stud.major_mm + get["major"] + get["taper"] * ridges) / 2
    half = stud.thread_mm / 2
    for side in (1.0, -1.0):
        for low, to, radius in ((first, -half, radii[0]), (half, last, radii[1])):
            z = np.linspace(low, to, OF_SHANK)
            at = contour(middle + z[:, None] * way, way, np.full(OF_SHANK, radius), centre, side)
            add(at, i * (to - low) * px_per_mm / OF_SHANK)
        at = contour(middle + ridges[:, None] * way, way, crests, centre, side)
        add(at, i * profile.crest * px)
        add(at, i * profile.slopes * px, along=True)
    return Seen(
        points=np.concatenate(points), told=np.concatenate(told), along=np.concatenate(asked)
    )


def covariance(
    px: float, turns: int, profile: Profile = BASIC, known: Container[str] = ()
) -> tuple[list[str], Array]:
    """Return the names of what is not known and the least covariance of it, mm and radians.

    ``known`` are those of UNKNOWN that are taken as known.
    """
    stud = stud_of(px, turns)
    names = [name for name in UNKNOWN if name not in known]
    at = seen(stud, px, profile, {})
    # Every edge and every row of ridges runs along the picture's x.
    which = np.where(at.along, 0, 1)
    rows = np.arange(len(which))
    columns = []
    for name in names:
        up, down = (seen(stud, px, profile, {name: s * STEP}).points for s in (1, -1))
        columns.append((up - down)[rows, which] / (2 * STEP))
    slopes = np.stack(columns, axis=1)
    prior = np.diag([UNKNOWN[name] ** -2.0 for name in names])
    told = slopes.T @ (at.told[:, None] * slopes) + prior
    # Numbers of many sizes: scaled, so that the inverse loses no digit that counts.
    scale = np.sqrt(np.diag(told))
    return names, np.linalg.inv(told / np.outer(scale, scale)) / np.outer(scale, scale)


def same_bounds(px: float, turns: int, form: str = "") -> dict[str, float]:
    """Return the least standard deviations of the fit's own model: mm, mm and degrees.

    ``form`` is one of FORMS, of which a taper's major diameter is that at its large end.
    """
    profile, taper, ridge = BASIC, 0.0, freedom.BASIC
    if form:
        of, taper = FORMS[form]
        profile, ridge = profile_of(of), freedom.ridge_of(of)
    stud = stud_of(px, turns)
    names, least = covariance(px, turns, profile)
    stated = np.zeros(len(names))
    stated[names.index("major")] = 1.0
    stated[names.index("taper")] = stud.thread_mm / 2 if taper else 0.0
    freed = list(freedom.freed(px, turns, ridge).values())
    # What the crests' form, blur and light leave open beyond their pixels' noise, in both sides.
    noise = 1 / (information() * profile.crest * px * 2 * turns) * (stud.pitch_mm / px) ** 2
    form_mm2 = max((freed[-1]["crest"] * stud.pitch_mm) ** 2 - noise, 0.0)
    return {
        "pitch_mm": float(np.sqrt(least[0, 0])),
        "major_mm": float(np.sqrt(stated @ least @ stated + 4 * form_mm2)),
        "angle_deg": freed[-1]["angle_deg"],
    }
