"""What is learnt of each phone's lenses: focal length and distortion, kept in a small file.

A card tells the lens of its photo (:mod:`pitchcam.scale.card`): how it distorts, and where it leans
also the focal length. What one photo tells holds for the next of the same camera
model, lens and picture size, whatever reference lies there: a pin or a disc tells neither. Every
photo's lesson is kept under the photo's digest, so that a photo teaches once, and the order in
which photos come does not matter.
"""

from __future__ import annotations

import contextlib
import json
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from pitchcam.camera.focal import Explanation
from pitchcam.camera.pinhole import DIAGONAL_35MM, U_CORNER, Camera
from pitchcam.errors import InputError
from pitchcam.files import read_whole, write_whole
from pitchcam.frozen import dataclass
from pitchcam.photo import Photo
from pitchcam.records import json_text
from pitchcam.records.formats import document, format_of

#: A lens that focuses nearer stands farther from its sensor, and a stabilised one is moved: what
#: one photo tells holds for another to this share of the focal length (150-350 mm: 1-2 %), and of
#: the corner's displacement (judgement).
U_SAME_FOCAL, U_SAME_CORNER = 0.010, 0.0005
#: A photo that tells the focal length no better than this tells nothing of it.
MOST_U_FOCAL = 0.10
#: Lessons kept of one lens, and the bytes that a file of them has at most.
MOST_LESSONS, MOST_BYTES = 60, 2_000_000


@dataclass(frozen=True, kw_only=True, slots=True)
class Lesson:
    """What one photo tells of its lens, without what was known of it before.

    ``ln_focal`` is the logarithm of the true focal length over the stated one, ``corner`` the
    distortion's displacement at the picture's corner as a share; each with its standard
    uncertainty, None where the photo does not tell it.
    """

    ln_focal: float | None = None
    u_ln_focal: float | None = None
    corner: float | None = None
    u_corner: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Lens:
    """What is known of a lens from ``photos`` of them; values as in :class:`Lesson`."""

    photos: int
    focal: tuple[float, float] | None
    corner: tuple[float, float] | None


def lens_key(photo: Photo) -> str | None:
    """Return what tells a photo's lens from others; None where its tags do not name the camera."""
    if photo.origin.camera is None or photo.f35_mm is None:
        return None
    long, short = max(photo.width_px, photo.height_px), min(photo.width_px, photo.height_px)
    zoom = photo.origin.zoom or 1.0
    return f"{photo.origin.camera}; {photo.f35_mm:g} mm; zoom {zoom:g}; {long} x {short}"


def stated_f_px(photo: Photo) -> float:
    """Return the focal length in pixels that the 35-mm tag states."""
    return (photo.f35_mm or 0.0) / DIAGONAL_35MM * math.hypot(photo.width_px, photo.height_px)


def lesson(photo: Photo, before: Camera, after: Camera) -> Lesson | None:
    """Return what a photo told of its lens, by what was known of it before and after its card."""
    stated = stated_f_px(photo)
    if stated <= 0:
        return None
    focal = _new(
        math.log(before.f_px / stated),
        before.u_f_px / before.f_px,
        math.log(after.f_px / stated),
        after.u_f_px / after.f_px,
    )
    if focal is not None and focal[1] > MOST_U_FOCAL:
        focal = None
    corner = _new(before.corner, before.u_corner, after.corner, after.u_corner)
    if focal is None and corner is None:
        return None
    return Lesson(
        ln_focal=None if focal is None else focal[0],
        u_ln_focal=None if focal is None else focal[1],
        corner=None if corner is None else corner[0],
        u_corner=None if corner is None else corner[1],
    )


def _new(
    before: float, u_before: float, after: float, u_after: float
) -> tuple[float, float] | None:
    """Return value and u of what led from one knowledge to the other: the weights' difference."""
    weight = 1 / u_after**2 - 1 / u_before**2
    # Less than a tenth of what was known before is lost in its rounding.
    if weight < 0.1 / u_before**2:
        return None
    return (after / u_after**2 - before / u_before**2) / weight, 1 / math.sqrt(weight)


