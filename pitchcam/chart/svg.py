"""A thread's design profile as SVG, at true scale or enlarged with its dimensions."""

from __future__ import annotations

from pathlib import Path

from pitchcam.files import write_whole
from pitchcam.series import ThreadSize
from pitchcam.series.profile import axial_profile, depth_of, form_of

_FONT = 'font-family="DejaVu Sans, Arial, sans-serif"'


def true_scale(size: ThreadSize, width_mm: float = 22.0) -> str:
    """Return an SVG element with the profile at true scale: 1 mm of the thread is 1 mm of paper."""
    points = axial_profile(size, width_mm / size.pitch_mm)
    drop = -float(points[:, 1].min())
    rise = float(points[:, 1].max())
    body = drop + 1.2
    path = " ".join(f"{z:.3f},{rise - r:.3f}" for z, r in points)
    right = float(points[-1, 0])
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{right:.3f}mm" '
        f'height="{rise + body:.3f}mm" viewBox="0 0 {right:.3f} {rise + body:.3f}" '
        f'role="img" aria-label="profile of {size.designation} at true scale">'
        f'<polygon points="{path} {right:.3f},{rise + body:.3f} 0,{rise + body:.3f}" '
        'fill="#444"/></svg>'
    )


def write_profile(size: ThreadSize, path: Path) -> None:
    """Write an enlarged profile of the external thread with its dimensions.

    Raises
    ------
    InputError
        If the file cannot be written; nothing is left half-written.
    """
    write_whole(path, enlarged(size).encode())


def enlarged(size: ThreadSize, width: float = 640.0) -> str:
    """Return an SVG page with two turns, enlarged to ``width`` px, dimensioned."""
    turns = 2.0
    points = axial_profile(size, turns)
    scale = (width - 180) / (turns * size.pitch_mm)
    left, top = 60.0, 110.0
    xy = [(left + z * scale, top - r * scale) for z, r in points]
    depth = -float(points[:, 1].min()) * scale
    base = top + depth + 46
    right = xy[-1][0]
    outline = " ".join(f"{x:.1f},{y:.1f}" for x, y in xy)
    pitch = f"{size.pitch_mm:.4g} mm ({size.tpi_value:.4g} TPI)"
    crest_1, crest_2 = left, left + size.pitch_mm * scale
    form = form_of(size)
    depth_mm = depth_of(size)
    crest = "round" if form.crest_round else "flat"
    root = "round" if form.root_round else "flat"
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {base + 70:.0f}" '
        f'width="{width:.0f}" height="{base + 70:.0f}">',
        f'<rect width="{width:.0f}" height="{base + 70:.0f}" fill="#fff"/>',
        f'<text x="24" y="36" font-size="22" {_FONT}>{size.designation}, external, axial '
        "section</text>",
        f'<polygon points="{outline} {right:.1f},{base:.1f} {left:.1f},{base:.1f}" fill="#d5d8dc" '
        'stroke="none"/>',
        f'<polyline points="{outline}" fill="none" stroke="#111" stroke-width="2"/>',
        _dimension(crest_1, crest_2, top - 26, pitch),
        _height(right + 18, top, top + depth_mm * scale, f"{depth_mm:.3f} mm"),
        f'<text x="{left:.0f}" y="{base + 28:.0f}" font-size="15" {_FONT}>flanks '
        f"{size.angle_deg:g} deg; crest {crest}, root {root}; basic major "
        f"{size.basic_major_mm:.3f} mm</text>",
        f'<text x="{left:.0f}" y="{base + 50:.0f}" font-size="13" fill="#555" {_FONT}>'
        f"{size.standard}; enlarged {scale / 3.78:.0f} times at 96 px per inch</text>",
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _dimension(x0: float, x1: float, y: float, text: str) -> str:
    return (
        f'<path d="M{x0:.1f} {y - 6:.1f}V{y + 20:.1f}M{x1:.1f} {y - 6:.1f}V{y + 20:.1f}'
        f'M{x0:.1f} {y:.1f}H{x1:.1f}" stroke="#06c" fill="none"/>'
        f'<text x="{(x0 + x1) / 2:.1f}" y="{y - 6:.1f}" font-size="15" text-anchor="middle" '
        f'fill="#06c" {_FONT}>{text}</text>'
    )


def _height(x: float, y0: float, y1: float, text: str) -> str:
    return (
        f'<path d="M{x - 6:.1f} {y0:.1f}H{x + 6:.1f}M{x - 6:.1f} {y1:.1f}H{x + 6:.1f}'
        f'M{x:.1f} {y0:.1f}V{y1:.1f}" stroke="#06c" fill="none"/>'
        f'<text x="{x + 8:.1f}" y="{(y0 + y1) / 2 + 5:.1f}" font-size="15" fill="#06c" {_FONT}>'
        f"{text}</text>"
    )
