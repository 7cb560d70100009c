"""What one photo is made of: fittings with the truth about their threads, references, a camera."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from samples import place
from samples.develop import Development
from samples.forms import NPT_60, WHITWORTH_55, Form
from samples.scene import Camera, Film, Light, Scene, Thing
from samples.solids import Flipped, Hexagon, Part, Segment, Thread, Turned, barbs, cylinder

INCH = 25.4


@dataclass(frozen=True, kw_only=True)
class Fitting:
    """A part, which of its segments are threads, and what those are called."""

    part: Part
    names: dict[int, str]
    material: str | Mapping[str, Any] = "brass"


def thread(form: Form, pitch: float, major: float, length: float, **more: Any) -> Thread:
    """Return a parallel thread that leaves the work over 1.5 pitches."""
    return Thread(
        form=form,
        pitch=pitch,
        major=major,
        thread_length=length,
        **({"run_out": 1.5 * pitch} | more),
    )


def pipe_taper(form: Form, tpi: float, small_end: float, length: float, **more: Any) -> Thread:
    """Return a 1:16 taper thread from the diameter over its crests at the small end."""
    pitch = INCH / tpi
    return Thread(
        form=form,
        pitch=pitch,
        major=small_end + length / 16,
        thread_length=length,
        taper=1 / 16,
        **({"run_out": 1.5 * pitch} | more),
    )


def npt(tpi: float, outside: float, length: float, under: float = 0.0, **more: Any) -> Thread:
    """Return an NPT thread; pitch diameter at the small end by ASME B1.20.1, ``outside`` in mm."""
    pitch = INCH / tpi
    e0 = outside - (0.05 * outside / INCH + 1.1) * pitch
    return pipe_taper(NPT_60, tpi, e0 + 0.8 * pitch - under, length, **more)


def r_taper(
    tpi: float,
    gauge_diameter: float,
    gauge_length: float,
    length: float,
    under: float = 0.0,
    **more: Any,
) -> Thread:
    """Return an ISO 7-1 taper thread; gauge plane as the standard gives it, mm."""
    return pipe_taper(WHITWORTH_55, tpi, gauge_diameter - gauge_length / 16 - under, length, **more)


def sender(
    name: str,
    cut: Thread,
    *,
    flats: float,
    material: str = "brass",
    hexagon: float = 8.0,
    head: tuple[float, float] = (14.0, 16.0),
    probe: tuple[float, float] | None = None,
    collar: float = 1.5,
) -> Fitting:
    """Return a temperature sender: probe (diameter, length), thread, relief, hexagon, head."""
    relief = Turned(stations=((0, cut.major), (collar, cut.major)))
    segments: list[Segment] = [
        cut,
        relief,
        Hexagon(length=hexagon, across_flats=flats),
        cylinder(head[1], head[0]),
    ]
    at = 0
    if probe is not None:
        segments.insert(0, cylinder(probe[1], probe[0]))
        at = 1
    return Fitting(part=Part(segments=tuple(segments)), names={at: name}, material=material)


def union(
    first: tuple[str, Thread],
    second: tuple[str, Thread],
    *,
    flats: float,
    hexagon: float = 9.0,
    material: str = "brass",
) -> Fitting:
    """Return a nipple with a thread at each end of its hexagon."""
    segments = (first[1], Hexagon(length=hexagon, across_flats=flats), Flipped(second[1]))
    return Fitting(
        part=Part(segments=segments), names={0: first[0], 2: second[0]}, material=material
    )


def tail(
    name: str | None,
    cut: Segment,
    *,
    flats: float,
    bore: float,
    hexagon: float = 8.0,
    count: int = 5,
    step: float = 4.5,
    rise: float = 0.8,
    material: str = "brass",
) -> Fitting:
    """Return a hose tail: thread (or a second tail), hexagon, barbs."""
    segments = (
        cut,
        Hexagon(length=hexagon, across_flats=flats),
        Flipped(barbs(count, step, bore, rise)),
    )
    names = {} if name is None else {0: name}
    return Fitting(part=Part(segments=segments), names=names, material=material)


@dataclass(frozen=True, kw_only=True)
class Laid:
    """A fitting on the plate."""

    fitting: Fitting
    at: tuple[float, float] = (0.0, 0.0)
    heading_deg: float = 0.0
    shim_deg: float = 0.0

    def pose(self) -> place.Pose:
        return place.rest(
            self.fitting.part, at=self.at, heading_deg=self.heading_deg, shim_deg=self.shim_deg
        )

    def thing(self) -> Thing:
        vertices, faces = self.fitting.part.mesh()
        return Thing(
            vertices=self.pose().world(vertices), faces=faces, material=self.fitting.material
        )

    def truth(self) -> list[dict[str, Any]]:
        """Return the truth of each thread, tip first."""
        pose, out = self.pose(), []
        for i, name in self.fitting.names.items():
            segment = self.fitting.part.segments[i]
            turned_round = isinstance(segment, Flipped)
            cut = segment.of if isinstance(segment, Flipped) else segment
            assert isinstance(cut, Thread)
            start = self.fitting.part.starts_at()[i]
            middle = start + (
                segment.length - cut.thread_length / 2 if turned_round else cut.thread_length / 2
            )
            out.append(
                {
                    "designation": name,
                    "pitch_mm": cut.pitch,
                    "angle_deg": cut.form.angle_deg,
                    "taper": cut.taper,
                    "starts": cut.starts,
                    "thread_length_mm": cut.thread_length,
                    "turns": cut.thread_length / cut.pitch,
                    "major_mm": cut.major,
                    "major_station": "large end" if cut.taper else "all along",
                    "depth_mm": cut.major / 2 - cut.minor_radius,
                    "pitch_diameter_mm": 2 * cut.pitch_radius,
                    "axis_height_mm": pose.axis_height(middle),
                    "incline_deg": pose.incline_deg,
                    "material": self.fitting.material,
                }
            )
        return out


@dataclass(frozen=True, kw_only=True)
class Reference:
    """The thing of known size beside the part; ``thickness`` is for disc and jaws."""

    kind: str
    mm: float | None = None
    at: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0
    length: float = 32.0
    thickness: float = 2.0

    def things(self) -> list[Thing]:
        if self.kind == "pin":
            assert self.mm is not None
            body = place.pin(self.mm, self.length)
            pose = place.rest(body, at=self.at, heading_deg=self.turn_deg)
            vertices, faces = body.mesh()
            return [Thing(vertices=pose.world(vertices), faces=faces, material="pin")]
        return [self._slab(o) for o in self._outlines()]

    def _outlines(self) -> list[Any]:
        if self.kind == "disc":
            return [place.circle(self.mm or 0.0)]
        if self.kind == "card":
            return [place.card()]
        if self.kind == "jaws":
            return [place.jaw(self.mm or 0.0, side) for side in (-1, 1)]
        return []

    def _slab(self, outline: Any) -> Thing:
        thick = 0.76 if self.kind == "card" else self.thickness
        vertices, faces = place.slab(place.turned(outline, self.turn_deg, self.at), thick)
        material = {"card": "card", "disc": "zinc"}.get(self.kind, "steel")
        return Thing(vertices=vertices, faces=faces, material=material)


@dataclass(frozen=True, kw_only=True)
class Fibre:
    """A hair or a swarf thread, lying at a height."""

    at: tuple[float, float]
    turn_deg: float
    length: float = 9.0
    diameter: float = 0.08
    height: float = 0.0

    def thing(self) -> Thing:
        body = Part(segments=(cylinder(self.length, self.diameter, 0.01),))
        pose = place.rest(body, at=self.at, heading_deg=self.turn_deg)
        vertices, faces = body.mesh()
        return Thing(
            vertices=pose.world(vertices) + (0, 0, self.height), faces=faces, material="dead"
        )


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One photo and its truth."""

    name: str
    quality: str
    parts: tuple[Laid, ...]
    scale: Reference
    camera: Camera
    development: Development
    light: Light = Light()
    more: tuple[Reference, ...] = ()
    fibres: tuple[Fibre, ...] = ()
    film: Film | None = None
    bar_mm: float | None = None
    expected: str | None = None
    seed: int = 1
    samples: int = 64
    notes: dict[str, Any] = field(default_factory=dict)

    def scene(self) -> Scene:
        things = [p.thing() for p in self.parts] + [f.thing() for f in self.fibres]
        for reference in (self.scale, *self.more):
            things += reference.things()
        return Scene(camera=self.camera, light=self.light, things=things, film=self.film)

    def truth(self) -> dict[str, Any]:
        """Return the document that stands beside the photo."""
        scale: dict[str, Any] = {"source": self.scale.kind, "mm": self.scale.mm}
        if self.scale.kind == "card":
            scale["mm"] = 85.6
        if self.bar_mm is not None:
            scale["mm"] = self.bar_mm
        document: dict[str, Any] = {
            "file": f"{self.name}.jpg",
            "quality": self.quality,
            "scale": scale,
            "threads": [t for p in self.parts for t in p.truth()],
        }
        if self.expected is not None:
            document["expected"] = self.expected
        document["render"] = (
            {
                "f_px": self.camera.f_px,
                "camera": asdict(self.camera),
                "light": asdict(self.light),
                "reference_thickness_mm": self._thickness(),
                "distortion_k1": self.development.k1,
                "develop": asdict(self.development),
                "seed": self.seed,
            }
            | ({"exif": False} if self.development.exif_f35 is None else {})
            | self.notes
        )
        return document

    def _thickness(self) -> float | None:
        kinds = {"card": 0.76, "disc": self.scale.thickness, "jaws": self.scale.thickness}
        return kinds.get(self.scale.kind)


