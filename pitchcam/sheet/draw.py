"""Drawings of the sheet at true size: one list of shapes, written as PDF, PNG or SVG."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import UsageError
from pitchcam.files import write_whole
from pitchcam.frozen import dataclass
from pitchcam.paper import MM, REGULAR, new_canvas
from pitchcam.sheet.layout import BAR_MM, CELLS, PAGES, Sheet

#: Pixels per inch of the PNG: twice what an office printer resolves in grey, 0.042 mm a pixel.
PNG_DPI = 600
POINTS_PER_MM = MM

#: Top of the ring of markers below the page's upper edge.
TOP_MM = 32.0


@dataclass(frozen=True, slots=True)
class Rect:
    """A filled rectangle, mm from the page's upper left; grey 0 is black."""

    x: float
    y: float
    width: float
    height: float
    grey: float = 0.0


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text centred on x, its base line at y; ``turned`` reads from the bottom up."""

    x: float
    y: float
    size: float
    line: str
    turned: bool = False


Shape = Rect | Text


def bits(marker_id: int) -> NDArray[np.bool_]:
    """Return which of a marker's cells are black, (8, 8), border included."""
    import cv2

    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    image = cv2.aruco.generateImageMarker(family, marker_id, CELLS)
    return np.asarray(image) < 128


def shapes(sheet: Sheet, page: tuple[float, float]) -> Iterator[Shape]:
    """Yield everything on the page, in mm from its upper left corner."""
    cx, cy = page[0] / 2, TOP_MM + sheet.outer_mm[1] / 2
    for marker in sheet.markers:
        yield from _marker(bits(marker.id), cx + marker.x_mm, cy + marker.y_mm, marker.side_mm)
    yield from _window(sheet.window_mm, cx, cy)
    yield Text(cx, 16, 6, "Marker sheet: scale and camera pose")
    yield Text(cx, 24, 3.2, "Print at 100 % (actual size). Then measure both bars with a caliper.")
    below = cy + sheet.outer_mm[1] / 2
    yield from _bars(cx, cy, below)
    for i, line in enumerate(_words(sheet)):
        yield Text(cx, below + 28 + 5.4 * i, 3.2, line)


def _marker(black: NDArray[np.bool_], x: float, y: float, side: float) -> Iterator[Rect]:
    """Yield each row's runs of black cells, so that no hairline shows between cells."""
    cell = side / CELLS
    for row, line in enumerate(black):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(np.int8), [0]])))
        for start, stop in zip(edges[::2], edges[1::2], strict=True):
            yield Rect(
                x - side / 2 + start * cell, y - side / 2 + row * cell, (stop - start) * cell, cell
            )


def _window(window_mm: tuple[float, float], cx: float, cy: float) -> Iterator[Shape]:
    """Yield cutting marks at the window's corners: hairlines that end at the corner."""
    w, h = window_mm[0] / 2, window_mm[1] / 2
    thin, long = 0.15, 3.5
    for sx in (-1, 1):
        for sy in (-1, 1):
            x, y = cx + sx * w, cy + sy * h
            yield Rect(min(x, x + sx * long), y - thin / 2, long, thin, 0.45)
            yield Rect(x - thin / 2, min(y, y + sy * long), thin, long, 0.45)


def _bars(cx: float, cy: float, below: float) -> Iterator[Shape]:
    """Yield one bar across the page and one along it: a printer may stretch either."""
    yield Rect(cx - BAR_MM / 2, below + 9, BAR_MM, 4)
    yield Text(cx, below + 18.5, 3.2, f"bar across: {BAR_MM:.1f} mm from end to end")
    yield Rect(9, cy - BAR_MM / 2, 4, BAR_MM)
    yield Text(18, cy, 3.2, f"bar along: {BAR_MM:.1f} mm", turned=True)


def _words(sheet: Sheet) -> list[str]:
    w, h = sheet.window_mm
    return [
        f"1. Cut out the window ({w:.0f} x {h:.0f} mm) along the corner marks,",
        "or print on clear film and leave it whole.",
        "2. Lay the sheet flat on clear glass over a light panel; tape the corners.",
        "3. Lay the part in the window, off the paper; cover no marker.",
        "4. Hold the phone level, all markers in view, and take the photo.",
        "5. State the mean of both bars if it is not 100.0, for instance:",
        "pitchcam identify photo.jpg --sheet-bar 99.6",
        "",
        "Bars that differ by more than 0.3 mm: the printer stretches the paper",
        "one way; use another printer or a film.",
        "On a screen: show the PNG, measure the bar on the glass, state it.",
    ]


