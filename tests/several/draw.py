"""Drawn parts, each photographed several times as a person would: turned, rolled, nearer.

What a phone, a pin and a part keep from photo to photo (focal length, size, distortion, crests) is
drawn once for each part; what is new with each (tilt, inclination, place, noise) for each photo.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.drawn_photo import Shot, Stud, draw

#: Pitch and nominal diameter, mm: common coarse and fine sizes.
SIZES = ((1.0, 10.0), (1.25, 12.0), (1.5, 14.0), (1.5, 18.0), (2.0, 16.0), (1.75, 12.0))
PINS_MM = (8.0, 6.0, 10.0)
#: Standard deviations of what is drawn: focal length as a share, a pin's size in mm, the corner's
#: shift, inclination and tilt in degrees.
FOCAL, PIN, CORNER, INCLINE, TILT = 0.025, 0.008, 0.003, 0.8, 0.5


@dataclass(frozen=True, kw_only=True)
class Case:
    """One part and its photos, with the pin stated for each."""

    stud: Stud
    shots: tuple[Shot, ...]
    pins_mm: tuple[float, ...]

    @property
    def truth(self) -> dict[str, float]:
        """The naming quantities as drawn."""
        s = self.stud
        return {
            "pitch_mm": s.pitch_mm,
            "major_mm": s.major_mm,
            "minor_mm": s.minor_mm,
            "pitch_diameter_mm": s.pitch_diameter_mm,
            "angle_deg": 60.0,
            "taper": 0.0,
        }

    def write(self, folder: Path, name: str) -> list[Path]:
        """Draw the photos."""
        return [
            draw(self.stud, shot, pin, folder / f"{name}-{i}.jpg")
            for i, (shot, pin) in enumerate(zip(self.shots, self.pins_mm, strict=True))
        ]


def case(seed: int, photos: int = 3, *, another_pin: bool = False) -> Case:
    """Draw one part and how it is photographed: laid, turned end for end, then from nearer."""
    rng = np.random.default_rng([seed, 41])
    pitch, nominal = SIZES[rng.integers(len(SIZES))]
    major = nominal - rng.uniform(0.03, 0.25)
    stud = Stud(
        pitch_mm=pitch,
        major_mm=major,
        shank_mm=major + 0.15,
        thread_mm=pitch * rng.uniform(7, 13),
        shank_length_mm=rng.uniform(7, 10),
    )
    pins = rng.choice(PINS_MM, 2, replace=False)
    size_errors = rng.normal(0, PIN, 2)
    lasting = Shot(
        focal_share=rng.normal(0, FOCAL),
        corner_shift=rng.normal(0, CORNER),
        heading_rad=rng.uniform(-0.7, 0.7),
    )
    shots, stated = [], []
    for i in range(photos):
        which = i % 2 if another_pin else 0
        shots.append(
            replace(
                lasting,
                pin_error_mm=size_errors[which],
                seed=int(rng.integers(2**31)),
                incline_rad=rng.normal(0, np.radians(INCLINE)),
                tilt_rad=tuple(rng.normal(0, np.radians(TILT), 2)),
                heading_rad=lasting.heading_rad + np.pi * i + rng.uniform(-0.2, 0.2),
                distance_mm=rng.uniform(150, 200) if i < 2 else rng.uniform(135, 155),
            )
        )
        stated.append(float(pins[which]))
    return Case(stud=stud, shots=tuple(shots), pins_mm=tuple(stated))
