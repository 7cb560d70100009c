"""Pitch of drawn threads against the least scatter that a picture's noise allows.

The photos are drawn by exact means (:mod:`tests.drawn_photo`); the bound is that of Cramer and Rao
for edges in white noise, of no model of the measurement. A stretch of edge of one pixel tells its
place with the information

    i = integral of (d code / dx)^2 dx / noise^2

from a blurred step in coded values. A flank of slope r' turns a move along the axis into one across
the edge by r' / sqrt(1 + r'^2), over sqrt(1 + r'^2) pixels of edge for each along the axis. With
place and pitch both unknown, N pixels of thread and two sides,

    u(P) / P >= sqrt(12 / (2 <r'^2 / sqrt(1 + r'^2)> i N^3))
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr

from samples.forms import BA_47, ISO_60, NPT_60, WHITWORTH_55, Form
from samples.solids import Thread
from tests.adjustment.metal import mirrored
from tests.drawn_photo import SIZE, Shot, Stud, project, stud_shadow
from tests.envelope.photo import CutStud
from tests.fresh.threads import Cut
from tests.objects.drawing import cover, develop, encode, hull, pin

PX_PER_PITCH = (12.0, 20.0, 30.0, 45.0, 60.0)
TURNS = (4, 8, 15)
F35_MM, DISTANCE_MM, PIN_MM = 52.0, 190.0, 8.0
BLUR_PX, NOISE, DARK, LIT = 0.8, 0.006, 0.01, 0.70
#: Slope of ISO 68-1's flanks, and their share of the pitch along the axis.
SLOPE, FLANKS = np.sqrt(3.0), 0.625
#: Threads of the other forms, with their taper. DIN 40430's (Pg): 80 degrees, h = 0.48 P, rounded
#: by 0.107 P (from memory); the others are those that photos are rendered with.
PG_80 = Form(angle_deg=80, crest_radius=0.107, root_radius=0.107)
FORMS: dict[str, tuple[Form, float]] = {
    "ISO 60": (ISO_60, 0.0),
    "Whitworth 55": (WHITWORTH_55, 0.0),
    "BA 47.5": (BA_47, 0.0),
    "Pg 80": (PG_80, 0.0),
    "R 55, 1:16": (WHITWORTH_55, 1 / 16),
    "NPT 60, 1:16": (NPT_60, 1 / 16),
}
#: Inputs as the budget states them: focal length of a tag, a ground pin, distortion at the corner,
#: a phone held with care; and how parts lie, level or not, with the share of either.
U_FOCAL, U_PIN_MM, U_CORNER, U_TILT_DEG = 0.015, 0.008, 0.003, 0.5
LEVEL_DEG, UNEVEN_DEG, LEVEL_SHARE = 0.35, 1.2, 0.57
#: Length of the pin that is drawn, and of the stud's shanks.
PIN_LENGTH_MM, SHANK_MM = 40.0, 8.0
#: The light's window is as the guide says, not larger than the picture needs: a finger's half width
#: around what lies there, within the frame; its border is out of focus.
ROOM_MM, MARGIN_PX, WINDOW_BLUR_PX = 8.0, 60.0, 3.0


@dataclass(frozen=True, kw_only=True)
class Found:
    """One cell of the table, relative to the pitch.

    ``bias`` is that of the pitch in pixels, ``bias_scaled`` that of the pitch in mm, in which scale
    and height of the axis have their share. ``stated`` is the budget's term of the noise.
    """

    px_per_pitch: float
    turns: int
    bound: float
    scatter: float
    bias: float
    bias_scaled: float
    stated: float
    photos: int


def information(blur_px: float = BLUR_PX, noise: float = NOISE) -> float:
    """Return what a pixel of edge tells of its place across, 1 / px^2.

    Pixels average light over their width; rounding to eight bits adds its own noise.
    """
    x = np.linspace(-8, 8, 4001)
    wide = np.hypot(blur_px, 1 / np.sqrt(12))
    code = encode(DARK + (LIT - DARK) * ndtr(x / wide))
    rounded = np.hypot(noise, 1 / 255 / np.sqrt(12))
    return float(np.trapezoid(np.gradient(code, x) ** 2, x) / rounded**2)


def bound(px_per_pitch: float, turns: float) -> float:
    """Return the least relative standard deviation of the pitch, of both sides together."""
    told = FLANKS * SLOPE**2 / np.sqrt(1 + SLOPE**2)
    return float(np.sqrt(12 / (2 * told * information() * (px_per_pitch * turns) ** 3)))


def stud_of(px_per_pitch: float, turns: int) -> Stud:
    """Return the stud that has so many pixels a pitch and so many turns."""
    pitch = px_per_pitch * DISTANCE_MM / Shot(f35_mm=F35_MM, distance_mm=DISTANCE_MM).f_px
    major = 4.0 + 8.0 * pitch
    return Stud(
        pitch_mm=pitch,
        major_mm=major,
        shank_mm=major + 0.1,
        thread_mm=turns * pitch,
        shank_length_mm=SHANK_MM,
    )


def formed_stud(form: Form, taper: float, px_per_pitch: float, turns: int) -> CutStud:
    """Return the stud of another form that has so many pixels a pitch and so many turns."""
    like = stud_of(px_per_pitch, turns)
    thread = Thread(
        form=form,
        pitch=like.pitch_mm,
        thread_length=like.thread_mm,
        major=like.major_mm,
        taper=taper,
    )
    return CutStud(
        pitch_mm=like.pitch_mm,
        major_mm=like.major_mm,
        shank_mm=like.shank_mm,
        thread_mm=like.thread_mm,
        shank_length_mm=1.3 * like.thread_mm if taper else SHANK_MM,
        cut=Cut(name="", thread=thread, worn_mm=0.0),
        top_mm=like.major_mm,
    )


def light_of(stud: Stud, shot: Shot, place: float = 0.0) -> np.ndarray:
    """Return the linear light of a stud beside a pin."""
    across = np.array([-np.sin(shot.heading_rad), np.cos(shot.heading_rad)])
    along = np.array([across[1], -across[0]])
    # Pixels lie otherwise under each photo's edges.
    moved = place * along
    middle = (stud.major_mm / 2 + 1.0) * across + moved
    shade = gaussian_filter(stud_shadow(stud, shot, middle), BLUR_PX)
    at, size = -(PIN_MM / 2 + 4.0) * across + moved, PIN_MM + shot.pin_error_mm
    lying = pin(at, shot.heading_rad, PIN_LENGTH_MM, size)
    shade = np.maximum(shade, cover(SIZE, hull(project(lying, shot)), BLUR_PX))
    lit = window_around(stud, shot, (middle, at))
    shine = gaussian_filter(mirrored(at, PIN_LENGTH_MM, size, shot, lit), BLUR_PX)
    panel = cover(SIZE, corners_of(lit), WINDOW_BLUR_PX)
    light: np.ndarray = DARK + (LIT - DARK) * ((1 - shade) * panel + shine)
    return light


def window_around(stud: Stud, shot: Shot, middles: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Return the first and last corner in pixels of the light around stud and pin, (2, 2)."""
    along = np.array([np.cos(shot.heading_rad), np.sin(shot.heading_rad)])
    across = np.array([-along[1], along[0]])
    ends = []
    sizes = ((stud.ends_mm[1], stud.shank_mm / 2), (PIN_LENGTH_MM / 2, PIN_MM / 2))
    for at, (half, radius) in zip(middles, sizes, strict=True):
        ends += [
            [*(at + x * half * along + y * radius * across), radius]
            for x in (-1, 1)
            for y in (-1, 1)
        ]
    seen = project(np.array(ends), shot)
    room = ROOM_MM * shot.f_px / shot.distance_mm
    low = np.maximum(seen.min(axis=0) - room, MARGIN_PX)
    high = np.minimum(seen.max(axis=0) + room, np.array(SIZE) - MARGIN_PX)
    return np.array([low, high])


