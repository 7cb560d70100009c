"""True-size pages: papers, embedded fonts, and bars that are as long as they say."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any, BinaryIO

from pitchcam.errors import UsageError

#: Points per mm on a PDF page.
MM = 72 / 25.4
#: Width and height in mm: ISO 216 and ANSI letter.
PAPERS = {
    "a4": (210.0, 297.0),
    "letter": (215.9, 279.4),
    "a3": (297.0, 420.0),
    "a2": (420.0, 594.0),
}
#: Fonts that come with the PDF library and are written into every file: a reader without fonts
#: of its own shows the same page.
REGULAR, BOLD = "Vera", "Vera-Bold"


@cache
def embed_fonts() -> None:
    """Make ``REGULAR`` and ``BOLD`` known to the PDF library, bold within a paragraph too."""
    from reportlab.lib.fonts import addMapping
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    for name, file in ((REGULAR, "Vera.ttf"), (BOLD, "VeraBd.ttf")):
        registerFont(TTFont(name, file))
    for bold, name in ((0, REGULAR), (1, BOLD)):
        addMapping(REGULAR, bold, 0, name)


def new_canvas(out: BinaryIO, paper: str | tuple[float, float], title: str = "") -> Any:
    """Return a PDF canvas with embedded fonts whose viewer prints at 100 %: same input, same bytes.

    Parameters
    ----------
    out
        Where the file goes.
    paper
        A key of :data:`PAPERS`, or width and height in mm.
    title
        What the viewer shows above the page.

    Raises
    ------
    UsageError
        If there is no such paper.
    """
    from reportlab.pdfgen.canvas import Canvas

    if isinstance(paper, str) and paper not in PAPERS:
        raise UsageError(f"there is no paper '{paper}' here.", f"Use {' or '.join(PAPERS)}.")
    width, height = PAPERS[paper] if isinstance(paper, str) else paper
    embed_fonts()
    canvas = Canvas(out, pagesize=(width * MM, height * MM), invariant=1, initialFontName=REGULAR)
    if title:
        canvas.setTitle(title)
    canvas.setAuthor("pitchcam")
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas


def text_width_mm(text: str, size: float, font: str = REGULAR) -> float:
    """Return how wide a text is set, in mm; ``size`` in points."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    embed_fonts()
    return float(stringWidth(text, font, size)) / MM


def true_bar(canvas: Any, x_mm: float, y_mm: float, length_mm: float) -> None:
    """Draw a bar to measure by caliper: from outer edge to outer edge it is exactly its length.

    The end strokes lie inside the length; a stroke centred on the end would add half its width.
    """
    line, tick = 0.3, 3.0
    canvas.saveState()
    canvas.setFillGray(0)
    for x, y, wide, tall in (
        (x_mm, y_mm - line / 2, length_mm, line),
        (x_mm, y_mm - tick / 2, line, tick),
        (x_mm + length_mm - line, y_mm - tick / 2, line, tick),
    ):
        canvas.rect(x * MM, y * MM, wide * MM, tall * MM, stroke=0, fill=1)
    canvas.restoreState()


@dataclass(slots=True)
class Placed:
    """Boxes of the text on a page, so that none is set over another; lengths in page mm."""

    boxes: list[tuple[float, float, float, float]] = field(default_factory=list)
    apart_mm: float = 0.6

    def centred(self, text: str, at: tuple[float, float], size: float, step_mm: float) -> float:
        """Return the free height for a centred text at ``at`` or, by steps, beyond it.

        Parameters
        ----------
        text
            What is set, in ``REGULAR``.
        at
            Middle of the text and its base line, mm.
        size
            In points.
        step_mm
            How far to move, and which way, until it is free.
        """
        x, y = at
        half, tall = text_width_mm(text, size) / 2.0, 0.36 * size
        while not self._free((x - half, y - 0.25 * tall, x + half, y + 0.85 * tall)):
            y += step_mm
        self.boxes.append((x - half, y - 0.25 * tall, x + half, y + 0.85 * tall))
        return y

    def _free(self, box: tuple[float, float, float, float]) -> bool:
        left, low, right, high = box
        gap = self.apart_mm
        return all(
            right + gap < b[0] or b[2] + gap < left or high < b[1] or b[3] < low for b in self.boxes
        )
