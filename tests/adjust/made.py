"""Photos made of numbers: a truth, inputs that err as a budget says, and what is then measured."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from pitchcam.match import name_thread
from pitchcam.records import (
    NAMING_QUANTITIES,
    BudgetLine,
    Measurement,
    PartResult,
    PhotoInfo,
    Quantity,
    ScaleResult,
    ThreadReading,
    ThreadResult,
    Verdict,
)
from pitchcam.thread.budget import combined

M14 = {
    "pitch_mm": 1.5,
    "major_mm": 13.85,
    "pitch_diameter_mm": 12.93,
    "minor_mm": 12.1,
    "angle_deg": 60.0,
    "taper": 0.0,
}
LENGTHS = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm")


@dataclass
class Inputs:
    """What is not known, in units of its u: by name, drawn once where photos share it."""

    rng: np.random.Generator
    drawn: dict[str, float] = field(default_factory=dict)

    def get(self, name: str) -> float:
        """Return the error of an input, drawn when it is first asked for."""
        return self.drawn.setdefault(name, float(self.rng.normal()))


def lines(truth=None, *, scale=0.002, focal=0.0015, noise=(0.0005, 0.005, 0.006, 0.01, 0.3, 0.001)):
    """Return a small budget: reference, focal length, tilt, form and noise."""
    truth = truth or M14
    share = {k: truth[k] for k in LENGTHS}

    def scaled(source, by):
        return BudgetLine(
            source=source, of_scale=True, contributions={k: v * by for k, v in share.items()}
        )

    return (
        scaled("scale of the reference", scale),
        scaled("focal length", focal),
        scaled("tilt of the camera", 0.001),
        BudgetLine(
            source="form of the model",
            correlated=False,
            contributions={
                "pitch_mm": 0.0003,
                "major_mm": 0.01,
                "pitch_diameter_mm": 0.015,
                "minor_mm": 0.03,
                "angle_deg": 0.25,
                "taper": 0.0008,
            },
        ),
        BudgetLine(
            source="edge noise",
            kind="A",
            correlated=False,
            contributions=dict(zip(NAMING_QUANTITIES, noise, strict=True)),
        ),
    )


def errors(budget, photo, inputs, *, lasting):
    """Return what a budget's inputs make of one photo's quantities, (6,).

    ``lasting`` maps a line's source to the share of its variance that all photos have in common,
    one for all quantities or (6,).
    """
    out = np.zeros(6)
    for line in budget:
        c = np.array([line.contributions.get(k, 0.0) for k in NAMING_QUANTITIES])
        shares = np.broadcast_to(lasting.get(line.source, 0.0), 6)
        for i, again in enumerate(shares):
            # One input moves all quantities, or each has its own.
            at = "" if line.correlated else f" {i}"
            e = np.sqrt(again) * inputs.get(f"{line.source}{at}")
            e += np.sqrt(1 - again) * inputs.get(f"{line.source}{at} in {photo}")
            out[i] += c[i] * e
    return out


def measurement(values, budget, photo=0, *, source="pin", mm=8.0, turned=False, named=False):
    """Return a photo's measurement with one part and one thread near its first end.

    ``values`` (6,) is what was read, the taper counted from the free end; ``turned`` lays the free
    end to the right; ``named`` gives the photo a verdict of its own.
    """
    u, correlation = combined(budget)
    read = {
        k: Quantity(value=float(v), u=u[k]) for k, v in zip(NAMING_QUANTITIES, values, strict=True)
    }
    taper = read["taper"]
    read["taper"] = replace(taper, value=abs(taper.value))
    reading = ThreadReading(correlation=correlation, **read)
    x = 1000.0 + 37.0 * photo
    span = ((x, 500.0), (x + 400, 500.0))
    box = (x - 20, 350.0, x + 1000, 650.0)
    if turned:
        box = (x - 600, 350.0, x + 420, 650.0)
    sign = (1 if taper.value >= 0 else -1) * (-1 if turned else 1)
    thread = ThreadResult(
        reading=reading,
        half_angles_deg=(None, None),
        turns=8.0,
        span_px=span,
        budget=budget,
        verdict=name_thread(reading) if named else Verdict(status="ambiguous"),
        taper_sign=sign,
    )
    return Measurement(
        photo=PhotoInfo(
            file=f"{photo}.jpg", sha256=f"{photo:064x}", width_px=4032, height_px=3024, lens="26 mm"
        ),
        scale=ScaleResult(
            source=source,
            stated_mm=mm,
            mm_per_px=Quantity(value=0.04, u=0.0001),
            camera_height_mm=Quantity(value=200.0, u=6.0),
            focal_px=Quantity(value=3000.0, u=90.0),
        ),
        parts=(PartResult(id=1, box_px=box, threads=(thread,)),),
    )


def true_values(truth=None):
    """Return the truth in the order of NAMING_QUANTITIES, (6,)."""
    return np.array([(truth or M14)[k] for k in NAMING_QUANTITIES])