@dataclass(frozen=True, kw_only=True)
class Lenses:
    """The file of what was learnt; a file that is not there knows nothing."""

    path: Path

    @classmethod
    def beside(cls, record: Path) -> Lenses:
        """Return the file that lies beside a record."""
        return cls(path=record.with_name("pitchcam-lenses.json"))

    def known(self, photo: Photo) -> Lens | None:
        """Return what other photos told of a photo's lens; None where none did.

        Raises
        ------
        InputError
            If the file is none of ours.
        """
        key = lens_key(photo)
        if key is None:
            return None
        lessons = self._load().get(key, {})
        return together(v for k, v in sorted(lessons.items()) if k != photo.sha256)

    def teach(self, photo: Photo, told: Lesson) -> None:
        """Keep what a photo told; the file is written whole.

        Raises
        ------
        InputError
            If the file is none of ours, or cannot be written.
        """
        key = lens_key(photo)
        if key is None:
            return
        with _alone(self.path):
            self._add(key, photo.sha256, told)

    def _add(self, key: str, sha256: str, told: Lesson) -> None:
        every = self._load()
        kept = {**every.get(key, {}), sha256: told}
        # By digest, which is as good as by chance, and the same in any order.
        every[key] = dict(sorted(kept.items())[:MOST_LESSONS])
        lenses = {
            name: {sha: _plain(v) for sha, v in sorted(lessons.items())}
            for name, lessons in sorted(every.items())
        }
        text = json_text(document("lenses", {"lenses": lenses}), indent=1)
        write_whole(self.path, text.encode())

    def _load(self) -> dict[str, dict[str, Lesson]]:
        if not self.path.exists():
            return {}
        advice = "move it away, or leave the lenses off (--no-lenses)"
        data = read_whole(self.path, MOST_BYTES, advice=advice)
        try:
            kept = json.loads(data)
            if kept["format"] != format_of("lenses"):
                raise ValueError
            return {
                str(name): {str(sha): _lesson(v) for sha, v in lessons.items()}
                for name, lessons in kept["lenses"].items()
            }
        except (ValueError, KeyError, TypeError, AttributeError):
            raise InputError(f"{self.path} is no file of lenses;", advice) from None


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Keep others from changing a file meanwhile, where the system can: two photos may teach."""
    try:
        import fcntl
    except ImportError:  # pragma: no cover - no such system here
        yield
        return
    try:
        lock = path.with_name(path.name + ".lock").open("a")
    except OSError as error:
        raise InputError(
            f"{path.parent} cannot be written: {error.strerror};",
            "leave the lenses off (--no-lenses)",
        ) from error
    with lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


_FIELDS = ("ln_focal", "u_ln_focal", "corner", "u_corner")


def _plain(told: Lesson) -> dict[str, float]:
    return {n: v for n in _FIELDS if (v := getattr(told, n)) is not None}


def _lesson(kept: Mapping[str, Any]) -> Lesson:
    values = {n: float(kept[n]) for n in _FIELDS if kept.get(n) is not None}
    bad = [n for n, v in values.items() if not math.isfinite(v) or (n.startswith("u_") and v <= 0)]
    if bad:
        raise ValueError(bad[0])
    return Lesson(**values)


def together(lessons: Iterable[Lesson]) -> Lens | None:
    """Return what lessons tell together, None where there are none."""
    every = list(lessons)
    if not every:
        return None
    focal = [(v.ln_focal, v.u_ln_focal) for v in every]
    corner = [(v.corner, v.u_corner) for v in every]
    return Lens(
        photos=len(every), focal=_mean(focal, U_SAME_FOCAL), corner=_mean(corner, U_SAME_CORNER)
    )


def _mean(
    told: Iterable[tuple[float | None, float | None]], u_same: float
) -> tuple[float, float] | None:
    """Return the weighed mean and its u for another photo of the lens.

    Where lessons differ by more than they say, u grows by that (the ratio of Birge).
    """
    pairs = [(v, math.hypot(u, u_same)) for v, u in told if v is not None and u is not None]
    if not pairs:
        return None
    weight = sum(1 / u**2 for _, u in pairs)
    mean = sum(v / u**2 for v, u in pairs) / weight
    chi2 = sum(((v - mean) / u) ** 2 for v, u in pairs) / max(len(pairs) - 1, 1)
    return mean, math.hypot(math.sqrt(max(1.0, chi2) / weight), u_same)


def taught(photo: Photo, found: Iterable[Explanation], lens: Lens) -> tuple[Explanation, ...]:
    """Return a photo's explanations of its focal length with what is known of its lens."""
    if lens.focal is None:
        return tuple(found)
    value, u = lens.focal
    out = []
    for e in found:
        apart = math.log(e.f_px / stated_f_px(photo)) - value
        both = math.hypot(e.u_share, u)
        share = u**2 / (u**2 + e.u_share**2)
        out.append(
            Explanation(
                f_px=e.f_px * math.exp(-apart * (1 - share)),
                u_share=e.u_share * u / both,
                weight=e.weight * math.exp(-0.5 * (apart / both) ** 2) / both,
            )
        )
    whole = sum(e.weight for e in out)
    return tuple(replace(e, weight=e.weight / whole) for e in out) if whole > 0 else tuple(found)


def bent_as_known(camera: Camera, lens: Lens) -> Camera:
    """Return the camera with the distortion that its lens is known to have."""
    if lens.corner is None:
        return camera
    value, u = lens.corner
    weight = 1 / u**2 + 1 / U_CORNER**2
    return camera.bent(value / u**2 / weight, 1 / math.sqrt(weight))
