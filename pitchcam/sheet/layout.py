"""Where everything lies on the marker sheet: plain geometry, in mm.

Origin in the middle of the window, x to the right and y down as the sheet is read. The markers are
of the open 36h11 family; its wide code distance makes a marker seen by chance in a photo of a
workshop next to impossible, so that a sheet can be looked for without being asked.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.paper import PAPERS

#: Length of both check bars as drawn.
BAR_MM = 100.0

#: Cells across a marker: six of code and a black border of one on each side.
CELLS = 8

#: Papers that the sheet fits on, portrait, mm.
PAGES = {name: PAPERS[name] for name in ("a4", "letter")}


@dataclass(frozen=True, kw_only=True, slots=True)
class Marker:
    """One marker: number in its family, middle, side length of its black square."""

    id: int
    x_mm: float
    y_mm: float
    side_mm: float

    @property
    def corners_mm(self) -> NDArray[np.float64]:
        """Corners (4, 2), clockwise from the upper left as read."""
        half = self.side_mm / 2
        around = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
        return around + (self.x_mm, self.y_mm)


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A ring of markers around a clear window.

    ``across`` and ``down`` count the markers of a horizontal and a vertical side, corners included.
    """

    name: str
    window_mm: tuple[float, float]
    side_mm: float
    gap_mm: float
    across: int
    down: int
    first_id: int

    @property
    def outer_mm(self) -> tuple[float, float]:
        """Width and height over the outer edges of the markers."""
        frame = 2 * (self.side_mm + self.gap_mm)
        return self.window_mm[0] + frame, self.window_mm[1] + frame

    @cached_property
    def markers(self) -> tuple[Marker, ...]:
        """The ring, numbered clockwise from the upper left."""
        half_x = (self.outer_mm[0] - self.side_mm) / 2
        half_y = (self.outer_mm[1] - self.side_mm) / 2
        xs = np.linspace(-half_x, half_x, self.across)
        ys = np.linspace(-half_y, half_y, self.down)
        ring = [(x, -half_y) for x in xs] + [(half_x, y) for y in ys[1:]]
        ring += [(x, half_y) for x in xs[-2::-1]] + [(-half_x, y) for y in ys[-2:0:-1]]
        return tuple(
            Marker(id=self.first_id + i, x_mm=float(x), y_mm=float(y), side_mm=self.side_mm)
            for i, (x, y) in enumerate(ring)
        )

    @property
    def window_corners_mm(self) -> NDArray[np.float64]:
        """Corners (4, 2) of the window, clockwise from the upper left."""
        w, h = self.window_mm[0] / 2, self.window_mm[1] / 2
        return np.array([[-w, -h], [w, -h], [w, h], [-w, h]])


#: ``part``: a phone's main camera (26 mm equivalent) sees the whole ring from 150 mm on, and the 2x
#: lens from 230 mm on. ``box``: several parts, from 190 mm on. Marker numbers tell the two apart.
#: The gap to the window keeps the black square's white border when the window is cut too large.
SIZES = {
    "part": Sheet(
        name="part", window_mm=(90.0, 60.0), side_mm=14.0, gap_mm=6.0, across=6, down=4, first_id=16
    ),
    "box": Sheet(
        name="box", window_mm=(120.0, 90.0), side_mm=16.0, gap_mm=5.0, across=7, down=6, first_id=64
    ),
}


def sheet(name: str = "part") -> Sheet:
    """Return a sheet by name.

    Raises
    ------
    KeyError
        If there is no such size.
    """
    return SIZES[name]
