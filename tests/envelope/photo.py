"""A stud and a pin over a light, drawn by exact means and developed as a phone does."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from pitchcam.series import find
from samples.develop import Development, write
from tests.drawn_photo import Shot, Stud, project, stud_shadow
from tests.envelope.dials import Setting
from tests.fresh.phone import Phone, develop
from tests.fresh.threads import Cut, cut
from tests.objects.drawing import cover, hull, pin

#: Threads of the study: each form, parallel and taper, and neighbours that are easily confused.
NAMES = ("M14x1.5", "1/2-20 UNF", "G 1/4", "3/8-16 BSW", "R 1/4", "1/4-18 NPT")
PIN_MM, PIN_LENGTH_MM, WINDOW_PX = 8.0, 26.0, 60.0
#: Pixels of the photo: what is drawn lies in the middle of a frame, and a quarter of a large
#: sensor's is a quarter of the work.
WIDTH, HEIGHT = 2016, 1512
#: Lenses of the phone, 35-mm-equivalent, and how far away a phone is held, mm.
LENSES_MM, HELD_MM = (52.0, 26.0, 78.0, 104.0), (150.0, 350.0)


@dataclass(frozen=True, kw_only=True)
class CutStud(Stud):
    """A stud whose thread is any of the standard forms; crests worn to ``top_mm``.

    A taper thread ends in its small face, as on a fitting, and the long shank behind its large end
    carries the part.
    """

    cut: Cut
    top_mm: float

    def radius(self, z, turn):
        """Return the radius at positions along the axis, for a section at an angle."""
        t = self.cut.thread
        slope = t.taper / 2 * (z - self.thread_mm / 2)
        form = t.form.height((z + t.pitch * turn / (2 * np.pi)) / t.pitch) * t.pitch
        groove = np.minimum(t.pitch_radius + slope + form, self.top_mm / 2 + slope)
        threaded = np.abs(z) < self.thread_mm / 2
        if t.taper:
            threaded |= z < 0
        return np.where(threaded, groove, self.shank_mm / 2)

    @property
    def ends_mm(self) -> tuple[float, float]:
        """Where the part begins and ends along its axis, from the thread's middle."""
        half = self.thread_mm / 2
        free = 0.0 if self.cut.thread.taper else self.shank_length_mm
        return -half - free, half + self.shank_length_mm


def stud_of(name: str, setting: Setting, rng: np.random.Generator) -> CutStud:
    """Return a stud of a size, somewhere within its usual class."""
    made = cut(find(name), rng, turns=setting.turns, worn=False)
    t = made.thread
    depth = 2 * setting.wear * t.form.depth * t.pitch
    return CutStud(
        pitch_mm=t.pitch,
        major_mm=t.major,
        thread_mm=t.thread_length,
        cut=made,
        top_mm=t.major - depth,
        shank_mm=t.major + 0.3,
        shank_length_mm=1.3 * t.thread_length if t.taper else 9.0,
    )


def shot_of(setting: Setting, pitch_mm: float, rng: np.random.Generator) -> Shot:
    """Return the camera: the lens that brings the pixels per pitch from where a phone is held.

    A zoomed photo is one of the first lens from 250 mm, whatever its pixels per pitch become.
    """
    way = rng.uniform(0, 2 * np.pi)
    tilt = np.radians(setting.tilt_deg)
    turn = 0.3 if setting.px_per_pitch > 35 or setting.zoom > 2 else 0.7  # what the frame holds
    common = {
        "heading_rad": float(rng.uniform(-turn, turn)),
        "size_px": (WIDTH, HEIGHT),
        "tilt_rad": (float(tilt * np.cos(way)), float(tilt * np.sin(way))),
        "incline_rad": float(np.radians(setting.incline_deg)),
        "focal_share": float(rng.normal(0, 0.012)),
    }
    if setting.zoom > 1:
        return Shot(f35_mm=LENSES_MM[0], distance_mm=250.0, **common)
    shots = []
    for lens in LENSES_MM:
        far = Shot(f35_mm=lens, **common).f_px * pitch_mm / setting.px_per_pitch
        beyond = max(HELD_MM[0] - far, far - HELD_MM[1], 0.0)
        shots.append((beyond, Shot(f35_mm=lens, distance_mm=far, **common)))
    return min(shots, key=lambda s: s[0])[1]


def lift_mm(stud: CutStud, incline_rad: float) -> float:
    """Return how much higher an inclined stud's axis lies in mid-thread than on level shanks.

    Its lower end rests on the plate; the other is propped up.
    """
    first, last = stud.ends_mm
    z = np.linspace(first, last, 200)
    below = stud.radius(z, 0.0) * np.cos(incline_rad) - z * np.sin(incline_rad)
    return float(below.max() - stud.shank_mm / 2)


