"""Path tracing of a scene in linear light with Mitsuba 3: thin lens, metals, light panel.

The objects' window is rendered at full resolution; the rest of the frame, which holds only the
panel and its surround, at an eighth where the panel's edge is far out of focus, else a quarter, and
a printed sheet at a half.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from samples.forms import Array
from samples.scene import HEIGHT, MATERIALS, WIDTH, Camera, Film, Image, Lamp, Light, Scene, Thing
from samples.solids import Faces

#: Paths of one pass, which needs some 150 bytes for each. The sampler spreads the paths of a pass
#: evenly over a pixel and the lens, so that few large passes leave less noise than many small ones;
#: it wants a square number per pixel.
PASS = 16_000_000
GPU_PASS = 256_000_000

#: What glows reflects nothing, so that a path ends there: the panel outshines the room by far.
DARK = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}

#: Paths per pixel of a printed sheet, which is flat and lit evenly: only its edges have noise.
SHEET_PATHS = 32

#: The renderer's lens has its principal point in the middle of the film; the film is made this
#: many pixels larger on each side and cut off-centre. Camera.centre_px holds multiples of 4.
SHIFT = 32


def renderer() -> Any:
    """Give Mitsuba: on a GPU if SAMPLES_GPU is set, else by LLVM 16 or newer, else interpreted."""
    libraries = {
        int(m.group(1)): str(p)
        for p in Path("/usr/lib").glob("*/libLLVM*.so*")
        if (m := re.search(r"libLLVM(?:-|\.so\.)(\d+)", p.name)) and int(m.group(1)) >= 16
    }
    if libraries:
        os.environ.setdefault("DRJIT_LIBLLVM_PATH", libraries[max(libraries)])
    import drjit
    import mitsuba as mi

    if os.environ.get("SAMPLES_GPU"):
        mi.set_variant("cuda_ad_rgb")
    elif "DRJIT_LIBLLVM_PATH" in os.environ:
        mi.set_variant("llvm_ad_rgb")
        drjit.set_thread_count(1)
    else:
        mi.set_variant("scalar_rgb")
    return mi


def photo(
    scene: Scene,
    *,
    samples: int = 64,
    outside: int = 20,
    seed: int = 0,
    margin: int = 90,
    depth: int = 5,
    apart: bool = False,
) -> Image:
    """Return the photo in linear light, (HEIGHT, WIDTH, 3) RGB; the panel's level is about 1.

    Parameters
    ----------
    scene : Scene
        What to render.
    samples, outside : int
        Paths per pixel in the objects' window, and per pixel of the rest at a quarter size.
    seed : int
        Of the renderer's random numbers.
    margin : int
        Pixels around the objects that are rendered at full resolution.
    depth : int
        Most bounces of a path.
    apart : bool
        Render a window around each group of objects, not one around all: less to trace.
    """
    mi = renderer()
    world = {"type": "scene", "integrator": {"type": "path", "max_depth": depth}}
    world |= _light(mi, scene.light)
    for i, thing in enumerate(scene.things):
        world[f"thing{i}"] = _mesh(mi, thing.vertices, thing.faces, f"thing{i}")
        bsdf = MATERIALS[thing.material] if isinstance(thing.material, str) else thing.material
        world[f"thing{i}"].set_bsdf(mi.load_dict(dict(bsdf)))
    if scene.film is not None:
        world |= _film(mi, scene.film)
    loaded = mi.load_dict(world)
    n = _coarse(scene)
    whole = (0, 0, WIDTH // n, HEIGHT // n)
    paths = SHEET_PATHS if scene.film is not None else outside * n**2 // 16
    rough = _render(mi, loaded, scene.camera, WIDTH // n, whole, paths, seed)
    frame = cv2.resize(rough, (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
    for x0, y0, x1, y1 in windows(scene, margin) if apart else [window(scene, margin)]:
        fine = _render(mi, loaded, scene.camera, WIDTH, (x0, y0, x1, y1), samples, seed + 10_000)
        ramp = _feather(x1 - x0, y1 - y0, margin // 3)[..., None]
        frame[y0:y1, x0:x1] = ramp * fine + (1 - ramp) * frame[y0:y1, x0:x1]
    return np.maximum(frame, 0)


def _coarse(scene: Scene) -> int:
    """Return how many times smaller the panel's surroundings can be rendered."""
    if scene.film is not None:
        return 2
    camera, below = scene.camera, scene.light.below
    blur_px = camera.f_px * camera.pupil * below / (camera.height * (camera.height + below))
    return 8 if blur_px > 12 else 4


