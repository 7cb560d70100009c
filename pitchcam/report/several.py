"""Pictures and words of an answer that several photos gave together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.photo import Photo
from pitchcam.records import Measurement, PartResult, ThreadResult
from pitchcam.report.picture import annotate


def annotate_all(measurement: Measurement, photos: Sequence[Photo]) -> NDArray[np.uint8]:
    """Return the annotated pictures of all photos, one below the other, (h, 1800, 3) BGR."""
    pictures = [p for _, p in pictures_of(measurement, photos)]
    return pictures[0] if len(pictures) == 1 else np.concatenate(pictures)


def pictures_of(
    measurement: Measurement, photos: Sequence[Photo]
) -> list[tuple[str, NDArray[np.uint8]]]:
    """Return each photo's name and annotated picture.

    A photo that counts carries the answer of all; one that was left out carries its own.
    """
    if not measurement.photos:
        name = "" if measurement.photo is None else measurement.photo.file
        return [(name, annotate(measurement, photos[0]))]
    out = []
    for number, (use, photo) in enumerate(zip(measurement.photos, photos, strict=True)):
        alone = use.alone or Measurement(photo=use.info, scale=None)
        if use.left_out is None:
            shown, title = _with_answer(alone, measurement, number), use.info.file
        else:
            shown = replace(alone, photo=replace(use.info, file=f"{use.info.file} (left out)"))
            title = f"{use.info.file}: left out, {use.left_out}"
        out.append((title, annotate(shown, photo)))
    return out


def _with_answer(alone: Measurement, together: Measurement, number: int) -> Measurement:
    """Return what one photo shows, with the reading and verdict of all photos."""
    answers = {t.spans_px[number]: t for p in together.parts for t in p.threads if t.spans_px}

    def told(thread: ThreadResult) -> ThreadResult:
        answer = answers.get(thread.span_px)
        if answer is None:
            return thread
        return replace(thread, reading=answer.reading, verdict=answer.verdict)

    def part(one: PartResult) -> PartResult:
        return replace(one, threads=tuple(told(t) for t in one.threads))

    return replace(alone, parts=tuple(part(p) for p in alone.parts))