def corners_of(box: np.ndarray) -> np.ndarray:
    """Return a box's corners (4, 2) in order."""
    (x0, y0), (x1, y1) = box
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


@dataclass(frozen=True, kw_only=True)
class Profile:
    """What a form's profile tells, in pitches: its crest, its straight flank and its slopes.

    ``crest`` is the axial length of a crest, each part of which counts by the cosine of its slope;
    ``flank`` the length of a straight flank, ``slopes`` the mean of r'^2 / sqrt(1 + r'^2).
    """

    crest: float
    flank: float
    slopes: float


#: ISO 68-1 as it is drawn: crests flat over P / 8, roots over P / 4.
BASIC = Profile(crest=1 / 8, flank=5 / 8, slopes=FLANKS * SLOPE**2 / np.sqrt(1 + SLOPE**2))


def profile_of(form: Form) -> Profile:
    """Return what a form's profile tells, by its exact outline."""
    z = np.linspace(-0.5, 0.5, 40001)
    slope = np.gradient(form.height(z), z)
    straight = np.isclose(np.abs(slope), 1 / np.tan(form.half_angle), rtol=1e-3)
    # From the ridge's middle to where its flank begins, either way.
    crest = np.abs(z) < np.abs(z[straight]).min()
    step = z[1] - z[0]
    return Profile(
        crest=float(np.sum(1 / np.hypot(1, slope[crest])) * step),
        flank=float(straight.sum() * step / 2 / np.sin(form.half_angle)),
        slopes=float(np.mean(slope**2 / np.hypot(1, slope))),
    )