def window(scene: Scene, margin: int) -> tuple[int, int, int, int]:
    """Return the pixel box (x0, y0, x1, y1) around everything that is not panel."""
    return _box(scene.camera, scene.things, margin)


def windows(scene: Scene, margin: int) -> list[tuple[int, int, int, int]]:
    """Return one box for each group of things whose boxes meet."""
    groups = [[t] for t in scene.things]
    k = 0
    while k < len(groups):
        box = _box(scene.camera, groups[k], margin)
        near = [
            j
            for j in range(len(groups))
            if j != k and _meet(box, _box(scene.camera, groups[j], margin))
        ]
        if near:
            groups[k] += groups.pop(near[0])
            k = 0
        else:
            k += 1
    return [_box(scene.camera, g, margin) for g in groups]


def _meet(a: tuple[int, ...], b: tuple[int, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _box(camera: Camera, things: Sequence[Thing], margin: int) -> tuple[int, int, int, int]:
    # A slab has few vertices: all of them are taken.
    px = camera.project(
        np.concatenate([t.vertices[:: 7 if len(t.vertices) > 3000 else 1] for t in things])
    )
    low = np.floor(px.min(axis=0)).astype(int) - margin
    high = np.ceil(px.max(axis=0)).astype(int) + margin
    return (
        max(int(low[0]), 0),
        max(int(low[1]), 0),
        min(int(high[0]), WIDTH),
        min(int(high[1]), HEIGHT),
    )


def _feather(width: int, height: int, ramp: int) -> Image:
    x = np.minimum(np.arange(width), np.arange(width)[::-1]) / ramp
    y = np.minimum(np.arange(height), np.arange(height)[::-1]) / ramp
    return np.clip(np.minimum(x[None, :], y[:, None]), 0, 1).astype(np.float32)


def _render(
    mi: Any,
    loaded: Any,
    camera: Camera,
    width: int,
    box: tuple[int, int, int, int],
    samples: int,
    seed: int,
) -> Image:
    sensor = _sensor(mi, camera, width, box)
    rows, columns = box[3] - box[1], box[2] - box[0]
    most = min(samples, (GPU_PASS if os.environ.get("SAMPLES_GPU") else PASS) // (rows * columns))
    paths = max(1, int(np.sqrt(most))) ** 2
    passes = -(-samples // paths)
    total = np.zeros((rows, columns, 3), np.float32)
    for k in range(passes):
        total += np.asarray(mi.render(loaded, sensor=sensor, spp=paths, seed=seed + k))
    return total / np.float32(passes)


def _sensor(mi: Any, camera: Camera, width: int, box: tuple[int, int, int, int]) -> Any:
    axes = camera.axes()
    position = camera.position
    focus = (camera.position[2] - camera.focus_height) / -axes[2][2]
    fov = np.rad2deg(2 * np.arctan((WIDTH / 2 + SHIFT) / camera.f_px))
    scale = width / WIDTH
    shift = [round((SHIFT - c) * scale) for c in camera.centre_px]
    return mi.load_dict(
        {
            "type": "thinlens",
            "to_world": mi.ScalarTransform4f().look_at(
                origin=position.tolist(),
                target=(position + axes[2]).tolist(),
                up=(-axes[1]).tolist(),
            ),
            "fov": float(fov),
            "fov_axis": "x",
            "near_clip": 5.0,
            "far_clip": 5000.0,
            "aperture_radius": camera.pupil / 2,
            "focus_distance": float(focus),
            "sampler": {"type": "multijitter"},
            "film": {
                "type": "hdrfilm",
                "width": round((WIDTH + 2 * SHIFT) * scale),
                "height": round((HEIGHT + 2 * SHIFT) * scale),
                "crop_offset_x": box[0] + shift[0],
                "crop_offset_y": box[1] + shift[1],
                "crop_width": box[2] - box[0],
                "crop_height": box[3] - box[1],
                "rfilter": {"type": "box"},
                "pixel_format": "rgb",
                "component_format": "float32",
            },
        }
    )


def _mesh(mi: Any, vertices: Array, faces: Faces, name: str) -> Any:
    mesh = mi.Mesh(name, len(vertices), len(faces))
    values = mi.traverse(mesh)
    values["vertex_positions"] = vertices.astype(np.float32).ravel()
    values["faces"] = faces.astype(np.uint32).ravel()
    values.update()
    return mesh


def _plane(
    mi: Any, half: tuple[float, float], centre: tuple[float, float, float], turn_deg: float
) -> Any:
    t = mi.ScalarTransform4f
    return (
        t().translate(list(centre))
        @ t().rotate([0, 0, 1], turn_deg)
        @ t().scale([half[0], half[1], 1])
    )


def _light(mi: Any, light: Light) -> dict[str, Any]:
    edge = np.linspace(-1, 1, 65)
    level = 1 - light.fall * (edge[None, :] ** 2 + edge[:, None] ** 2) / 2
    level = level + light.slope[0] * edge[None, :] + light.slope[1] * edge[:, None]
    glow = {
        "type": "bitmap",
        "raw": True,
        "wrap_mode": "clamp",
        "bitmap": mi.Bitmap(np.repeat(level[..., None], 3, axis=2).astype(np.float32)),
    }
    centre = (*light.centre, -light.below)
    lamps = {f"lamp{i}": _lamp(mi, lamp) for i, lamp in enumerate(light.lamps)}
    return lamps | {
        "panel": {
            "type": "rectangle",
            "bsdf": DARK,
            "to_world": _plane(mi, (light.size[0] / 2, light.size[1] / 2), centre, light.turn_deg),
            "emitter": {"type": "area", "radiance": glow},
        },
        "bench": {
            "type": "rectangle",
            "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": light.surround}},
            "to_world": _plane(mi, (2000, 2000), (0, 0, -light.below - 2), 0),
        },
        "room": {"type": "constant", "radiance": {"type": "rgb", "value": light.room}},
    }


def _lamp(mi: Any, lamp: Lamp) -> dict[str, Any]:
    t = mi.ScalarTransform4f
    look = t().look_at(origin=list(lamp.at), target=[0, 0, 0], up=[0, 0.1, 1])
    return {
        "type": "rectangle",
        "bsdf": DARK,
        "to_world": look @ t().scale([lamp.half[0], lamp.half[1], 1]),
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": lamp.level}},
    }


def _film(mi: Any, film: Film) -> dict[str, Any]:
    """Return the sheet as four strips around its window; each carries its part of the image."""
    w, h = film.size
    x0, y0, x1, y1 = film.hole
    strips = [
        (-w / 2, y1, w / 2, h / 2),
        (-w / 2, -h / 2, w / 2, y0),
        (-w / 2, y0, x0, y1),
        (x1, y0, w / 2, y1),
    ]
    rows, columns = film.image.shape
    out: dict[str, Any] = {}
    a = np.deg2rad(film.turn_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    for i, (sx0, sy0, sx1, sy1) in enumerate(strips):
        c0, c1 = round((sx0 / w + 0.5) * columns), round((sx1 / w + 0.5) * columns)
        r0, r1 = round((0.5 - sy1 / h) * rows), round((0.5 - sy0 / h) * rows)
        patch = film.image[r0:r1, c0:c1][::-1].astype(np.float32) / 255 * film.paper
        # The strip ends where its last pixel ends, so that no strip is stretched.
        half = ((c1 - c0) / columns * w / 2, (r1 - r0) / rows * h / 2)
        local = ((c0 + c1) / columns - 1) * w / 2, (1 - (r0 + r1) / rows) * h / 2
        middle = turn @ np.array(local) + np.array(film.at)
        out[f"sheet{i}"] = {
            "type": "rectangle",
            "bsdf": DARK,
            "to_world": _plane(mi, half, (*middle, 0.05), film.turn_deg),
            "emitter": {
                "type": "area",
                "radiance": {
                    "type": "bitmap",
                    "raw": True,
                    "wrap_mode": "clamp",
                    "bitmap": mi.Bitmap(np.repeat(patch[..., None], 3, axis=2)),
                },
            },
        }
    return out
