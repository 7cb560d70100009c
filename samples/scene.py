"""What stands before the camera: lens, light panel, parts with their materials, printed film."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from samples.forms import Array
from samples.solids import Faces

WIDTH, HEIGHT = 4032, 3024
#: Diagonal of the 36 x 24 mm frame, to which a 35-mm-equivalent focal length refers.
DIAGONAL_35 = float(np.hypot(36, 24))

Image = NDArray[np.float32]


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A phone's camera above the plate, looking down.

    ``f35`` is the true focal length (the file may carry another); ``tilt_deg`` turns the view
    about the picture's x and y axes; ``aim`` is the point of the plate under the lens, mm.
    """

    f35: float
    height: float
    aim: tuple[float, float] = (0.0, 0.0)
    tilt_deg: tuple[float, float] = (0.0, 0.0)
    roll_deg: float = 0.0
    pupil: float = 2.6
    focus_height: float = 5.0
    centre_px: tuple[int, int] = (0, 0)

    @property
    def f_px(self) -> float:
        return self.f35 / DIAGONAL_35 * float(np.hypot(WIDTH, HEIGHT))

    def axes(self) -> Array:
        """Return the world directions of the picture's x, y (down) and view axes, as rows."""
        a, b = np.deg2rad(self.tilt_deg)
        c = np.deg2rad(self.roll_deg)
        rx = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
        ry = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
        rz = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
        return (ry @ rx @ rz @ np.array([[1.0, 0, 0], [0, -1, 0], [0, 0, -1]]).T).T

    @property
    def position(self) -> Array:
        """The pinhole: such that the view axis meets the plate at ``aim``."""
        view = self.axes()[2]
        return np.array([*self.aim, 0.0]) - view * (self.height / -view[2])

    def project(self, xyz: Array) -> Array:
        """Return pixel positions (n, 2) of world points, without distortion."""
        p = (xyz - self.position) @ self.axes().T
        centre = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2]) + self.centre_px
        return centre + self.f_px * p[:, :2] / p[:, 2:]


@dataclass(frozen=True, kw_only=True)
class Lamp:
    """A lit rectangle above the bench that faces the middle of the plate; ``level`` of panel's."""

    at: tuple[float, float, float]
    half: tuple[float, float]
    level: float


@dataclass(frozen=True, kw_only=True)
class Light:
    """The panel: ``below`` the plate, lit over ``size`` mm around ``centre``, level 1.

    ``fall`` is the share of light lost at the corner of the lit area; ``room`` the light of the
    room from above, ``surround`` the grey around the panel. ``slope`` is the change of level from
    the middle to the right and to the top.
    """

    below: float = 250.0
    size: tuple[float, float] = (150.0, 120.0)
    centre: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0
    fall: float = 0.03
    room: float = 0.03
    surround: float = 0.5
    slope: tuple[float, float] = (0.0, 0.0)
    lamps: tuple[Lamp, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Thing:
    """A mesh in the world with its material: a name of MATERIALS, or the renderer's description."""

    vertices: Array
    faces: Faces
    material: str | Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Film:
    """A flat printed sheet on the plate: light let through (rows, columns), 1 = clear.

    ``size`` mm, row 0 at the top (positive y). ``hole`` mm (x0, y0, x1, y1) is cut out.
    """

    image: NDArray[np.uint8]
    size: tuple[float, float]
    hole: tuple[float, float, float, float]
    paper: float = 0.45
    turn_deg: float = 0.0
    at: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class Scene:
    """What stands before the camera."""

    camera: Camera
    light: Light
    things: Sequence[Thing] = field(default=())
    film: Film | None = None


#: Optical constants of chromium and aluminium come with the renderer, those of brass (red, green,
#: blue) are from memory. Roughness 0.06 is ground, 0.12 turned, 0.2 plated and dull. The
#: reflectance of zinc plate (on aluminium's constants) and of black is chosen by eye.
MATERIALS: dict[str, dict[str, Any]] = {
    "brass": {
        "type": "roughconductor",
        "alpha": 0.12,
        "eta": {"type": "rgb", "value": [0.444, 0.527, 1.094]},
        "k": {"type": "rgb", "value": [3.695, 2.765, 1.829]},
    },
    "steel": {"type": "roughconductor", "material": "Cr", "alpha": 0.10},
    "pin": {"type": "roughconductor", "material": "Cr", "alpha": 0.06},
    "zinc": {
        "type": "roughconductor",
        "material": "Al",
        "alpha": 0.2,
        "specular_reflectance": {"type": "rgb", "value": [0.72, 0.74, 0.78]},
    },
    "black": {
        "type": "roughplastic",
        "diffuse_reflectance": {"type": "rgb", "value": 0.03},
        "alpha": 0.3,
        "int_ior": 1.4,
    },
    "card": {
        "type": "roughplastic",
        "diffuse_reflectance": {"type": "rgb", "value": [0.03, 0.05, 0.12]},
        "alpha": 0.2,
    },
    "dead": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.02}},
}