def known_bounds(px_per_pitch: float, turns: float, form: Profile = BASIC) -> dict[str, float]:
    """Return the least standard deviations with all else known: mm, mm and degrees.

    With one pixel's information i, N pixels of crests place a diameter to sqrt(2 / (i N)), and of n
    flank lines that are l long either half angle is known to sqrt(12 / (i n l^3)).
    """
    pitch_mm, i = stud_of(px_per_pitch, 1).pitch_mm, information()
    crests = np.sqrt(2 / (i * turns * px_per_pitch * form.crest)) * pitch_mm / px_per_pitch
    half = np.sqrt(12 / (i * 2 * turns * (form.flank * px_per_pitch) ** 3))
    noise = bound(px_per_pitch, turns) * np.sqrt(BASIC.slopes / form.slopes)
    return {
        "pitch_mm": pitch_mm * float(noise),
        "major_mm": float(crests),
        "angle_deg": float(np.degrees(np.sqrt(2) * half)),
    }


def drawn_inputs(stud: Stud, seed: int) -> Shot:
    """Return a photo whose inputs are off as the budget says; the stud touches the plate."""
    rng = np.random.default_rng([seed, 14])
    u_deg = LEVEL_DEG if rng.random() < LEVEL_SHARE else UNEVEN_DEG
    incline = float(rng.normal(0, np.radians(u_deg)))
    radius, (first, end) = stud.shank_mm / 2, stud.ends_mm
    # A stud with one shank lies on that alone.
    ends = np.array([first if first < -stud.thread_mm / 2 else stud.thread_mm / 2, end])
    return Shot(
        f35_mm=F35_MM,
        distance_mm=DISTANCE_MM,
        heading_rad=float(rng.uniform(-0.7, 0.7)),
        focal_share=float(rng.normal(0, U_FOCAL)),
        pin_error_mm=float(rng.normal(0, U_PIN_MM)),
        corner_shift=float(rng.normal(0, U_CORNER)),
        tilt_rad=tuple(rng.normal(0, np.radians(U_TILT_DEG), 2).tolist()),
        incline_rad=incline,
        lift_mm=float(radius * (np.cos(incline) - 1) - (np.sin(incline) * ends).min()),
        seed=seed,
    )


def cell(px_per_pitch: float, turns: int, photos: int, places: int = 2) -> Found | None:
    """Measure drawn photos of one size; None where fewer than half could be measured."""
    import pitchcam
    from pitchcam.errors import PitchcamError

    spec = pitchcam.ScaleSpec(source="pin", mm=PIN_MM)
    stud = stud_of(px_per_pitch, turns)
    shot = Shot(f35_mm=F35_MM, distance_mm=DISTANCE_MM, heading_rad=0.3)
    true_px = stud.pitch_mm * shot.f_px / (DISTANCE_MM - stud.shank_mm / 2)
    groups, errors, stated = [], [], []
    for i in range(places):
        light = light_of(stud, shot, 0.137 * i)
        in_px = []
        for seed in range(photos // places):
            pixels = develop(light, gain=0.0, noise=NOISE, seed=1000 * i + seed)
            try:
                told = pitchcam.identify(pixels, spec, f35_mm=F35_MM, plots=False)
            except PitchcamError:
                continue
            read = told.parts[0].threads[0]
            q = read.reading.pitch_mm
            if q is None or told.scale is None or told.scale.mm_per_px is None:
                continue
            in_px.append(q.value / told.scale.mm_per_px.value / true_px)
            errors.append(q.value / stud.pitch_mm - 1)
            noise = [b.contributions["pitch_mm"] for b in read.budget if b.kind == "A"]
            stated.append(float(np.linalg.norm(noise)) / q.value)
        if len(in_px) > 1:
            groups.append(np.array(in_px))
    if sum(map(len, groups)) < photos / 2:
        return None
    # Scatter by noise alone: about each place's own mean, whatever the scale does.
    left = np.concatenate([g / g.mean() - 1 for g in groups])
    scatter = float(np.sqrt(np.sum(left**2) / (len(left) - len(groups))))
    return Found(
        px_per_pitch=px_per_pitch,
        turns=turns,
        bound=bound(px_per_pitch, turns),
        scatter=scatter,
        bias=float(np.mean(np.concatenate(groups))) - 1,
        bias_scaled=float(np.mean(errors)),
        stated=float(np.median(stated)),
        photos=len(errors),
    )


def line(found: Found) -> str:
    """Return a row of the table, in parts per million of the pitch."""
    f = found
    return (
        f"{f.px_per_pitch:>8.0f}{f.turns:>7d}{f.photos:>8d}{1e6 * f.bound:>10.1f}"
        f"{1e6 * f.scatter:>10.1f}{f.scatter / f.bound:>9.2f}{1e6 * f.stated:>10.1f}"
        f"{1e6 * f.bias:>10.1f}{1e6 * f.bias_scaled:>10.1f}"
    )


HEAD = (
    f"{'px/pitch':>8}{'turns':>7}{'photos':>8}{'bound':>10}{'scatter':>10}{'ratio':>9}"
    f"{'u noise':>10}{'bias px':>10}{'bias mm':>10}   (parts per million of the pitch)"
)
