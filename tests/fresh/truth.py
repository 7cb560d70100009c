"""The truth beside a fresh photo: the sample photos' fields, and pose and boxes of all parts."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from samples.scene import Thing
from samples.solids import Flipped, Thread
from tests.fresh.draw import Fresh
from tests.fresh.threads import Cut

QUALITY = {
    "good": "clean",
    "twins": "clean",
    "again": "clean",
    "pipes": "clean",
    "workshop": "workshop",
    "fall": "workshop",
    "nonthread": "refuse",
    "wrongref": "refuse",
}
EXPECTED = {"nonthread": "no threaded part", "wrongref": "the reference is not of the stated size"}


def truth(of: Fresh) -> dict[str, Any]:
    """Return the document that stands beside the photo."""
    build = of.laid.build
    rows = []
    if build is not None:
        rows = [_thread(of, i, cut) for i, cut in build.threads.items()]
    refused = of.set == "nonthread"
    return {
        "file": f"{of.name}.jpg",
        "quality": QUALITY[of.set],
        "set": of.set,
        "scale": of.stated,
        "expected": EXPECTED.get(of.set),
        "threads": [] if refused else rows,
        "parts": [_part(of, rows)],
        "render": _render(of, rows if refused else []),
    }


def _thread(of: Fresh, i: int, cut: Cut) -> dict[str, Any]:
    build = of.laid.build
    assert build is not None
    t, segment = cut.thread, build.part.segments[i]
    start = build.part.starts_at()[i]
    back = isinstance(segment, Flipped)
    middle = start + (segment.length - t.thread_length / 2 if back else t.thread_length / 2)
    return {
        "designation": cut.name,
        "pitch_mm": t.pitch,
        "angle_deg": t.form.angle_deg,
        "taper": t.taper,
        "starts": t.starts,
        "turns": t.thread_length / t.pitch,
        "thread_length_mm": t.thread_length,
        "diameter_station_mm": t.thread_length,
        "major_mm": t.major,
        "pitch_diameter_mm": 2 * t.pitch_radius,
        "minor_mm": 2 * t.minor_radius,
        "worn_mm": cut.worn_mm,
        "axis_height_mm": of.laid.pose.axis_height(middle),
        "incline_deg": of.laid.pose.incline_deg,
        "material": of.laid.material,
        "box_px": thread_box(of, start, segment.length, t),
    }


def thread_box(of: Fresh, start: float, length: float, t: Thread) -> list[float]:
    """Return the box x0, y0, x1, y1 around a thread in the upright picture."""
    a = np.linspace(0, 2 * np.pi, 180)
    ring = np.column_stack([np.cos(a), np.sin(a), np.zeros_like(a)]) * (t.major / 2, t.major / 2, 0)
    ends = np.concatenate([ring + (0, 0, start), ring + (0, 0, start + length)])
    return box(of, of.laid.pose.world(ends))


def box(of: Fresh, xyz: np.ndarray) -> list[float]:
    """Return the box around world points in the upright picture, px."""
    px = of.phone.move(of.camera.project(xyz))
    return [*px.min(axis=0).tolist(), *px.max(axis=0).tolist()]


def _all(things: list[Thing]) -> np.ndarray:
    return np.concatenate([t.vertices for t in things])


def _part(of: Fresh, rows: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "kind": of.laid.kind,
        "box_px": box(of, of.laid.thing.vertices),
        "yaw_deg": of.laid.heading_deg % 360,
        "inclination_deg": of.laid.pose.incline_deg,
        "axis_height_at_thread_mm": rows[0]["axis_height_mm"] if rows else None,
        "material": of.laid.material,
    }


def _render(of: Fresh, hidden: list[dict[str, Any]]) -> dict[str, Any]:
    camera, phone = of.camera, of.phone
    centre = phone.move(camera.project((camera.position + 100 * camera.axes()[2])[None]))[0]
    tilt = float(np.rad2deg(np.arccos(-camera.axes()[2][2])))
    out: dict[str, Any] = {
        "f_px": camera.f_px * phone.scale,
        "camera": {
            "f_px": camera.f_px * phone.scale,
            "cx": float(centre[0]),
            "cy": float(centre[1]),
            "k1": phone.lens.k1,
            "height_mm": camera.height,
            "tilt_deg": tilt,
            "f35_mm": camera.f35,
            **asdict(camera),
        },
        "references": [],
        "light": asdict(of.light),
        "setup": {"panel_h": of.light.below},
        "development": asdict(phone),
        "seed": of.seed,
    }
    if of.reference is not None:
        row = of.reference.truth(of.reference_at, of.reference_deg)
        row["box_px"] = box(of, _all(of.reference_things()))
        out["references"] = [row]
    if hidden:
        out["special"] = hidden
    return out
