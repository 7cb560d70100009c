"""Errors of drawn threads, every input off as the budget says, beside two bounds of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.adjustment.bound import (
    F35_MM,
    FORMS,
    NOISE,
    PIN_MM,
    drawn_inputs,
    formed_stud,
    known_bounds,
    light_of,
    profile_of,
    stud_of,
)
from tests.adjustment.same import same_bounds
from tests.objects.drawing import develop

#: What the tables are of, with the decimals of its bounds.
QUANTITIES = {"pitch_mm": 6, "major_mm": 5, "angle_deg": 4}


@dataclass(frozen=True, kw_only=True)
class Whole:
    """One cell with every input drawn: bounds, errors and errors over u by quantity.

    ``known`` are the bounds with all else known, ``same`` those of the fit's own model.
    """

    px_per_pitch: float
    turns: int
    known: dict[str, float]
    same: dict[str, float]
    errors: dict[str, np.ndarray]
    over_u: dict[str, np.ndarray]


def whole_cell(px_per_pitch: float, turns: int, photos: int, form: str = "") -> Whole:
    """Measure drawn photos of one size whose inputs are off as the budget says.

    ``form`` is one of FORMS; without it the thread is of ISO 68-1's basic form.
    """
    import pitchcam
    from pitchcam.errors import PitchcamError

    spec = pitchcam.ScaleSpec(source="pin", mm=PIN_MM)
    stud, known = stud_of(px_per_pitch, turns), known_bounds(px_per_pitch, turns)
    angle_deg, taper = 60.0, 0.0
    if form:
        of, taper = FORMS[form]
        stud, angle_deg = formed_stud(of, taper, px_per_pitch, turns), of.angle_deg
        known = known_bounds(px_per_pitch, turns, profile_of(of))
    true = {"pitch_mm": stud.pitch_mm, "major_mm": stud.major_mm, "angle_deg": angle_deg}
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in true}
    for i in range(photos):
        shot = drawn_inputs(stud, int(1000 * px_per_pitch) + 100 * turns + i)
        pixels = develop(light_of(stud, shot), gain=0.0, noise=NOISE, seed=shot.seed)
        try:
            told = pitchcam.identify(pixels, spec, f35_mm=F35_MM, plots=False)
        except PitchcamError:
            continue
        reading = told.parts[0].threads[0].reading
        station = reading.diameter_station_mm
        for name, value in true.items():
            q = getattr(reading, name)
            if q is None or (taper and station is None):
                continue
            # Diameters of a taper are those of a station from its small end.
            off = q.value - value
            if taper and station is not None and name == "major_mm":
                off += taper * (stud.thread_mm - station.value)
            found[name].append((off, off / q.u))
    both = {name: np.array(rows).reshape(-1, 2).T for name, rows in found.items()}
    return Whole(
        px_per_pitch=px_per_pitch,
        turns=turns,
        known=known,
        same=same_bounds(px_per_pitch, turns, form),
        errors={name: b[0] for name, b in both.items()},
        over_u={name: b[1] for name, b in both.items()},
    )


def line(cells: list[Whole], name: str) -> str:
    """Return a row of the table, of one cell or of several together.

    Ratios are of the rms error to either bound, by cells that each count by their photos, so that
    sizes can stand together; the bias, over the rms, is that in bounds of the own model.
    """
    by_known, by_same = (
        np.concatenate([c.errors[name] / of[name] for c, of in zip(cells, bounds, strict=True)])
        for bounds in ([c.known for c in cells], [c.same for c in cells])
    )
    over_u = np.concatenate([c.over_u[name] for c in cells])
    one = cells[0]
    head, least = f"{'all':>8}{'':>7}", f"{'':>30}"
    if len(cells) == 1:
        digits = QUANTITIES[name]
        head = f"{one.px_per_pitch:>8.0f}{one.turns:>7d}"
        off = _rms(one.errors[name])
        least = "".join(f"{v:>10.{digits}f}" for v in (one.known[name], one.same[name], off))
    if not len(by_same):
        return f"{head}  {name:<10}{0:>8d}"
    rms, bias = _rms(by_same), float(np.mean(by_same))
    return (
        f"{head}  {name:<10}{len(by_same):>8d}{least}{_rms(by_known):>10.2f}{rms:>10.2f}"
        f"{bias / rms:>10.2f}{len(by_same) ** -0.5:>8.2f}{_rms(over_u):>14.2f}"
    )


def _rms(x: np.ndarray) -> float:
    return float(np.sqrt(np.mean(x**2))) if len(x) else float("nan")


HEAD = (
    f"{'px/pitch':>8}{'turns':>7}  {'':<10}{'photos':>8}{'known':>10}{'same':>10}{'rms':>10}"
    f"{'/known':>10}{'/same':>10}{'bias/rms':>10}{'+-':>8}{'rms(error/u)':>14}"
)
LEGEND = (
    "known: least error with all else known; same: of the fit's own model, all that it has free\n"
    "with its stated priors; mm and degrees. /known, /same: the rms error over either. +-: how\n"
    "well so many photos tell bias/rms."
)
