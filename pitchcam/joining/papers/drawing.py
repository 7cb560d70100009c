"""Draws half sections to scale on a PDF canvas: upper half cut, lower half seen from outside.

Lines follow common drafting practice: cut metal hatched, the axis chain-dotted, a thread's root
as a thin line (ISO 6410-1), scales of ISO 5455.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reportlab.lib.colors import HexColor, black
from reportlab.lib.units import mm

from pitchcam.frozen import dataclass
from pitchcam.joining.papers.half_section import Piece, Step
from pitchcam.paper import BOLD, REGULAR, Placed

#: Enlargements and reductions that ISO 5455 recommends, largest first.
SCALES = (5.0, 2.0, 1.0, 0.5, 0.2)
#: Colour and lean of the hatching of donor A, donor B and a sleeve.
HATCH = (HexColor("#8a5a00"), HexColor("#1f5f8b"), HexColor("#4a6b2a"))
LEAN = (1, -1, 1)
_FAINT = HexColor("#555555")
CUT_OFF = HexColor("#b00020")
FILLER = HexColor("#d9480f")
#: Type of every note in a drawing, points: read at arm's length beside a torch.
NOTE = 9.0
#: Half of a dimension line's end ticks, and how far a note's letters reach below their line, mm.
TICK_MM = 1.2
DESCENT_MM = 0.8


def best_scale(length_mm: float, height_mm: float, room: tuple[float, float]) -> float:
    """Return the largest scale at which a part fits into the room (width, height) in mm."""
    for scale in SCALES:
        if length_mm * scale <= room[0] and height_mm * scale <= room[1]:
            return scale
    return SCALES[-1]


def scale_text(scale: float) -> str:
    """Return a scale as drawings state it: 2:1, 1:1, 1:2."""
    return f"{scale:g}:1" if scale >= 1.0 else f"1:{1.0 / scale:g}"


@dataclass(frozen=True, kw_only=True, slots=True)
class View:
    """Where a part's axis lies on the page: origin in page mm and scale.

    ``placed`` holds the text of the page, so that no note is set over another.
    """

    canvas: Any
    x_mm: float
    y_mm: float
    scale: float
    placed: Placed

    def x(self, along_mm: float) -> float:
        """Return a position along the axis in points."""
        return float((self.x_mm + along_mm * self.scale) * mm)

    def y(self, radius_mm: float) -> float:
        """Return a height over the axis in points; negative below it."""
        return float((self.y_mm + radius_mm * self.scale) * mm)


def draw_piece(view: View, piece: Piece, shade: int) -> None:
    """Draw one piece: hatched section above the axis, outside view below it."""
    c = view.canvas
    c.saveState()
    c.setStrokeColor(black)
    c.setLineWidth(0.8)
    _hatched(view, piece, HATCH[shade], leaning=LEAN[shade])
    for steps, sign in ((piece.outside, 1), (piece.bore, 1), (piece.outside, -1)):
        for step in steps:
            _thread_line(view, step, sign)
    _outside(view, piece)
    c.restoreState()


def _section_path(view: View, piece: Piece) -> Any:
    """Return the upper half's metal as a path: along the outside, back along the bore."""
    outside = _corners(piece.outside)
    bore = _corners(_filled(piece))[::-1]
    path = view.canvas.beginPath()
    for i, (z, r) in enumerate([*outside, *bore]):
        (path.moveTo if i == 0 else path.lineTo)(view.x(z), view.y(r))
    path.close()
    return path


def _corners(steps: Sequence[Step]) -> list[tuple[float, float]]:
    points = []
    for s in steps:
        if s.kind == "tail":
            points += _barbs(s)
        else:
            points += [(s.start_mm, s.diameter_mm / 2.0), (s.stop_mm, s.diameter_mm / 2.0)]
    return points


def _barbs(s: Step) -> list[tuple[float, float]]:
    """Return a tail's outline with three barbs; they are a sign of a tail, not its true form."""
    r, length = s.diameter_mm / 2.0, s.stop_mm - s.start_mm
    rise = 0.06 * s.diameter_mm
    points = [(s.start_mm, r)]
    for k in range(3):
        foot = s.start_mm + length * (0.12 + 0.22 * k)
        points += [(foot, r), (foot + 0.16 * length, r + rise), (foot + 0.16 * length, r)]
    return [*points, (s.stop_mm, r)]


def _filled(piece: Piece) -> tuple[Step, ...]:
    """Return the bore with closed stretches as steps of no diameter, over the whole length."""
    low = min(s.start_mm for s in piece.outside)
    high = max(s.stop_mm for s in piece.outside)
    steps: list[Step] = []
    at = low
    for s in sorted(piece.bore, key=lambda s: s.start_mm):
        if s.start_mm > at:
            steps.append(Step(start_mm=at, stop_mm=s.start_mm, diameter_mm=0.0))
        steps.append(s)
        at = s.stop_mm
    if at < high:
        steps.append(Step(start_mm=at, stop_mm=high, diameter_mm=0.0))
    return tuple(steps)


