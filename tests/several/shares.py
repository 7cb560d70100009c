"""Which share of an error comes again in the next photo of a part: measured on drawn parts.

Each input's error is known, since the truth is: the scale in the pin's plane, the height of the
axis, and what the fit itself makes of pitch and major diameter in pixels. Several photos of one
part, moved in between as a person would, have in common what comes again.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pitchcam.adjust.sharing import ANGLE_AGAIN, ANY_OBJECT, EDGES_AGAIN, SHARING
from tests.several.draw import Case, case

#: What is measured, and the line of the budget whose share it is: of the scale what a pin's size
#: leaves, which itself comes again whole.
LINES = {
    "scale": "scale of the reference",
    "height": "height of the axis",
    "pitch": "rim along the thread",
    "major": "edge and rim",
}


@dataclass(frozen=True, kw_only=True)
class Share:
    """The share that comes again, its standard uncertainty, and the errors behind it.

    ``bias`` is the mean of all errors, ``rms`` their root mean square.
    """

    again: float
    u_again: float
    bias: float
    rms: float
    parts: int


def errors(drawn: Case, folder: Path) -> list[dict[str, float]]:
    """Return the inputs' errors in each photo of a part: relative, the height's in mm."""
    import pitchcam

    out = []
    paths = drawn.write(folder, "part")
    for path, shot, pin in zip(paths, drawn.shots, drawn.pins_mm, strict=True):
        spec = pitchcam.ScaleSpec(source="pin", mm=pin)
        told = pitchcam.identify(path, spec, plots=False)
        thread, scale = told.parts[0].threads[0], told.scale
        pitch, major, lies = thread.reading.pitch_mm, thread.reading.major_mm, thread.pose
        if pitch is None or major is None or scale is None or lies.axis_height_mm is None:
            continue
        axis = scale.mm_per_px.value
        distance, f_px = scale.camera_height_mm.value, scale.focal_px.value
        true = (shot.distance_mm - pin / 2) / shot.f_px
        true_axis = (shot.distance_mm - drawn.stud.shank_mm / 2) / shot.f_px
        out.append(
            {
                "scale": (distance - pin / 2) / f_px / true - 1 + shot.pin_error_mm / pin,
                "height": lies.axis_height_mm.value - drawn.stud.shank_mm / 2,
                "pitch": pitch.value / axis / (drawn.stud.pitch_mm / true_axis) - 1,
                "major": major.value / axis / (drawn.stud.major_mm / true_axis) - 1,
            }
        )
    return out


def share(groups: list[np.ndarray], draws: int = 400) -> Share:
    """Return the share of the mean square that two photos of a part have in common.

    It is the mean product of two photos' errors over the mean square of one's: what all parts have
    in common counts, since it comes again too. Its standard uncertainty is that of parts drawn
    again (bootstrap).
    """
    groups = [g for g in groups if len(g) > 1]
    n = np.array([len(g) for g in groups])
    square = np.array([float((g**2).sum()) for g in groups])
    pairs = np.array([float(g.sum()) ** 2 for g in groups]) - square

    def again(some: np.ndarray) -> float:
        return float(
            (pairs[some].sum() / (n * (n - 1))[some].sum()) / (square[some].sum() / n[some].sum())
        )

    rng = np.random.default_rng(1)
    drawn = [again(rng.integers(0, len(groups), len(groups))) for _ in range(draws)]
    every = np.concatenate(groups)
    return Share(
        again=again(np.arange(len(groups))),
        u_again=float(np.std(drawn)),
        bias=float(every.mean()),
        rms=float(np.sqrt(np.mean(every**2))),
        parts=len(groups),
    )


def measured(parts: int, seed: int, photos: int = 3) -> dict[str, Share]:
    """Return the shares by what is measured."""
    found = []
    for i in range(parts):
        with tempfile.TemporaryDirectory() as folder:
            found.append(errors(case(seed * 1000 + i, photos), Path(folder)))
    return {name: share([np.array([e[name] for e in some]) for some in found]) for name in LINES}


#: The name of the angles' row, and the error over u from which on it is another fault.
ANGLE, MOST_U = "angle / u", 3.0


def of_kinds(rows: list[dict[str, Any]]) -> dict[str, Share]:
    """Return what pitches have in common that were measured by any object of a kind, and angles.

    Angles are those of all photos, in their u. ``rows`` are those of ``python -m tests.fresh
    measure``: photos that share neither phone, part nor light: each is a part of its own. Errors
    beyond 2 % are other faults, and left out.
    """
    found: dict[str, list[float]] = {}
    for row in rows:
        off = (row.get("errors") or {}).get("angle_deg")
        if off is not None and row["set"] != "wrongref":
            over_u = off / row["u"]["angle_deg"]
            found.setdefault(ANGLE, []).append(float(np.clip(over_u, -MOST_U, MOST_U)))
        error = (row.get("errors") or {}).get("pitch_mm")
        if error is None or abs(error) > 0.02 or row["set"] == "wrongref":
            continue
        kind = "jaws" if row["reference"].startswith("jaws") else row["reference"].split(",")[0]
        found.setdefault(kind, []).append(error)
    return {kind: _common(np.array(every)) for kind, every in sorted(found.items())}


def _common(every: np.ndarray) -> Share:
    """Return the share of the mean square that any two of some errors have in common."""

    def again(e: np.ndarray) -> float:
        pairs = (e.sum() ** 2 - (e**2).sum()) / (len(e) * (len(e) - 1))
        return float(pairs / np.mean(e**2))

    rng = np.random.default_rng(1)
    drawn = [again(rng.choice(every, len(every))) for _ in range(400)]
    return Share(
        again=again(every),
        u_again=float(np.std(drawn)),
        bias=float(every.mean()),
        rms=float(np.sqrt(np.mean(every**2))),
        parts=len(every),
    )


def kinds_table(shares: dict[str, Share]) -> str:
    """Return what any two objects of a kind have in common, beside what the adjustment takes."""
    out = [f"{'reference':<12}{'threads':>8}{'bias':>11}{'rms':>10}{'in common':>16}{'taken':>7}"]
    for kind, s in shares.items():
        taken = ANGLE_AGAIN if kind == ANGLE else ANY_OBJECT[kind]
        by, unit = (1.0, " ") if kind == ANGLE else (100.0, "%")
        out.append(
            f"{kind:<12}{s.parts:>8}{by * s.bias:>+9.3f} {unit}{by * s.rms:>8.3f} {unit}"
            f"{s.again:>9.2f} +- {s.u_again:.2f}{taken:>7.2f}"
        )
    return "\n".join(out)


def table(shares: dict[str, Share]) -> str:
    """Return the measured shares beside those that the adjustment takes."""
    out = [f"{'input':<24}{'parts':>6}{'bias':>12}{'rms':>12}{'comes again':>16}{'taken':>7}"]
    for name, s in shares.items():
        line = LINES[name]
        taken = EDGES_AGAIN if name == "scale" else SHARING[line].lasting
        unit = "mm" if name == "height" else "%"
        by = 1.0 if name == "height" else 100.0
        out.append(
            f"{line:<24}{s.parts:>6}{by * s.bias:>+10.3f} {unit:<2}{by * s.rms:>8.3f} {unit:<2}"
            f"{s.again:>9.2f} +- {s.u_again:.2f}{taken:>7.2f}"
        )
    return "\n".join(out)
