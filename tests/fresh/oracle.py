"""Photos measured with one of their unknowns put in as it is: by how much each error falls.

What falls much is worth evidence; what is left with all of them known is the photo's own limit. The
truth is put in where the pipeline takes the unknown from, nothing else is changed.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from samples.scene import Camera as Held
from tests.fresh.measure import Row, guarded
from tests.fresh.table import grid

SCENE = "pitchcam.pipeline.scene"
#: What is known is put in with these standard uncertainties: of the focal length, relative, the
#: tilt and the inclination, rad, the axis's height, mm, and the reference's scale, relative.
U_LENS, U_TILT_RAD, U_INCLINE_DEG, U_HEIGHT_MM, U_SCALE = 1e-3, 1e-4, 0.05, 0.005, 1e-5
#: How far outside its box a thread's middle may be taken to lie, pixels.
NEAR_PX = 40.0

Put = Callable[[dict[str, Any]], Any]


def true_camera(truth: dict[str, Any]) -> Any:
    """Return the camera that took the photo, the plate's distance and normal in it."""
    from pitchcam.camera.pinhole import Camera

    told = truth["render"]["camera"]
    held = Held(
        f35=told["f35"],
        height=told["height"],
        aim=tuple(told["aim"]),
        tilt_deg=tuple(told["tilt_deg"]),
        roll_deg=told["roll_deg"],
    )
    normal = -held.axes()[:, 2]
    plain = Camera(
        f_px=told["f_px"], u_f_px=U_LENS * told["f_px"], centre_px=(told["cx"], told["cy"])
    )
    level = plain.tilted(normal, U_TILT_RAD).over_plate(float(held.position[2]))
    return level.bent(told["k1"], 1e-6)


def _focal(truth: dict[str, Any]) -> Any:
    from pitchcam.camera.focal import Explanation

    one = Explanation(f_px=true_camera(truth).f_px, u_share=U_LENS, weight=1.0)
    return patch(f"{SCENE}._explained", lambda photo, lens: (one,))


def _tilt(truth: dict[str, Any]) -> Any:
    normal = np.array(true_camera(truth).normal)
    return patch(f"{SCENE}.told_by_window", lambda field, c: c.tilted(normal, U_TILT_RAD))


def _distortion(truth: dict[str, Any]) -> Any:
    k1 = true_camera(truth).corner
    return patch(f"{SCENE}._undistorted", lambda field, shapes, c: c.bent(k1, 1e-6))


@contextmanager
def _scale(truth: dict[str, Any]) -> Iterator[None]:
    """Put in the scale in the reference's plane, where the reference lies."""
    from pitchcam.pipeline import scene

    camera, find = true_camera(truth), scene.find_reference

    def known(*arguments: Any) -> Any:
        r = find(*arguments)
        at, h = np.asarray(r.where_px, float)[None], r.height_mm
        by = float(camera.on_plane(at, h)[0, 2] / camera.f_px)
        by /= float(r.camera.on_plane(at, h)[0, 2] / r.camera.f_px)
        there = r.camera.over_plate(h + (r.camera.distance_mm - h) * by)
        return replace(r, camera=there, u_scale=U_SCALE)

    with patch(f"{SCENE}.find_reference", known):
        yield


def _true_thread(truth: dict[str, Any], at: Any) -> dict[str, Any] | None:
    def off(row: dict[str, Any]) -> float:
        x0, y0, x1, y1 = row["box_px"]
        return float(max(x0 - at[0], at[0] - x1, y0 - at[1], at[1] - y1))

    near = min(truth["threads"], key=off)
    found: dict[str, Any] | None = near if off(near) < NEAR_PX else None
    return found


@contextmanager
def _height(truth: dict[str, Any]) -> Iterator[None]:
    """Put in the axis's height at each thread, as if somebody had measured it."""
    from pitchcam.pipeline import part_threads
    from pitchcam.thread.pose import laid

    either = part_threads.lay_either

    def known(shape: Any, part: Any, level: Any, blur_px: float, knows: Any) -> Any:
        row = _true_thread(truth, shape.camera.project(shape.frame.origin))
        if row is not None:
            knows = replace(knows, height_mm=row["axis_height_mm"])
        return either(shape, part, level, blur_px, knows)

    with (
        patch.object(part_threads, "lay_either", known),
        patch.object(laid, "U_STATED_MM", U_HEIGHT_MM),
    ):
        yield


