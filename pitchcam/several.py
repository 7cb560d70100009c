"""Several photos of one part: each measured by itself, then adjusted together into one answer."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from pitchcam.adjust.combine import Together, combine
from pitchcam.boundary import boundary
from pitchcam.camera.lenses import Lenses
from pitchcam.errors import UnreadableError, UsageError
from pitchcam.flags import flag
from pitchcam.match.reference import belief_of, doubted
from pitchcam.match.stated_size import as_stated, left_doubtful, u_of
from pitchcam.photo.given import Given, photo_of
from pitchcam.pipeline.answer import identify
from pitchcam.pipeline.left_open import WHICH_READ, all_left_open, if_a_thread
from pitchcam.pipeline.scene import Progress
from pitchcam.records import (
    Flag,
    Measurement,
    PartResult,
    PhotoInfo,
    PhotoUse,
    Quantity,
    ScaleSpec,
    ThreadResult,
)


class NothingReadError(UnreadableError):
    """No photo carries the measurement; ``document`` is the contract's, with each one's reason."""

    def __init__(self, first: UnreadableError, document: Measurement) -> None:
        super().__init__(first.message, first.advice, code=first.code)
        self.document = document


def identify_several(
    photos: Sequence[Given],
    scale: ScaleSpec | Sequence[ScaleSpec] | None = None,
    *,
    cast: bool = False,
    shrinkage: Quantity | None = None,
    plots: bool = True,
    progress: Progress | None = None,
    lenses: Lenses | None = None,
) -> Measurement:
    """Measure and name the threads of one part from several photos of it.

    Parameters
    ----------
    photos
        Of one part that was moved, turned or rolled in between; each as for
        :func:`pitchcam.identify`. A photo with two references is given twice, once for each.
    scale
        The reference as the user states it: one for all photos, or one per photo.
    cast, shrinkage, plots, progress, lenses
        As in :func:`pitchcam.identify`. Without ``lenses`` what a card in one photo tells of the
        lens still counts in the others.

    Returns
    -------
    Measurement
        The contract's document with ``photos``: a photo that carries no measurement, or that
        contradicts the others, is left out with its reason.

    Raises
    ------
    NothingReadError
        If no photo carries the measurement.
    InputError
        If a file is no photo that can be read.
    UsageError
        If a stated reference cannot be right, no photo has a scale, or one is given twice.
    InnerFaultError
        If putting them together failed as nobody foresaw.
    """
    specs = _specs(scale, len(photos))
    by_place: dict[int, Measurement | UnreadableError] = {}
    with _learning(lenses) as known:
        for i in _cards_first(specs):

            def say(text: str, number: int = i + 1) -> None:
                if progress is not None:
                    progress(f"photo {number} of {len(photos)}: {text}")

            try:
                by_place[i] = identify(
                    photos[i],
                    specs[i],
                    cast=cast,
                    shrinkage=shrinkage,
                    plots=plots,
                    progress=say,
                    lenses=known,
                )
            except UnreadableError as error:
                by_place[i] = error
    found = [by_place[i] for i in range(len(photos))]
    infos = [
        f.photo if isinstance(f, Measurement) and f.photo is not None else _info(p)
        for f, p in zip(found, photos, strict=True)
    ]
    _refuse_twice(infos, specs)
    return together(found, infos, specs)


@contextlib.contextmanager
def _learning(lenses: Lenses | None) -> Iterator[Lenses]:
    """Give what was learnt of lenses; where there is nothing, for as long as this takes."""
    if lenses is not None:
        yield lenses
        return
    with tempfile.TemporaryDirectory() as folder:
        yield Lenses.beside(Path(folder) / "photos")


def _cards_first(specs: Sequence[ScaleSpec]) -> list[int]:
    """Return the photos' places in the order to measure them: a card tells the others' lens."""
    return sorted(range(len(specs)), key=lambda i: specs[i].source != "card")


def together(
    found: Sequence[Measurement | UnreadableError],
    infos: Sequence[PhotoInfo],
    specs: Sequence[ScaleSpec],
) -> Measurement:
    """Return one answer of photos that were measured by themselves.

    Parameters
    ----------
    found
        What each photo gave, or why it gave nothing.
    infos, specs
        The photos and the references stated for them.

    Raises
    ------
    NothingReadError
        If no photo gave anything; its message is the first one's.
    UsageError
        If no photo has a scale.
    InnerFaultError
        If putting them together failed as nobody foresaw.
    """
    # What the reference may be instead is asked anew, of all photos.
    alone = [as_stated(f) if isinstance(f, Measurement) else None for f in found]
    failed = [f for f in found if isinstance(f, UnreadableError)]
    if len(failed) == len(found):
        raise NothingReadError(failed[0], _nothing(failed, infos))
    scaled = [None if m is None or not _has_lengths(m) else m for m in alone]
    if all(m is None for m in scaled) and any(m is not None and _read(m) for m in alone):
        raise UsageError("None of the photos has a scale.", "State a reference for one of them.")
    with boundary(lambda: "putting the photos together"):
        told = combine(scaled)
    uses = tuple(
        PhotoUse(
            info=info,
            scale=None if m is None else m.scale,
            alone=m,
            left_out=_why(f, told.left_out.get(i)),
        )
        for i, (info, m, f) in enumerate(zip(infos, alone, found, strict=True))
    )
    flags = _warnings(uses, told)
    counts = [i for i, use in enumerate(uses) if use.left_out is None]
    # Whether the others are threads hangs on no contradiction.
    parts = [replace(p, threads=tuple(map(if_a_thread, p.threads))) for p in told.parts]
    u_size = 0.0
    if not told.open:
        having = [alone[i] for i in counts]
        parts, u_size = _doubted(parts, having, [specs[i] for i in counts], flags)
    first = uses[counts[0]] if counts else uses[0]
    measurement = Measurement(
        photo=first.info, scale=first.scale, parts=tuple(parts), warnings=tuple(flags), photos=uses
    )
    return left_doubtful(measurement, u_size)


def _nothing(failed: Sequence[UnreadableError], infos: Sequence[PhotoInfo]) -> Measurement:
    uses = tuple(
        PhotoUse(info=info, left_out=error.message.rstrip("."))
        for info, error in zip(infos, failed, strict=True)
    )
    warnings = tuple(Flag(code=e.code, message=e.message, advice=e.advice) for e in failed)
    return Measurement(photo=infos[0], scale=None, warnings=warnings, photos=uses)


def _specs(scale: ScaleSpec | Sequence[ScaleSpec] | None, photos: int) -> tuple[ScaleSpec, ...]:
    if scale is None or isinstance(scale, ScaleSpec):
        return (scale or ScaleSpec(),) * photos
    if len(scale) != photos:
        raise UsageError(
            f"{len(scale)} references are stated for {photos} photos.",
            "State one for all, or one for each.",
        )
    return tuple(scale)


def _info(photo: Given) -> PhotoInfo:
    opened = photo_of(photo)
    return PhotoInfo(
        file=opened.path.name,
        sha256=opened.sha256,
        width_px=opened.width_px,
        height_px=opened.height_px,
    )


def _refuse_twice(infos: Sequence[PhotoInfo], specs: Sequence[ScaleSpec]) -> None:
    """Raise UsageError where a photo is given twice and no other reference is stated for it."""
    for i, (info, spec) in enumerate(zip(infos, specs, strict=True)):
        for before, had in zip(infos[:i], specs[:i], strict=True):
            if before.sha256 == info.sha256 and (had.source, had.mm) == (spec.source, spec.mm):
                raise UsageError(
                    f"{before.file} and {info.file} are the same photo.",
                    "Name each photo once: the same picture tells nothing new. With another "
                    "reference in it, state that one.",
                )


def _why(found: Measurement | UnreadableError, disagrees: str | None) -> str | None:
    if isinstance(found, UnreadableError):
        return found.message.rstrip(".")
    if not _read(found):
        return "no thread was measured in it"
    return disagrees if _has_lengths(found) else "it has no scale"


def _read(measurement: Measurement) -> list[ThreadResult]:
    return [t for p in measurement.parts for t in p.threads if t.verdict.status != "unreadable"]


def _has_lengths(measurement: Measurement) -> bool:
    return any(t.reading.pitch_mm is not None for t in _read(measurement))


def _warnings(uses: Sequence[PhotoUse], told: Together) -> list[Flag]:
    """Return each photo's warnings with its name, and what the photos together give rise to."""
    flags = [
        flag("photo-left-out", f"{use.info.file} does not count: {use.left_out}")
        for use in uses
        if use.left_out is not None
    ]
    said: dict[str, list[tuple[str, Flag]]] = {}
    for use in uses:
        if use.left_out is None and use.alone is not None:
            for w in use.alone.warnings:
                said.setdefault(w.code, []).append((use.info.file, w))
    for warned in said.values():
        files = ", ".join(dict.fromkeys(file for file, _ in warned))
        first = warned[0][1]
        flags.append(replace(first, message=f"{files}: {first.message}", part=None))
    flags += map(flag, told.open)
    if told.unmoved:
        flags.append(flag("unmoved"))
    return flags


def _doubted(
    parts: list[PartResult],
    counts: Sequence[Measurement | None],
    specs: Sequence[ScaleSpec],
    flags: list[Flag],
) -> tuple[list[PartResult], float]:
    """Return the parts with the doubts that no other photo has taken away, and what these leave.

    Of all lengths, as a relative standard uncertainty.

    What one reference may be instead of what is stated stands as long as all photos share it;
    photos with references that agree vouch for each other.
    """
    codes = {w.code for m in counts if m is not None for w in m.warnings}
    for code in WHICH_READ:
        if code in codes:
            parts = all_left_open(parts, code)
    if len({(s.source, s.mm) for s in specs}) > 1:
        return parts, 0.0
    heights = [m.scale.camera_height_mm for m in counts if m is not None and m.scale is not None]
    known = [h.value for h in heights if h is not None]
    belief = belief_of(parts, specs[0], known[0] if known else np.nan)
    said = len(flags)
    parts = doubted(parts, specs[0], belief, flags)
    return parts, u_of(belief) if len(flags) > said else 0.0
