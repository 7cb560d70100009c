"""Measure photos that have a truth beside them: one row per true thread, in several processes."""

from __future__ import annotations

import json
import multiprocessing
import signal
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

QUANTITIES = ("pitch_mm", "major_mm", "minor_mm", "pitch_diameter_mm", "angle_deg", "taper")
TIMEOUT_S = 60
#: How far a thread's middle lies off its part's, in its own lengths, for it to have a free end.
AT_END = 0.15
Row = dict[str, Any]


class _LateError(Exception):
    pass


def _late(*_: Any) -> None:
    raise _LateError


def photos(folders: Iterable[Path], only: str = "") -> list[Path]:
    """Return the truth files of photos, of all folders in order."""
    out = []
    for folder in folders:
        for file in sorted(folder.glob("*.json")):
            if only not in file.stem:
                continue
            truth = json.loads(file.read_text(encoding="utf-8"))
            if isinstance(truth, dict) and {"file", "scale", "threads"} <= truth.keys():
                out.append(file)
    return out


def run(files: list[Path], processes: int) -> list[Row]:
    """Return the rows of all photos."""
    context = multiprocessing.get_context("spawn")
    rows: list[Row] = []
    with context.Pool(processes, initializer=quiet) as pool:
        for new in pool.imap(guarded, files):
            rows += new
    return rows


def quiet() -> None:
    import warnings

    import cv2

    cv2.setNumThreads(1)
    warnings.simplefilter("ignore")


def guarded(file: Path) -> list[Row]:
    """Measure one photo; a fault or a photo that takes too long is its answer."""
    truth = json.loads(file.read_text(encoding="utf-8"))
    base = about(file, truth)
    signal.signal(signal.SIGALRM, _late)
    signal.alarm(TIMEOUT_S)
    try:
        return measure(file, truth, base)
    except _LateError:
        return _none(base, truth, "broken", f"longer than {TIMEOUT_S} s")
    except Exception as error:  # an inner fault must not hide the other photos
        where = error.__traceback__
        while where is not None and where.tb_next is not None:
            where = where.tb_next
        at = "" if where is None else f" at {Path(where.tb_frame.f_code.co_filename).name}"
        at += "" if where is None else f":{where.tb_lineno}"
        return _none(base, truth, "broken", f"{type(error).__name__}: {error}{at}")
    finally:
        signal.alarm(0)


def about(file: Path, truth: dict[str, Any]) -> Row:
    """Return what is known of a photo, to tell rows apart by."""
    render = truth.get("render", {})
    camera, light = render.get("camera", {}), render.get("light", {})
    setup = render.get("setup", {})
    tilt = camera.get("tilt_deg")
    if isinstance(tilt, list):
        tilt = float(np.hypot(*tilt))
    panel = setup.get("panel_h", light.get("below"))
    reference = (render.get("references") or [{}])[0]
    part = (truth.get("parts") or [{}])[0]
    kind = truth["scale"]["source"]
    if kind == "jaws" and reference.get("beam"):
        kind = "jaws+beam"
    if kind == "pin" and reference.get("material") == "black oxide":
        kind = "pin, black"
    f_px, height = camera.get("f_px", render.get("f_px")), camera.get("height_mm")
    height = height or camera.get("height")
    return {
        "photo": file.stem,
        "folder": file.parent.name,
        "quality": truth["quality"],
        "set": truth.get("set", truth["quality"]),
        "reference": kind,
        "stated_mm": truth["scale"].get("mm"),
        "tilt_deg": tilt,
        "panel_mm": panel,
        "kind": part.get("kind"),
        "material": part.get("material"),
        "incline_deg": part.get("inclination_deg"),
        "expected": truth.get("expected"),
        "px_per_mm": f_px / height if f_px and height else None,
        "blur_px": blur_px(render),
    }


def blur_px(render: dict[str, Any]) -> float | None:
    """Return the blur of lens and shake as a sigma in pixels, where the truth has it."""
    how = render.get("development", render.get("develop", {}))
    how = how.get("lens", how)
    sigma = how.get("psf_px", how.get("psf"))
    if sigma is None:
        return None
    moved = how.get("motion_px", 0.0)
    if isinstance(how.get("motion"), list):
        moved = float(np.hypot(*how["motion"]))
    return float(np.hypot(sigma, moved / np.sqrt(12)))  # a streak's standard deviation


def measure(file: Path, truth: dict[str, Any], base: Row) -> list[Row]:
    """Return the rows of one photo."""
    import pitchcam
    from pitchcam.errors import PitchcamError
    from tests.accuracy import scale_of

    start = time.perf_counter()
    try:
        result = pitchcam.identify(file.with_name(truth["file"]), scale_of(truth))
    except PitchcamError as error:
        return _none(base, truth, "none", f"{error.code}: {error.message}")
    seconds = time.perf_counter() - start
    base = base | {"seconds": seconds, "flags": [w.code for w in result.warnings]}
    found = [t for part in result.parts for t in part.threads]
    true = truth["threads"]
    if not found:
        why = "; ".join(f"{w.code}: {w.message}" for w in result.warnings)
        return _none(base, truth, "none", why)
    pairs = pair(true, found)
    rows = []
    for i, row_truth in enumerate(true):
        row = _of(base, row_truth)
        if i in pairs:
            _fill(row, row_truth, found[pairs[i]], truth["quality"])
            if not row_truth["taper"] and "taper" in row["errors"]:
                row["errors"]["taper"] *= grows(row_truth, truth.get("parts", []), found[pairs[i]])
        else:
            row |= {"outcome": "none", "answer": "not found"}
        rows.append(row)
    for j, thread in enumerate(found):
        if j not in pairs.values():
            rows.append(
                base
                | {
                    "truth": "(no thread)",
                    "outcome": beside(thread.verdict.status, truth),
                    "answer": _answer(thread),
                    "probability": thread.verdict.probability,
                }
            )
    return rows


