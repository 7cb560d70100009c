"""Draw photo-setup.svg, how to take the photo: ``python docs/draw_setup.py``."""

from __future__ import annotations

from pathlib import Path

INK, SOFT, LIGHT, GLASS, METAL, RIGHT, WRONG = (
    "#1e2228",
    "#58606a",
    "#ffe9a8",
    "#9cc9e8",
    "#3a3f46",
    "#009e73",
    "#d55e00",
)
WIDTH, HEIGHT = 1150, 530


def rect(
    x: float, y: float, w: float, h: float, fill: str, *, stroke: str = "none", radius: float = 0.0
) -> str:
    """Return a rectangle."""
    return (
        f'<rect x="{x}" y="{y}" width="{w}" height="{h}" fill="{fill}" stroke="{stroke}" '
        f'stroke-width="2" rx="{radius}"/>'
    )


def line(x1: float, y1: float, x2: float, y2: float, colour: str = SOFT, dash: str = "") -> str:
    """Return a thin line."""
    extra = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="{colour}" '
        f'stroke-width="1.6"{extra}/>'
    )


def words(
    x: float,
    y: float,
    text: str,
    *,
    size: int = 16,
    colour: str = INK,
    anchor: str = "start",
    weight: str = "normal",
) -> str:
    """Return a line of text."""
    return (
        f'<text x="{x}" y="{y}" font-size="{size}" fill="{colour}" text-anchor="{anchor}" '
        f'font-weight="{weight}">{text}</text>'
    )


def measure(x: float, top: float, bottom: float, text: str, note: str) -> list[str]:
    """Return a vertical dimension with arrow heads and its label to the left."""
    heads = [
        f'<path d="M{x} {y} l-5 {s * 9} h10 z" fill="{SOFT}"/>' for y, s in ((top, 1), (bottom, -1))
    ]
    middle = (top + bottom) / 2
    return [
        line(x, top, x, bottom),
        *heads,
        words(x - 12, middle, text, anchor="end", weight="bold"),
        words(x - 12, middle + 20, note, anchor="end", size=14, colour=SOFT),
    ]


def fitting(x: float, y: float, scale: float = 1.0, colour: str = METAL) -> str:
    """Return a sender seen from the side: probe, thread, hexagon, head."""
    points = [(0, -4), (26, -4), (26, -11)]
    for turn in range(6):
        points += [(28 + 6 * turn, -14), (31 + 6 * turn, -9)]
    points += [(64, -11), (64, -20), (80, -20), (80, -15), (98, -15)]
    outline = points + [(px, -py) for px, py in reversed(points)]
    path = " ".join(f"{x + px * scale:.1f},{y + py * scale:.1f}" for px, py in outline)
    return f'<polygon points="{path}" fill="{colour}"/>'


def side_view() -> list[str]:
    """Return the stack from phone to panel."""
    parts = [words(40, 40, "From the side", size=20, weight="bold")]
    parts += [rect(300, 76, 150, 16, METAL, radius=6), rect(366, 92, 20, 6, INK)]
    parts += [words(462, 89, "phone, level", size=15)]
    # rays from the lens to the ends of the lit window
    parts += [line(376, 98, 312, 300, "#b9bfc7", "5 5"), line(376, 98, 440, 300, "#b9bfc7", "5 5")]
    parts += [fitting(316, 286, 0.85), '<circle cx="428" cy="290" r="10" fill="#58606a"/>']
    parts += [rect(230, 300, 290, 8, GLASS), words(530, 309, "clear glass", size=15)]
    parts += [rect(236, 308, 16, 150, "#d8dce1"), rect(498, 308, 16, 150, "#d8dce1")]
    parts += [rect(252, 446, 66, 6, INK), rect(432, 446, 66, 6, INK)]
    parts += [
        words(530, 450, "dark card: lit window only as", size=15),
        words(530, 469, "large as the picture needs", size=15),
    ]
    parts += [rect(230, 458, 290, 16, LIGHT, stroke="#c9a73a")]
    parts += [words(530, 494, "light panel or tablet, white", size=15)]
    parts += measure(205, 98, 300, "150-350 mm", "lens to part")
    parts += measure(205, 308, 446, "100 mm or more", "keeps edges dark")
    return parts


def top_view(x: float, y: float) -> list[str]:
    """Return what the picture shows."""
    parts = [words(x, y - 16, "In the picture", size=20, weight="bold")]
    parts += [rect(x, y, 230, 172, "#2b2f35"), rect(x + 30, y + 18, 170, 136, "#f4f4f2")]
    parts += [fitting(x + 62, y + 112), rect(x + 60, y + 42, 106, 22, METAL)]
    notes = (
        "part in the middle, a third of the frame",
        "reference beside it, a finger's width away",
        "background light grey, not white",
        "focus on the thread, no flash",
    )
    for row, note in enumerate(notes):
        parts.append(words(x, y + 200 + 22 * row, "✓", size=15, colour=RIGHT, weight="bold"))
        parts.append(words(x + 20, y + 200 + 22 * row, note, size=15))
    return parts


def edge_view(x: float, y: float) -> list[str]:
    """Return why the panel must be far behind."""
    parts = [words(x, y - 22, "Why the panel is far below", size=20, weight="bold")]
    for offset, label, colour, rim in ((0, "far", RIGHT, "none"), (118, "close", WRONG, "#f3c96b")):
        cx = x + 46 + offset
        parts.append(rect(cx - 46, y - 6, 92, 72, "#f4f4f2"))
        parts.append(f'<circle cx="{cx}" cy="{y + 30}" r="24" fill="{METAL}"/>')
        parts.append(
            f'<circle cx="{cx}" cy="{y + 30}" r="22" fill="none" stroke="{rim}" stroke-width="4"/>'
        )
        parts.append(
            words(cx, y + 84, label, anchor="middle", size=14, colour=colour, weight="bold")
        )
    return parts


def drawing() -> str:
    """Return the whole drawing as SVG."""
    body = side_view() + top_view(790, 56) + edge_view(790, 414)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" '
        f'height="{HEIGHT}" font-family="system-ui, sans-serif">\n'
        + rect(0, 0, WIDTH, HEIGHT, "#ffffff")
        + "\n"
        + "\n".join(body)
        + "\n</svg>\n"
    )


if __name__ == "__main__":
    Path(__file__).with_name("photo-setup.svg").write_text(drawing(), encoding="utf-8")