def film(
    size: str,
    *,
    at: tuple[float, float] = (0.0, 0.0),
    turn_deg: float = 0.0,
    printed: float = 1.0,
    paper: float = 0.45,
) -> Film:
    """Return a printed A4 marker sheet with its window cut out; the window's middle is at ``at``.

    ``printed`` is the printer's error of scale.
    """
    from pitchcam.sheet import PAGES, sheet
    from pitchcam.sheet.draw import PNG_DPI, TOP_MM, raster

    plan = sheet(size)
    image = raster(plan, PAGES["a4"])
    height, width = (n / PNG_DPI * 25.4 for n in image.shape)
    up = (height / 2 - TOP_MM - plan.outer_mm[1] / 2) * printed
    w, h = plan.window_mm[0] / 2 * printed, plan.window_mm[1] / 2 * printed
    a = np.deg2rad(turn_deg)
    return Film(
        image=image,
        size=(width * printed, height * printed),
        paper=paper,
        hole=(-w, up - h, w, up + h),
        turn_deg=turn_deg,
        at=(at[0] + up * float(np.sin(a)), at[1] - up * float(np.cos(a))),
    )


def clean(camera: Camera, width: float, height: float, below: float = 250.0) -> Light:
    """Return a panel far behind, masked to a window of the given size as seen on the plate."""
    grow = (camera.height + below) / camera.height
    return Light(below=below, size=(width * grow, height * grow), centre=camera.aim)