@contextmanager
def _inclination(truth: dict[str, Any]) -> Iterator[None]:
    """Put in the inclination over the plate; the camera's tilt stays as it was known."""
    from pitchcam.thread.pose import laid, rest
    from pitchcam.thread.pose.records import GRID, normal

    told, part = truth["render"]["camera"], truth["parts"][0]
    axes = Held(f35=26.0, height=1.0, tilt_deg=tuple(told["tilt_deg"]), roll_deg=told["roll_deg"])
    yaw = np.radians(part["yaw_deg"])
    seen = (axes.axes() @ np.array([np.cos(yaw), np.sin(yaw), 0.0]))[:2]
    lay = laid.lay
    sign = [1.0]

    def laid_so(shape: Any, part: Any, *rest: Any) -> Any:
        sign[0] = float(np.sign(seen @ np.array(part.axis.direction)))
        return lay(shape, part, *rest)

    def known(radii: Any) -> Any:
        out = normal(GRID - sign[0] * part["inclination_deg"], U_INCLINE_DEG)
        return out / out.sum()

    with patch.object(laid, "lay", laid_so), patch.object(rest, "prior", known):
        yield


#: What can be put in, by its name in the table.
KNOWN: dict[str, Put] = {
    "focal length": _focal,
    "tilt": _tilt,
    "distortion": _distortion,
    "inclination": _inclination,
    "height": _height,
    "scale": _scale,
}
#: The columns of the table: what is put in.
COLUMNS: dict[str, tuple[str, ...]] = {
    "as it is": (),
    **{name: (name,) for name in KNOWN},
    "all": tuple(KNOWN),
}


def run(file: Path, columns: Sequence[str] = tuple(COLUMNS)) -> list[Row]:
    """Return the rows of one photo under each column, the column's name as ``known``."""
    truth = json.loads(file.read_text(encoding="utf-8"))
    rows: list[Row] = []
    for column in columns:
        with ExitStack() as put:
            for name in COLUMNS[column]:
                put.enter_context(KNOWN[name](truth))
            rows += [row | {"known": column} for row in guarded(file)]
    return rows


def every(files: Sequence[Path], processes: int) -> list[Row]:
    """Return the rows of all photos under all columns."""
    import multiprocessing

    from tests.fresh.measure import quiet

    context = multiprocessing.get_context("spawn")
    with context.Pool(processes, initializer=quiet) as pool:
        return [row for rows in pool.imap(run, files) for row in rows]


def how(row: Row) -> str:
    """Return whether a thread was measured by its flanks, or by its crests alone."""
    return "flanks" if "pitch_diameter_mm" in row["errors"] else "crests"


def table(rows: Sequence[Row], by: str = "reference") -> str:
    """Return median and root mean square errors under each column, all and by a field of rows.

    ``by`` may be ``how`` as well: by flanks or by crests.
    Only threads that are measured under every column count, those of far outliers (beyond 2 % of
    their pitch) left out: they are not errors of the scale.
    """
    columns = list(dict.fromkeys(r["known"] for r in rows))
    threads: dict[tuple[str, str], dict[str, Row]] = {}
    for r in rows:
        if r.get("errors") and "pitch_mm" in r["errors"]:
            threads.setdefault((r["photo"], r["truth"]), {})[r["known"]] = r
    whole = [
        t
        for t in threads.values()
        if len(t) == len(columns) and all(abs(r["errors"]["pitch_mm"]) < 0.02 for r in t.values())
    ]
    if by == "how":
        whole = [{c: r | {"how": how(t[columns[0]])} for c, r in t.items()} for t in whole]
    groups = {"all": whole}
    for t in sorted(whole, key=lambda t: str(t[columns[0]].get(by))):
        groups.setdefault(str(t[columns[0]].get(by)), []).append(t)
    lines = [["", "n", *columns]]
    for name, group in groups.items():
        lines.append([f"{name}: pitch, %", str(len(group))])
        lines[-1] += [_cell(group, c, "pitch_mm") for c in columns]
        lines.append([f"{name}: major, %", str(len(group))])
        lines[-1] += [_cell(group, c, "major_mm") for c in columns]
    return grid(lines)


def names(rows: Sequence[Row]) -> str:
    """Return how many threads each column names rightly, leaves open, names wrongly or loses.

    What stays open with everything known is the photo's own limit: what it shows of the thread.
    """
    counts = {c: Counter(r["outcome"] for r in rows if r["known"] == c) for c in COLUMNS}
    columns = [c for c, found in counts.items() if found]
    every = sorted({o for c in columns for o in counts[c]})
    return grid([["", *columns], *([o, *(str(counts[c][o]) for c in columns)] for o in every)])


def _cell(group: Sequence[dict[str, Row]], column: str, quantity: str) -> str:
    def share(r: Row) -> float:
        of = 1.0 if quantity == "pitch_mm" else float(r["major_mm"])
        return 100 * float(r["errors"][quantity]) / of

    off = np.array([share(t[column]) for t in group if quantity in t[column]["errors"]])
    if not len(off):
        return "-"
    return f"{np.median(np.abs(off)):.3f}; {np.sqrt(np.mean(off**2)):.3f}"
