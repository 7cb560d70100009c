"""The answer for people: short text, annotated picture, self-contained HTML report.

The public calls import what they need on first use, so that text alone needs no plotting.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pitchcam.records import Measurement
from pitchcam.report.words import text

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from pitchcam.photo import Photo

__all__ = ["annotate", "report_html", "text", "write_report"]


def annotate(measurement: Measurement, *photos: Photo) -> NDArray[np.uint8]:
    """Return the annotated picture; of several photos one below the other.

    See :func:`pitchcam.report.picture.annotate`.
    """
    from pitchcam.report.several import annotate_all

    return annotate_all(measurement, photos)


def report_html(measurement: Measurement, photo: Photo | Sequence[Photo]) -> str:
    """Return the HTML report, see :func:`pitchcam.report.page.report_html`."""
    from pitchcam.report.page import report_html as render

    return render(measurement, photo)


def write_report(
    measurement: Measurement, photo: Photo | Sequence[Photo], path: str | os.PathLike[str]
) -> None:
    """Write the HTML report, see :func:`pitchcam.report.page.write_report`."""
    from pitchcam.report.page import write_report as write

    write(measurement, photo, path)
