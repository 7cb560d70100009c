"""One photo taken apart: what lies on the light, how its edges are drawn, and the scale."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cached_property, partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.focal import (
    Explanation,
    camera_for,
    explanations,
    settled,
    was_cropped,
    weighed,
)
from pitchcam.camera.lenses import Lens, Lesson, bent_as_known, lesson, taught
from pitchcam.camera.pinhole import U_CORNER_PROFILE, Camera
from pitchcam.edges.bend import corner_share
from pitchcam.edges.rims import Rims
from pitchcam.edges.straight import learn_rims, sharpened_undone
from pitchcam.errors import OutlineError, UnreadableError
from pitchcam.flags import FLAGS
from pitchcam.frozen import dataclass
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.field import Field, find_field
from pitchcam.objects.frame import AxisFrame
from pitchcam.objects.regions import Region
from pitchcam.objects.shapes import Shape, describe, searched_all_round, searched_along
from pitchcam.photo import Photo
from pitchcam.pipeline.damage import refuse_waving, told_copy
from pitchcam.pipeline.scene_flags import scene_flags
from pitchcam.pipeline.unfit_photo import refuse_whole
from pitchcam.records import Flag, ScaleSpec
from pitchcam.reference_kinds import LYING
from pitchcam.scale.faces import straight_sides
from pitchcam.scale.find import find_reference
from pitchcam.scale.reference import Edges, Reference
from pitchcam.scale.tilt import told_by_window, window_edges

Progress = Callable[[str], None]

#: Where the sheet's scale would put the phone so far off that its focal length moves by this share,
#: the tag is no prior: the sheet's own perspective tells it.
DOUBTED = 0.1
#: References that agree within this are one scale, whatever their own uncertainties say.
AGREE = 0.03


@dataclass(frozen=True, kw_only=True)
class OwnScale:
    """The scale by a reading of crests: the camera at the distance that it gives, and its u.

    ``region`` is the thread that was read, on ``part``, None where what was read is no measured
    thread; ``frame`` lies on the ``axis`` there. Relative standard uncertainties: ``u_reading`` of
    what was read, with what it leaves open where it was, ``u_crests`` of what the picture shows of
    these crests. ``doubt`` is the flag that says that something else may be, or is, what was read.
    """

    camera: Camera
    part: Shape
    region: Region | None
    frame: AxisFrame
    axis: ImageAxis
    u_reading: float
    u_crests: float
    doubt: str | None


@dataclass(frozen=True, kw_only=True)
class Scene:
    """One photo, taken apart: its objects, edges, reference and what was noticed on the way.

    ``spec`` is the reference as it was stated; ``camera`` has its distance set once the scale is
    known. ``own`` is the scale that a thread's own crests give, ``rows_shown`` says that something
    straight would show rows out of place, ``told`` is what the reference told of the lens. ``bare``
    is the camera before the reference, ``pins`` the true edges of every pin: with them the
    reference is found again for another focal length. ``explained`` are the explanations of the
    focal length, None where a profile knows it. ``kept`` is what was measured of threads, by what
    it hangs on: it goes on to scenes that are made of this one. ``rough`` says that threads are
    looked at for the scale or the pose alone, to which roots say nothing.
    """

    photo: Photo
    spec: ScaleSpec
    field: Field
    shapes: tuple[Shape, ...]
    rims: Rims
    camera: Camera
    reference: Reference | None
    flags: tuple[Flag, ...]
    own: OwnScale | None = None
    rows_shown: bool = True
    told: Lesson | None = None
    bare: Camera | None = None
    pins: Edges | None = None
    explained: tuple[Explanation, ...] | None = None
    rough: bool = False
    kept: dict[tuple[int, ...], tuple[Any, ...]] = dataclasses.field(default_factory=dict)

    def held(self, mm_per_px: float) -> Camera:
        """Return the camera for a rough scale: a focal length at which nobody holds a phone goes.

        A tag that lies nearer to what is usual stays as it is.
        """
        if self.explained is None:
            return self.camera
        f_px, u_f_px = settled(weighed(self.explained, mm_per_px, 0.0))
        if abs(f_px / self.camera.f_px - 1) < DOUBTED:
            return self.camera
        again = replace(self.camera, f_px=f_px, u_f_px=u_f_px)
        return again.bent(self.camera.corner, self.camera.u_corner)

    @cached_property
    def by_crests(self) -> dict[tuple[int, int], tuple[Any, ...]]:
        """Threads that were measured by their crests, by part and region: none at first."""
        return {}

    def refocused(self, longer: float) -> Scene:
        """Return the scene with a focal length that many times as long, its reference found anew.

        Away from the picture's middle the width of a pin and the rims of a disc are seen aslant,
        and tell another scale from another distance.

        Raises
        ------
        UnreadableError
            If the reference cannot be one at that focal length.
        """
        if self.bare is None or self.pins is None:
            return self
        bare = self.bare.refocused(longer, 0.0)
        reference = find_reference(self.spec, self.shapes, bare, self.pins)
        return replace(self, bare=bare, reference=reference, camera=reference.camera)

    def recentred(self, off_px: NDArray[np.float64]) -> Camera:
        """Return the camera with its principal point moved, the reference found anew.

        Raises
        ------
        UnreadableError
            If the reference cannot be one then.
        """
        if self.bare is None or self.pins is None:
            return self.camera.recentred(off_px)
        return find_reference(self.spec, self.shapes, self.bare.recentred(off_px), self.pins).camera


def take_apart(photo: Photo, spec: ScaleSpec, say: Progress, lens: Lens | None = None) -> Scene:
    """Find the objects, edges and reference of a photo; ``lens`` is what is known of its lens.

    Raises
    ------
    UnreadableError
        If there is no part, no thread, no reference, a blur, or references that disagree.
    """
    say("finding the parts")
    pixels: NDArray[np.generic] = photo.pixels
    field = find_field(pixels, quarter=photo.quarter)
    flags: list[Flag] = []
    told: Lesson | None = None
    camera, reference = _camera(photo, field, spec, lens, flags)
    if reference is not None:
        # Beside the sheet's window lies paper, which is no background for parts.
        field = find_field(pixels, within_px=reference.outline_px, quarter=photo.quarter)
    shapes = _objects(pixels, field, camera, pin=spec.source == "pin")
    if not shapes:
        raise UnreadableError(
            "No dark part on a bright background was found.", FLAGS["no-part"][1], code="no-part"
        )
    say("placing the edges")
    rims, pins = learn_rims(shapes, field, camera)
    refuse_whole(shapes, rims, spec if reference is None else None, camera)
    # The sheet's markers are fitted to a plane: what is not in place is seen.
    rows_shown = refuse_waving(field, shapes) or reference is not None
    shapes = [sharpened_undone(s, rims) for s in shapes]
    bare = None
    if reference is None:
        # A card's own sides are fitted with it.
        rest = [s for s in shapes if s.kind != "card" or spec.source != "card"]
        camera = told_by_window(field, _undistorted(field, rest, camera))
        if spec.source in LYING:
            explained = None if spec.camera_profile is not None else _explained(photo, lens)
            reference, bare = _found(explained, spec, shapes, camera, pins)
            if spec.source == "card" and explained is not None:
                told = lesson(photo, bare, reference.camera)
            camera = reference.camera
        elif spec.source not in ("major", "none"):
            raise UnreadableError(
                "No marker sheet was found, and no other reference was stated.",
                "Lay a bank card beside the part (--card), or state what lies there (--disc, "
                "--pin, --jaws), or the caliper's reading of the thread (--major); --no-reference "
                "tells what pitch over diameter says without.",
                code="no-reference",
            )
    elif spec.source in LYING:
        _compare(reference, spec, shapes, camera, pins)
    flags += scene_flags(rims, field, camera)
    return Scene(
        photo=photo,
        spec=spec,
        field=field,
        shapes=tuple(shapes),
        rims=rims,
        camera=camera,
        reference=reference,
        flags=tuple(flags),
        rows_shown=rows_shown,
        told=told,
        bare=bare,
        pins=pins,
        explained=None if spec.camera_profile is not None else _explained(photo, lens),
    )


def _objects(
    pixels: NDArray[np.generic], field: Field, camera: Camera, *, pin: bool
) -> list[Shape]:
    """Return the objects that have an outline; a stain or a tint of the light has none.

    Where a ``pin`` is stated, one of the bars is that: if all of them ripple, so does the picture,
    and no ripple tells a stud from it.
    """
    shapes = []
    for blob in field.blobs:
        with suppress(OutlineError):
            shapes.append(describe(pixels, field, blob, camera))
    for kind, searched in (("other", searched_all_round), ("bar", searched_along)):
        if any(s.threads for s in shapes):
            break
        found = [searched(s, camera) if s.kind == kind else s for s in shapes]
        if kind == "other" or not pin or any(s.kind == "bar" for s in found):
            shapes = found
    return shapes


def _found(
    explained: Sequence[Explanation] | None,
    spec: ScaleSpec,
    shapes: list[Shape],
    camera: Camera,
    pins: Edges,
) -> tuple[Reference, Camera]:
    """Find the stated reference; its scale tells how far off each focal length puts the phone.

    ``explained`` are the explanations of the focal length, None where a profile knows it. The
    camera as it was known before the reference is returned with it.
    """
    reference = find_reference(spec, shapes, camera, pins)
    if explained is None:
        return reference, camera
    height = reference.height_mm
    scale = (reference.camera.distance_mm - height) / reference.camera.f_px
    f_px, u_f_px = settled(weighed(explained, scale, height))
    if abs(f_px / camera.f_px - 1) < 1e-3 and u_f_px <= camera.u_f_px:
        return reference, camera
    # The distortion is a share of the picture, whatever the focal length is.
    again = replace(camera, f_px=f_px, u_f_px=u_f_px).bent(camera.corner, camera.u_corner)
    return find_reference(spec, shapes, again, pins), again


def _explained(photo: Photo, lens: Lens | None) -> tuple[Explanation, ...]:
    found = explanations(photo)
    return found if lens is None else taught(photo, found, lens)


def _compare(
    sheet: Reference, spec: ScaleSpec, shapes: list[Shape], camera: Camera, pins: Edges
) -> None:
    """Hold the stated reference against the sheet; a reference that is not there is no matter."""
    try:
        other = find_reference(spec, shapes, camera, pins)
    except UnreadableError as error:
        if error.code == "no-reference":
            return
        raise
    gap = other.camera.distance_mm / sheet.camera.distance_mm - 1
    if abs(gap) > max(AGREE, 4 * float(np.hypot(other.u_scale, sheet.u_scale))):
        raise UnreadableError(
            f"The marker sheet and the stated {spec.source} give scales {100 * abs(gap):.0f} % "
            "apart.",
            FLAGS["references-disagree"][1],
            code="references-disagree",
        )


def _camera(
    photo: Photo, field: Field, spec: ScaleSpec, lens: Lens | None, flags: list[Flag]
) -> tuple[Camera, Reference | None]:
    """Return the camera from profile, sheet or EXIF, and the sheet as reference if it is there."""
    from pitchcam.camera.profile import load_profile

    explained = _explained(photo, lens)
    camera = camera_for(photo, explained)
    camera = camera if lens is None else bent_as_known(camera, lens)
    profile = None
    if spec.camera_profile is not None:
        profile = load_profile(Path(spec.camera_profile))
        p = profile.for_size(photo.width_px, photo.height_px)
        camera = replace(
            camera,
            f_px=p.f_px,
            u_f_px=p.u_f_px,
            centre_px=p.centre_px,
            u_centre_px=0.0,
            k1=p.k1,
            k2=p.k2,
            u_corner=U_CORNER_PROFILE,
        )
    # A sheet shows as a dozen or more dark squares; without them the search is not worth its time.
    if spec.source in ("auto", "sheet") or len(field.blobs) >= 10:
        from pitchcam.scale.sheet import find_sheet

        f_px = camera.f_px if photo.f35_mm and not was_cropped(photo) else None
        sheet = partial(
            find_sheet,
            _grey8(photo.pixels),
            bar_mm=spec.sheet_bar_mm,
            profile=profile,
            u_centre_px=camera.u_centre_px,
        )
        pose = sheet(f_px)
        if pose is not None and profile is None and f_px is not None:
            held_px, _ = settled(weighed(explained, pose.mm_per_px.value, 0.0))
            if abs(held_px / f_px - 1) > DOUBTED:
                pose = sheet(None)
        if pose is not None:
            window = np.array(pose.window_px)
            u_centre = min(pose.u_centre_px, camera.u_centre_px)
            reference = Reference(
                source="sheet",
                camera=replace(pose.camera, u_centre_px=u_centre),
                u_scale=pose.mm_per_px.u / pose.mm_per_px.value,
                height_mm=0.0,
                u_height_mm=0.1,
                where_px=window.mean(axis=0),
                labels=(),
                outline_px=window,
            )
            return reference.camera, reference
        if spec.source == "sheet":
            raise UnreadableError(
                "No marker sheet was found in the photo.",
                "Show at least four of its markers whole and sharp, retake.",
                code="no-reference",
            )
    if profile is None and spec.source not in ("major", "none"):
        flags += told_copy(photo)
    return camera, None


def _grey8(pixels: NDArray[np.generic]) -> NDArray[np.uint8]:
    import cv2

    coded: Any = pixels
    eight = (coded / 257).astype(np.uint8) if pixels.dtype == np.uint16 else coded
    grey = eight if eight.ndim == 2 else cv2.cvtColor(eight, cv2.COLOR_BGR2GRAY)
    return np.asarray(grey, dtype=np.uint8)


def _undistorted(field: Field, shapes: list[Shape], camera: Camera) -> Camera:
    """Return the camera with the distortion that the photo's straight edges tell."""
    edges = [*window_edges(field), *(e for s in shapes for e in straight_sides(s))]
    return camera.bent(*corner_share(camera, edges))