def beside(status: str, truth: Row) -> str:
    """Return what a thread is worth that no true one stands for, by its status.

    Among what is no thread of a series are threads: to say that no series has them is right.
    """
    if status == "named" and not truth["threads"]:
        return "wrong"
    if status == "off-series" and truth.get("render", {}).get("special"):
        return "refused"
    return "extra"


def _of(base: Row, truth: Row) -> Row:
    p = truth["pitch_mm"]
    row = base | {
        "truth": truth["designation"],
        "pitch_mm": p,
        "major_mm": truth["major_mm"],
        "true_angle_deg": truth["angle_deg"],
        "true_taper": truth["taper"],
        "turns": truth.get("turns"),
        "worn_mm": truth.get("worn_mm", 0.0),
        "errors": {},
        "u": {},
        "form": f"{truth['angle_deg']:g}" + (" taper" if truth["taper"] else ""),
    }
    row["axis_height_mm"] = truth.get("axis_height_mm")
    row["series"] = family(truth["designation"])
    if truth.get("incline_deg") is not None:
        row["incline_deg"] = truth["incline_deg"]
    row["material"] = truth.get("material", base["material"])
    row["px_per_pitch"] = base["px_per_mm"] * p if base["px_per_mm"] else None
    return row


def family(designation: str) -> str:
    """Return the series of a designation, or that none has it."""
    from pitchcam.errors import PitchcamError
    from pitchcam.series import find

    try:
        return find(designation).family
    except PitchcamError:
        return "no series"


def _none(base: Row, truth: dict[str, Any], outcome: str, why: str) -> list[Row]:
    if not truth["threads"]:
        right = outcome == "none"
        return [
            base
            | {"truth": "(no thread)", "answer": why, "outcome": "refused" if right else outcome}
        ]
    refuse = truth["quality"] == "refuse" and outcome == "none"
    return [
        _of(base, t) | {"outcome": "refused" if refuse else outcome, "answer": why}
        for t in truth["threads"]
    ]


def pair(truths: list[Row], found: list[Any]) -> dict[int, int]:
    """Return true index -> found index: the nearest by pitch and diameter, one to one."""
    if not truths:
        return {}
    cost = np.full((len(truths), len(found)), 50.0)
    for i, truth in enumerate(truths):
        for j, thread in enumerate(found):
            for name, share in (("pitch_mm", 0.04), ("major_mm", 0.08)):
                q = getattr(thread.reading, name)
                if q is not None and q.value > 0:
                    off = abs(float(np.log(q.value / truth[name]))) / share
                    cost[i, j] += min(off, 20.0) - 20.0
    return {int(i): int(j) for i, j in zip(*linear_sum_assignment(cost), strict=True)}


def _fill(row: Row, truth: Row, thread: Any, quality: str) -> None:
    from tests.accuracy import true_values

    verdict = thread.verdict
    row["outcome"], row["answer"] = judge(truth, verdict, quality), _answer(thread)
    row["status"], row["probability"] = verdict.status, verdict.probability
    row["candidates"] = [[c.designation, float(c.probability)] for c in verdict.candidates]
    for name, true in true_values(truth, thread).items():
        q = getattr(thread.reading, name)
        if q is not None:
            error = float(q.value - true)
            scale = true if name == "pitch_mm" else 1.0  # pitch as a share
            row["errors"][name], row["u"][name] = error / scale, float(q.u) / scale
    row["pose"] = thread.pose.to_json() if thread.pose is not None else None
    row["budget"] = {line.source: dict(line.contributions) for line in thread.budget}


def grows(truth: Row, parts: list[Row], thread: Any) -> float:
    """Return 1 where a thread's diameter was found to grow toward its part's middle, else -1.

    A taper is stated from the small end, so that those of parallel threads are positive all: as
    they are, errors that come of noise alone would pass for a bias of half their u. Where boxes
    do not tell the free end, the error is left as it is.
    """
    start, end = (np.array(p, float) for p in thread.span_px)
    box = np.array(truth.get("box_px") or np.full(4, np.nan), float)
    middle = (box[:2] + box[2:]) / 2
    for part in parts:
        own = np.array(part.get("box_px") or np.full(4, np.nan), float)
        if (own[:2] <= middle).all() and (middle <= own[2:]).all():
            along = float(((own[:2] + own[2:]) / 2 - (start + end) / 2) @ (end - start))
            if abs(along) > AT_END * float((end - start) @ (end - start)):
                return float(np.sign(along)) * thread.taper_sign
    return 1.0


def judge(truth: Row, verdict: Any, quality: str) -> str:
    """Return right, open, none, wrong, or (where no name may be given) refused."""
    name = truth["designation"]
    if verdict.status == "named":
        return "right" if name in (verdict.designation, *verdict.same_geometry) else "wrong"
    if quality == "refuse":
        return "refused"
    if verdict.status == "ambiguous" and name in {c.designation for c in verdict.candidates}:
        return "open"
    if verdict.status == "off-series" and truth.get("starts", 1) > 1:
        return "right"  # no series has it: measured and not named is right
    return "none"


def _answer(thread: Any) -> str:
    verdict = thread.verdict
    if verdict.status == "ambiguous":
        return " | ".join(c.designation for c in verdict.candidates[:4])
    return str(verdict.designation or verdict.status)
