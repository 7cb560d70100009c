"""Make the noise-free silhouettes in this folder from a third-party CAD library's thread.

``python cad_silhouette.py`` with bd_warehouse 0.4.0 and build123d 0.13.0 (both Apache-2.0, PyPI)
installed; numpy is all else that it needs. The thread is the library's ``IsoThread`` (external,
60 degrees, crest P/8, flat root at 5H/8 below the crest, on a plain core of that root's radius),
tessellated to 1 um and projected through a pinhole. No code of this project takes part.

Each CSV holds one row per quarter pixel along the axis: x, and y of both outlines (upper: small y),
without the ends, where the end faces show.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

#: Designation, diameter, pitch, length, f_px, distance of the axis, offset of the middle (x, y) mm.
CASES = [
    ("M14x1.5", 14.0, 1.5, 13.5, 3028.0, 180.0, (4.0, -3.0)),
    ("M10x1", 10.0, 1.0, 10.0, 6057.0, 300.0, (0.0, 2.0)),
]
CENTRE_PX = (2015.5, 1511.5)


def mesh(diameter: float, pitch: float, length: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Return vertices, triangles and the core's radius of the library's thread, axis along z."""
    from bd_warehouse.thread import IsoThread

    solid = IsoThread(
        major_diameter=diameter,
        pitch=pitch,
        length=length,
        external=True,
        end_finishes=("square", "square"),
    )
    points, faces = solid.tessellate(0.001, 0.01)
    return np.array([(p.X, p.Y, p.Z) for p in points]), np.array(faces), float(solid.min_radius)


def core(radius: float, length: float, n: int = 3600) -> tuple[np.ndarray, np.ndarray]:
    """Return a plain cylinder's mesh."""
    t = np.arange(n) * 2 * np.pi / n
    ring = np.column_stack([radius * np.cos(t), radius * np.sin(t)])
    points = np.concatenate([np.column_stack([ring, np.full(n, z)]) for z in (0.0, length)])
    i = np.arange(n)
    j = (i + 1) % n
    faces = [np.column_stack([i, j, n + j]), np.column_stack([i, n + j, n + i])]
    return points, np.concatenate(faces)


def envelope(px: np.ndarray, faces: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Return the largest y of a projected mesh at each x (evenly spaced)."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    a, b = px[edges[:, 0]], px[edges[:, 1]]
    swap = a[:, 0] > b[:, 0]
    a[swap], b[swap] = b[swap], a[swap].copy()
    step = x[1] - x[0]
    first = np.ceil((a[:, 0] - x[0]) / step).astype(int)
    last = np.floor((b[:, 0] - x[0]) / step).astype(int)
    count = np.clip(last - first + 1, 0, None)
    which = np.repeat(np.arange(len(edges)), count)
    at = first[which] + np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    inside = (at >= 0) & (at < len(x))
    which, at = which[inside], at[inside]
    t = (x[at] - a[which, 0]) / np.maximum(b[which, 0] - a[which, 0], 1e-12)
    top = np.full(len(x), -np.inf)
    np.maximum.at(top, at, a[which, 1] + t * (b[which, 1] - a[which, 1]))
    return top


def main() -> None:
    """Write a CSV and a JSON for each case."""
    here = Path(__file__).parent
    for name, diameter, pitch, length, f, distance, (dx, dy) in CASES:
        points, faces, radius = mesh(diameter, pitch, length)
        inner, inner_faces = core(radius, length)
        both = np.concatenate([points, inner])
        all_faces = np.concatenate([faces, inner_faces + len(points)])
        seen = np.column_stack(
            [both[:, 2] - length / 2 + dx, both[:, 0] + dy, distance + both[:, 1]]
        )
        px = seen[:, :2] / seen[:, 2:] * f + CENTRE_PX
        reach = f * (length / 2 - 0.6 * pitch) / distance
        middle = CENTRE_PX[0] + f * dx / distance
        x = np.arange(np.ceil(middle - reach), np.floor(middle + reach), 0.25)
        lower = envelope(px, all_faces, x)
        upper = -envelope(px * (1, -1), all_faces, x)
        stem = f"cad-{name.lower()}"
        rows = np.column_stack([x, upper, lower])
        np.savetxt(
            here / f"{stem}.csv",
            rows,
            fmt="%.4f",
            delimiter=",",
            header="x_px,upper_px,lower_px",
            comments="",
        )
        truth = {
            "source": "bd_warehouse 0.4.0 IsoThread (PyPI), tessellated to 0.001 mm",
            "designation": name,
            "pitch_mm": pitch,
            "major_mm": diameter,
            "angle_deg": 60.0,
            "minor_mm": 2 * radius,
            "pitch_diameter_mm": diameter - 0.649519 * pitch,
            "length_mm": length,
            "f_px": f,
            "centre_px": CENTRE_PX,
            "axis_distance_mm": distance,
            "middle_mm": [dx, dy],
        }
        (here / f"{stem}.json").write_text(json.dumps(truth, indent=1) + "\n")


if __name__ == "__main__":
    main()