def _hatched(view: View, piece: Piece, colour: Any, leaning: int) -> None:
    c = view.canvas
    path = _section_path(view, piece)
    c.saveState()
    c.clipPath(path, stroke=0, fill=0)
    c.setStrokeColor(colour)
    c.setLineWidth(0.35)
    low = view.x(min(s.start_mm for s in piece.outside))
    high = view.x(max(s.stop_mm for s in piece.outside))
    tall = view.y(max(s.diameter_mm for s in piece.outside)) - view.y(0.0)
    x = low - tall
    while x < high + tall:
        c.line(x, view.y(0.0), x + leaning * tall, view.y(0.0) + tall)
        x += 2.0 * mm
    c.restoreState()
    c.drawPath(path, stroke=1, fill=0)


def _thread_line(view: View, step: Step, sign: int) -> None:
    if step.thread_mm is None:
        return
    c = view.canvas
    c.saveState()
    c.setLineWidth(0.3)
    y = view.y(sign * step.thread_mm / 2.0)
    c.line(view.x(step.start_mm), y, view.x(step.stop_mm), y)
    c.restoreState()


def _outside(view: View, piece: Piece) -> None:
    """Draw the lower half seen from outside, with the edges of a hex; a spigot is hidden."""
    c = view.canvas
    path = c.beginPath()
    seen = [s for s in piece.outside if s.kind != "spigot"]
    corners = _corners(seen)
    path.moveTo(view.x(corners[0][0]), view.y(0.0))
    for z, r in corners:
        path.lineTo(view.x(z), view.y(-r))
    path.lineTo(view.x(corners[-1][0]), view.y(0.0))
    c.drawPath(path, stroke=1, fill=0)
    for s in seen:
        if s.kind == "hex":
            # Seen on a flat, the edges of a hex lie at half of its half width across corners.
            y = view.y(-s.diameter_mm / (2.0 * 3.0**0.5))
            c.line(view.x(s.start_mm), y, view.x(s.stop_mm), y)
        if s.start_mm != corners[0][0]:
            c.line(view.x(s.start_mm), view.y(0.0), view.x(s.start_mm), view.y(-s.diameter_mm / 2))


def axis_line(view: View, start_mm: float, stop_mm: float) -> None:
    """Draw the chain-dotted axis a little beyond the part."""
    c = view.canvas
    c.saveState()
    c.setStrokeColor(_FAINT)
    c.setLineWidth(0.35)
    c.setDash([7, 2, 1, 2])
    c.line(view.x(start_mm) - 3 * mm, view.y(0.0), view.x(stop_mm) + 3 * mm, view.y(0.0))
    c.restoreState()


def dimension(view: View, start_mm: float, stop_mm: float, level: float, text: str) -> None:
    """Draw a length's dimension line ``level`` page mm over the axis (negative: below)."""
    c = view.canvas
    x0, x1 = view.x(start_mm), view.x(stop_mm)
    y = (view.y_mm + level) * mm
    c.saveState()
    c.setStrokeColor(_FAINT)
    c.setFillColor(black)
    c.setLineWidth(0.3)
    for x in (x0, x1):
        c.line(x, y - TICK_MM * mm, x, y + TICK_MM * mm)
    c.line(x0, y, x1, y)
    for x, way in ((x0, 1), (x1, -1)):
        if x1 - x0 > 5 * mm:
            c.line(x, y, x + way * 1.5 * mm, y + 0.5 * mm)
            c.line(x, y, x + way * 1.5 * mm, y - 0.5 * mm)
    c.restoreState()
    step = 4.0 if level > 0.0 else -4.0
    # A text that reaches over the ends of its line stands above their ticks.
    over = c.stringWidth(text, REGULAR, NOTE) > x1 - x0 - 1.0 * mm
    _note(
        view,
        ((x0 + x1) / 2.0 / mm, view.y_mm + level + (TICK_MM + DESCENT_MM if over else 0.8)),
        text,
        step,
    )


def label(view: View, along_mm: float, level: float, text: str) -> None:
    """Write a centred note at a place along the axis, ``level`` page mm over it."""
    step = 4.0 if level > 0.0 else -4.0
    _note(view, (view.x(along_mm) / mm, view.y_mm + level), text, step)


def saw_line(view: View, along_mm: float, radius_mm: float, text: str) -> None:
    """Draw where to saw: a dashed red line across the part with its distance."""
    c = view.canvas
    c.saveState()
    c.setStrokeColor(CUT_OFF)
    c.setLineWidth(0.9)
    c.setDash([3, 2])
    reach = radius_mm * view.scale + 2.0
    c.line(view.x(along_mm), (view.y_mm - reach) * mm, view.x(along_mm), (view.y_mm + reach) * mm)
    c.restoreState()
    _note(view, (view.x(along_mm) / mm, view.y_mm + reach + 0.8), text, 4.0, CUT_OFF)


def _note(
    view: View, at: tuple[float, float], text: str, step_mm: float, colour: Any = black
) -> None:
    """Write a centred note at a place of the page, moved by steps until no text is in its way."""
    c = view.canvas
    y = view.placed.centred(text, at, NOTE, step_mm)
    c.saveState()
    c.setFillColor(colour)
    c.setFont(REGULAR if colour is black else BOLD, NOTE)
    c.drawCentredString(at[0] * mm, y * mm, text)
    c.restoreState()
