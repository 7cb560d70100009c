"""Draws the mouth of the joint enlarged, with gap, fillet and groove to scale."""

from __future__ import annotations

from typing import Any

from reportlab.lib.units import mm

from pitchcam.joining.brazing.plan import JoinPlan
from pitchcam.joining.brazing.steps import NAMES
from pitchcam.joining.papers import drawing
from pitchcam.joining.practice import practice


def draw_mouth(canvas: Any, plan: JoinPlan, x: float, axis: float) -> tuple[str, ...]:
    """Draw the mouth of the joint ten times enlarged, gap, fillet and groove to scale.

    Return what the drawing shows, in words that stand beside it.
    """
    lap, c, k = plan.form.weakest, canvas, 10.0
    cold = lap.clearance.cold_mm[1] / 2.0
    gap, leg = cold * k, practice("fillet") * k
    other = 2 if plan.form.sleeve is not None else 1 - lap.donor
    names = (NAMES[lap.donor], "the sleeve" if other == 2 else f"socket {NAMES[other]}")
    base, right = axis - 6.0, x + practice("mouth") * k
    _block(c, (x - 16.0, base - 6.0, right + 8.0 - (x - 16.0), 6.0), lap.donor)
    _block(c, (right, base, 8.0, 14.0), lap.donor)
    _block(c, (x - 16.0, base + gap, 16.0, 14.0 - gap), other)
    c.setFillColor(drawing.FILLER)
    c.rect((x - 16.0) * mm, base * mm, 16.0 * mm, gap * mm, stroke=0, fill=1)
    _fillet(c, x, base, leg, gap)
    return (
        f"Spigot {names[0]} below, {names[1]} above left, shoulder of {names[0]} right.",
        f"Gap {cold:.2f} a side, cold.",
        f"Groove {practice('mouth'):g} for the rod, fillet {practice('fillet'):g}.",
    )


def _block(c: Any, box: tuple[float, float, float, float], shade: int) -> None:
    """Draw a hatched block; the box is (x, y, width, height) in page mm."""
    x, y, wide, tall = box
    c.saveState()
    path = c.beginPath()
    path.rect(x * mm, y * mm, wide * mm, tall * mm)
    c.clipPath(path, stroke=0, fill=0)
    c.setStrokeColor(drawing.HATCH[shade])
    c.setLineWidth(0.35)
    lean = drawing.LEAN[shade]
    # Lines on one grid for the whole page, so that two blocks of one piece run into one another.
    first = int((x - tall - y) // 2) - 1
    last = int((x + wide + tall + y) // 2) + 2
    for n in range(first, last):
        at = 2.0 * n + lean * y
        c.line(at * mm, y * mm, (at + lean * tall) * mm, (y + tall) * mm)
    c.restoreState()
    c.setLineWidth(0.6)
    c.rect(x * mm, y * mm, wide * mm, tall * mm)


def _fillet(c: Any, x: float, base: float, leg: float, gap: float) -> None:
    """Fill the fillet in the corner of the socket's face and the spigot, hollow outside."""
    path = c.beginPath()
    path.moveTo(x * mm, base * mm)
    path.lineTo((x + leg) * mm, base * mm)
    path.curveTo(
        (x + 0.45 * leg) * mm,
        base * mm,
        x * mm,
        (base + gap + 0.45 * leg) * mm,
        x * mm,
        (base + gap + leg) * mm,
    )
    path.close()
    c.drawPath(path, stroke=0, fill=1)
