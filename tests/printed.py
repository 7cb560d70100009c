"""What a PDF page holds as another library reads it: text boxes, type sizes, fonts, bars."""

from __future__ import annotations

import ctypes
from itertools import combinations

import pypdfium2 as pdfium
import pypdfium2.raw as raw
from pypdf import PdfReader

MM = 72 / 25.4


def sizes(page: pdfium.PdfPage) -> dict[float, str]:
    """Type sizes in points on a page, each with some text set in it."""
    text = page.get_textpage()
    found: dict[float, str] = {}
    for i in range(text.count_chars()):
        if chr(raw.FPDFText_GetUnicode(text, i)).isspace():
            continue
        size = round(float(raw.FPDFText_GetFontSize(text, i)) * _scale(text, i), 2)
        found[size] = (found.get(size, "") + chr(raw.FPDFText_GetUnicode(text, i)))[:40]
    return found


def _scale(text: pdfium.PdfTextPage, index: int) -> float:
    matrix = raw.FS_MATRIX()
    raw.FPDFText_GetMatrix(text, index, ctypes.byref(matrix))
    return float((matrix.c**2 + matrix.d**2) ** 0.5)


def covered(page: pdfium.PdfPage, least_pt: float = 0.8) -> list[tuple[str, str]]:
    """Pairs of texts of which one stands over the other by more than ``least_pt`` both ways."""
    text = page.get_textpage()
    boxes = [text.get_rect(i) for i in range(text.count_rects())]
    return [
        (text.get_text_bounded(*a), text.get_text_bounded(*b))
        for a, b in combinations(boxes, 2)
        if min(a[2], b[2]) - max(a[0], b[0]) > least_pt
        and min(a[3], b[3]) - max(a[1], b[1]) > least_pt
    ]


def outside(page: pdfium.PdfPage, margin_mm: float = 5.0) -> list[str]:
    """Texts that a printer would cut off."""
    text, (wide, tall), m = page.get_textpage(), page.get_size(), margin_mm * MM
    boxes = [text.get_rect(i) for i in range(text.count_rects())]
    return [
        text.get_text_bounded(*b)
        for b in boxes
        if b[0] < m or b[1] < m or b[2] > wide - m or b[3] > tall - m
    ]


def struck(page: pdfium.PdfPage, least_pt: float = 0.4) -> list[str]:
    """Letters that an upright line crosses by more than ``least_pt``."""
    text = page.get_textpage()
    lines = [
        b
        for o in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH])
        if (b := o.get_bounds())[2] - b[0] < 0.5 * MM and b[3] - b[1] > MM
    ]
    letters = [(text.get_charbox(i), text.get_text_range(i, 1)) for i in range(text.count_chars())]
    return [
        letter
        for box, letter in letters
        if letter.strip()
        and any(
            box[0] < (b[0] + b[2]) / 2.0 < box[2]
            and min(box[3], b[3]) - max(box[1], b[1]) > least_pt
            for b in lines
        )
    ]


def bars(page: pdfium.PdfPage, length_mm: float) -> list[tuple[float, float]]:
    """Bars near a length: (length, distance over the outer edges of its end strokes), mm."""
    paths = [o.get_bounds() for o in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH])]
    found = []
    for left, low, right, high in paths:
        wide = (right - left) / MM
        if abs(wide - length_mm) > 0.02 * length_mm or not 0.2 < (high - low) / MM < 1.0:
            continue  # a thinner line is a dimension of the drawing
        middle = (low + high) / 2.0
        ticks = [
            b
            for b in paths
            if b[1] < middle - 1.0
            and b[3] > middle + 1.0
            and (b[2] - b[0]) / MM < 1.0
            and left - MM < b[0]
            and b[2] < right + MM
        ]
        if ticks:
            outer = (max(b[2] for b in ticks) - min(b[0] for b in ticks)) / MM
            found.append((wide, outer))
    return found


def fonts(path) -> dict[str, bool]:
    """Fonts of a file, and whether each is embedded."""
    found = {}
    for page in PdfReader(path).pages:
        for font in (page["/Resources"].get("/Font") or {}).values():
            font = font.get_object()
            descriptor = font.get("/FontDescriptor")
            descriptor = None if descriptor is None else descriptor.get_object()
            found[font["/BaseFont"]] = descriptor is not None and "/FontFile2" in descriptor
    return found