def light_of(stud: CutStud, shot: Shot, setting: Setting, rng: np.random.Generator):
    """Return the scene's linear light, (HEIGHT, WIDTH, 3), before the phone."""
    across = np.array([-np.sin(shot.heading_rad), np.cos(shot.heading_rad)])
    way = rng.choice([0, np.pi]) + rng.uniform(-0.3, 0.3)  # along the frame's longer side
    off = setting.off_middle_mm * np.array([np.cos(way), np.sin(way)])
    shade = stud_shadow(stud, shot, 9.0 * across + off)
    lying = pin(-11.0 * across + off, shot.heading_rad, PIN_LENGTH_MM, PIN_MM)
    shade = np.maximum(shade, cover((WIDTH, HEIGHT), hull(project(lying, shot)), 0.3))
    _specks(shade, stud, shot, 9.0 * across + off, (setting.dirt, rng))
    x = np.arange(WIDTH) / WIDTH - 0.5
    fall = 1 - setting.uneven * (x + 0.5)
    lit = cover((WIDTH, HEIGHT), hull(project(_window(shot), shot)), 3.0)
    light = (0.008 + 0.992 * (1 - shade)) * lit * fall[None, :]
    return np.repeat(light[..., None].astype(np.float32), 3, axis=2)


def _window(shot: Shot):
    """Return the corners of the window in the dark card on the glass: seen square, a photo full."""
    half = (np.array([WIDTH, HEIGHT]) / 2 - WINDOW_PX) * shot.distance_mm / shot.f_px
    return np.array(
        [[x * half[0], y * half[1], 0.0] for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    )


def _specks(shade, stud: CutStud, shot: Shot, middle, dirt) -> None:
    """Lay grains of 0.1 to 0.5 mm on both sides of the thread, as many per mm as the dial says."""
    per_mm, rng = dirt
    along = np.array([np.cos(shot.heading_rad), np.sin(shot.heading_rad)])
    across = np.array([-along[1], along[0]])
    for _ in range(rng.poisson(per_mm * stud.thread_mm)):
        z = rng.uniform(-0.5, 0.5) * stud.thread_mm
        r = rng.choice([-1, 1]) * stud.major_mm / 2 * rng.uniform(0.93, 1.03)
        at = project(np.array([[*(middle + z * along + r * across), stud.shank_mm / 2]]), shot)[0]
        size = rng.uniform(0.05, 0.25, 2) * shot.f_px / shot.distance_mm
        grain = np.zeros((int(2 * size.max()) + 7,) * 2, np.float32)
        half = (len(grain) - 1) / 2
        y, x = np.mgrid[: len(grain), : len(grain)] - half
        grain[(x / size[0]) ** 2 + (y / size[1]) ** 2 < 1] = 1.0
        grain = cv2.GaussianBlur(grain, (0, 0), 0.7)
        y0, x0 = (np.round(at[::-1] - half)).astype(int)
        room = shade[y0 : y0 + len(grain), x0 : x0 + len(grain)]
        if room.shape == grain.shape:
            np.maximum(room, grain, out=room)


def phone_of(setting: Setting, shot: Shot, seen_px: float, rng: np.random.Generator) -> Phone:
    """Return what the phone does; ``seen_px`` is the pitch on the sensor."""
    lens = Development(
        plate=setting.level,
        psf_px=max(setting.blur * seen_px, 0.45),
        motion_px=setting.motion * seen_px,
        motion_deg=float(rng.uniform(0, 180)),
        gain=setting.noise,
        sharpen=setting.sharpening,
        k1=setting.distortion,
        quality=round(setting.jpeg),
    )
    return Phone(
        lens=lens,
        veil=setting.glare,
        bloom=setting.glare / 2,
        clip=0.3,
        zoom=setting.zoom,
        f35_tag=round(shot.f35_mm * setting.zoom),
        zoom_tag=setting.zoom,
    )


def draw(name: str, setting: Setting, seed: tuple[int, ...], path: Path) -> dict[str, Any]:
    """Write the photo and, beside it, its truth; return the truth."""
    rng = np.random.default_rng(seed)
    stud = stud_of(name, setting, rng)
    shot = shot_of(setting, stud.pitch_mm, rng)
    shot = replace(shot, lift_mm=lift_mm(stud, shot.incline_rad))
    seen_px = shot.f_px * stud.pitch_mm / shot.distance_mm
    light = light_of(stud, shot, setting, rng)
    phone = phone_of(setting, shot, seen_px, rng)
    write(path, develop(light, phone, int(rng.integers(2**31))))
    t = stud.cut.thread
    truth = {
        "file": path.name,
        "quality": "workshop",
        "set": "drawn",
        "scale": {"source": "pin", "mm": PIN_MM},
        "expected": None,
        "threads": [
            {
                "designation": name,
                "pitch_mm": t.pitch,
                "angle_deg": t.form.angle_deg,
                "taper": t.taper,
                "starts": 1,
                "turns": setting.turns,
                "thread_length_mm": t.thread_length,
                "diameter_station_mm": t.thread_length,
                "major_mm": stud.top_mm,
                "pitch_diameter_mm": 2 * t.pitch_radius,
                "minor_mm": 2 * t.minor_radius,
                "worn_mm": (t.major - stud.top_mm) / 2,
                "incline_deg": setting.incline_deg,
                "material": "black",
            }
        ],
        "parts": [{"kind": "stud", "material": "black", "inclination_deg": setting.incline_deg}],
        "render": {
            "f_px": shot.f_px * phone.zoom,
            "camera": {
                "f_px": shot.f_px * phone.zoom,
                "height_mm": shot.distance_mm,
                "tilt_deg": setting.tilt_deg,
            },
            "development": asdict(phone),
            "setting": asdict(setting),
        },
    }
    path.with_suffix(".json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    return truth