def pdf(sheet: Sheet, page: tuple[float, float]) -> bytes:
    """Return the page as PDF; the same bytes for the same sheet."""
    out = io.BytesIO()
    k = POINTS_PER_MM
    canvas = new_canvas(out, page, f"Marker sheet, {sheet.name}")
    for shape in shapes(sheet, page):
        if isinstance(shape, Rect):
            canvas.setFillGray(shape.grey)
            canvas.rect(
                shape.x * k,
                (page[1] - shape.y - shape.height) * k,
                shape.width * k,
                shape.height * k,
                stroke=0,
                fill=1,
            )
        else:
            canvas.setFillGray(0)
            canvas.setFont(REGULAR, shape.size * k)
            canvas.saveState()
            canvas.translate(shape.x * k, (page[1] - shape.y) * k)
            canvas.rotate(90 if shape.turned else 0)
            canvas.drawCentredString(0, 0, shape.line)
            canvas.restoreState()
    canvas.save()
    return out.getvalue()


def svg(sheet: Sheet, page: tuple[float, float]) -> bytes:
    """Return the page as SVG in mm."""
    w, h = page
    rows = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:g}mm" height="{h:g}mm" '
        f'viewBox="0 0 {w:g} {h:g}">',
        f'<rect width="{w:g}" height="{h:g}" fill="#fff"/>',
    ]
    for shape in shapes(sheet, page):
        if isinstance(shape, Rect):
            level = round(shape.grey * 255)
            rows.append(
                f'<rect x="{shape.x:.4f}" y="{shape.y:.4f}" width="{shape.width:.4f}" '
                f'height="{shape.height:.4f}" fill="#{level:02x}{level:02x}{level:02x}"/>'
            )
        elif shape.line:
            turn = f' transform="rotate(-90 {shape.x:g} {shape.y:g})"' if shape.turned else ""
            rows.append(
                f'<text x="{shape.x:g}" y="{shape.y:g}" font-family="Helvetica, Arial, sans-serif" '
                f'font-size="{shape.size:g}" text-anchor="middle"{turn}>{escape(shape.line)}</text>'
            )
    return ("\n".join([*rows, "</svg>"]) + "\n").encode()


def raster(sheet: Sheet, page: tuple[float, float], dpi: float = PNG_DPI) -> NDArray[np.uint8]:
    """Return the page as grey pixels (rows, columns); edges are weighted by covered area."""
    from PIL import Image, ImageDraw, ImageFont

    k = dpi / 25.4
    canvas = np.ones((round(page[1] * k), round(page[0] * k)))
    everything = list(shapes(sheet, page))
    for shape in everything:
        if isinstance(shape, Rect):
            rows = _cover(shape.y * k, (shape.y + shape.height) * k)
            columns = _cover(shape.x * k, (shape.x + shape.width) * k)
            area = np.ix_(rows[0], columns[0])
            canvas[area] -= np.outer(rows[1], columns[1]) * (1 - shape.grey)
    picture = Image.fromarray(np.round(np.clip(canvas, 0, 1) * 255).astype(np.uint8))
    for shape in everything:
        if isinstance(shape, Text) and shape.line:
            font = ImageFont.load_default(shape.size * k)
            box = font.getbbox(shape.line, anchor="ms")
            tile = Image.new("L", (int(box[2] - box[0]) + 4, int(box[3] - box[1]) + 4), 255)
            ImageDraw.Draw(tile).text((2 - box[0], 2 - box[1]), shape.line, 0, font, anchor="ms")
            if shape.turned:
                tile = tile.transpose(Image.Transpose.ROTATE_90)
            top = shape.y * k + (-tile.height / 2 if shape.turned else box[1] - 2)
            picture.paste(tile, (round(shape.x * k - tile.width / 2), round(top)))
    return np.asarray(picture)


def _cover(start: float, stop: float) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Return the pixels that [start, stop) touches and the share of each that it covers."""
    i = np.arange(int(np.floor(start)), int(np.ceil(stop)))
    return i, np.minimum(i + 1, stop) - np.maximum(i, start)


def png(sheet: Sheet, page: tuple[float, float]) -> bytes:
    """Return the page as PNG that carries its resolution."""
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(raster(sheet, page)).save(out, "PNG", dpi=(PNG_DPI, PNG_DPI), optimize=True)
    return out.getvalue()


WRITERS: dict[str, Callable[[Sheet, tuple[float, float]], bytes]] = {
    ".pdf": pdf,
    ".png": png,
    ".svg": svg,
}


def write_sheet(sheet: Sheet, path: Path, page: str = "a4") -> None:
    """Write the sheet at true size; the file's ending says how.

    Parameters
    ----------
    sheet : Sheet
        What to draw.
    path : Path
        Ends in .pdf, .png or .svg. Written whole or not at all.
    page : {"a4", "letter"}
        The paper.

    Raises
    ------
    UsageError
        If the ending or the paper is unknown.
    PitchcamError
        If the file cannot be written.
    """
    writer = WRITERS.get(path.suffix.lower())
    if writer is None:
        raise UsageError(
            f"{path.name}: a sheet is a .pdf, .png or .svg file",
            "give the output one of these endings",
        )
    if page not in PAGES:
        raise UsageError(f"no paper size {page!r}", "use " + " or ".join(PAGES))
    write_whole(path, writer(sheet, PAGES[page]))
