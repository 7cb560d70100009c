"""Random scenes: a set and a seed give the same photos on every machine."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from samples.develop import FULL_WELL, Development
from samples.place import Pose, rest
from samples.scene import HEIGHT, WIDTH, Camera, Lamp, Light, Scene, Thing
from samples.shots import Fibre
from tests.fresh import parts, references, threads
from tests.fresh.materials import NAMES, metal
from tests.fresh.phone import WIDE_ROWS, Phone

Rng = np.random.Generator
SETS = ("good", "twins", "workshop", "fall", "nonthread", "wrongref", "again", "pipes")
ROUGH = ("workshop", "fall")
#: Least pixels per pitch of the picture, and clear space between things, mm.
LEAST_PX = 15.0
#: Least turns and pixels per mm of the set of pipe threads that are told from each other.
PIPE_TURNS, PIPE_PX_MM = 8.0, 20.0
GAP_MM = 3.0
INSET_PX = 50


@dataclass(frozen=True, kw_only=True)
class Laid:
    """A part on the plate: ``pose`` places local points; a spring has no build."""

    kind: str
    material: str
    pose: Pose
    thing: Thing
    heading_deg: float
    build: parts.Build | None = None


@dataclass(frozen=True, kw_only=True)
class Fresh:
    """One photo to be: what lies there, under which phone, and what its user states."""

    name: str
    set: str
    laid: Laid
    camera: Camera
    light: Light
    phone: Phone
    stated: dict[str, Any]
    reference: references.Reference | None = None
    reference_at: tuple[float, float] = (0.0, 0.0)
    reference_deg: float = 0.0
    fibres: tuple[Fibre, ...] = ()
    seed: int = 0
    notes: dict[str, Any] = field(default_factory=dict)

    def reference_things(self) -> list[Thing]:
        if self.reference is None:
            return []
        return self.reference.things(self.reference_at, self.reference_deg)

    def scene(self) -> Scene:
        things = [self.laid.thing, *(f.thing() for f in self.fibres), *self.reference_things()]
        return Scene(camera=self.camera, light=self.light, things=things)


def fresh(set_name: str, seed: int, index: int) -> Fresh:
    """Draw photo ``index`` of a set and seed."""
    if set_name == "again":
        from tests.fresh.again import again

        return again(seed, index)
    rng = np.random.default_rng([zlib.crc32(set_name.encode()), seed, index])
    name = f"{set_name}{seed}-{index:03d}"
    build, mesh, material = _what(set_name, rng)
    kind = str(rng.choice(["pin", "disc", "card", "jaws", "major"]))
    if set_name == "nonthread" and kind == "major":
        kind = "pin"
    if set_name == "wrongref":  # a card has one size
        kind = str(rng.choice(["pin", "pin", "disc", "jaws"]))
    reference = None if kind == "major" else references.draw(kind, rng)
    if reference is not None:
        # By a stream of its own: what lies there, and where, stays what a seed has drawn.
        own = np.random.default_rng([zlib.crc32(b"size"), seed, index])
        reference = references.sized(reference, own)
    phone_kind = _phone_kind(set_name, rng)
    for _ in range(400):
        camera = _camera(set_name, build, rng)
        if _px_per_pitch(camera, build, phone_kind) < LEAST_PX:
            continue
        if set_name == "pipes" and camera.f_px / camera.height < PIPE_PX_MM:
            continue
        placed = _layout(camera, build, mesh, reference, (set_name, phone_kind), rng)
        if placed is not None:
            break
    else:
        # Too large for any view drawn: the next chance of the same photo.
        return fresh(set_name, seed, index + 100_000)
    laid, at, turn = placed
    height = laid.pose.axis_height(_middle(build))
    camera = _focused(camera, set_name, height, rng)
    name = name if index < 100_000 else f"{set_name}{seed}-{index % 100_000:03d}"
    laid = _painted(laid, material, rng)
    light = _light(set_name, camera, rng)
    if set_name not in ROUGH:
        solids = [laid.thing.vertices[::5]]
        if reference is not None:
            solids += [t.vertices for t in reference.things(at, turn)]
        light = _around(light, camera, np.concatenate(solids))
    return Fresh(
        name=name,
        set=set_name,
        laid=laid,
        camera=camera,
        light=light,
        phone=_phone(set_name, camera, phone_kind, rng),
        reference=reference,
        reference_at=at,
        reference_deg=turn,
        stated=_stated(set_name, kind, reference, build, rng),
        fibres=_fibres(set_name, camera, rng),
        seed=int(rng.integers(2**31)),
    )


def _what(set_name: str, rng: Rng) -> tuple[parts.Build | None, Any, str]:
    """Return the part (or a spring's mesh) and its metal."""
    material = str(NAMES[int(rng.integers(len(NAMES)))])
    if set_name == "nonthread":
        pick = rng.random()
        if pick < 0.15:
            return None, parts.spring(rng), material
        if pick < 0.25:
            return parts.square_thread(rng), None, material
        if pick < 0.4:
            return parts.single(threads.special(rng), rng), None, material
        return parts.no_thread(rng), None, material
    if set_name == "pipes":
        size = threads.pipe(rng)
        turns = float(rng.uniform(PIPE_TURNS, 9.0 if size.taper else 14.0))
        return parts.single(threads.cut(size, rng, turns=turns, worn=False), rng), None, material
    worn = set_name in ROUGH and rng.random() < 0.4
    dirty = set_name in ROUGH and rng.random() < 0.3
    cuts = []
    for _ in range(2 if rng.random() < 0.12 else 1):
        size = threads.size(rng, set_name == "twins")
        while cuts and not 0.5 < size.basic_major_mm / cuts[0].thread.major < 2.0:
            size = threads.size(rng, set_name == "twins")
        most = min(15.0, 42.0 / size.pitch_mm, 9.0 if size.taper else 15.0)
        least = min(3.2 if set_name in ROUGH else 4.0, most)
        turns = float(rng.uniform(least, most))
        if rng.random() < 0.2:  # short fat
            turns = float(np.clip(0.7 * size.basic_major_mm / size.pitch_mm, least, most))
        cuts.append(threads.cut(size, rng, turns=turns, worn=worn, dirty=dirty))
    if len(cuts) == 2:
        return parts.union(cuts[0], cuts[1], rng), None, material
    return parts.single(cuts[0], rng), None, material


def _phone_kind(set_name: str, rng: Rng) -> str:
    """Return 'messenger', 'zoom', 'wide' or ''."""
    pick = rng.random()
    if set_name == "workshop":
        return "messenger" if pick < 1 / 12 else "zoom" if pick < 0.18 else ""
    if set_name == "fall" and pick < 1 / 12:
        return "messenger"
    return "wide" if pick > 0.94 else ""


def _camera(set_name: str, build: parts.Build | None, rng: Rng) -> Camera:
    long = rng.random() < 0.8
    f35 = float(rng.uniform(24, 28.5)) * (2 if long else 1)
    most = {"workshop": 4.0, "nonthread": 3.0}.get(set_name, 2.0)
    tilt, way = float(rng.uniform(0, most)), float(rng.uniform(0, 2 * np.pi))
    centre = tuple(int(4 * np.clip(np.round(rng.normal(0, 6) / 4), -7, 7)) for _ in range(2))
    focal = float(rng.uniform(5.3, 6.3))
    return Camera(
        f35=f35,
        height=float(rng.uniform(150, 350)),
        centre_px=centre,  # type: ignore[arg-type]
        tilt_deg=(tilt * float(np.cos(way)), tilt * float(np.sin(way))),
        pupil=focal / float(rng.choice([1.8, 2.0, 2.2, 2.4])),
    )


def _px_per_pitch(camera: Camera, build: parts.Build | None, kind: str) -> float:
    if build is None or not build.threads:
        return 1e3
    least = min(c.thread.pitch for c in build.threads.values())
    return least * camera.f_px / camera.height * (0.75 if kind == "messenger" else 1.0)


def _middle(build: parts.Build | None) -> float:
    if build is None or not build.threads:
        return 0.0
    i, cut = next(iter(build.threads.items()))
    return build.part.starts_at()[i] + cut.thread.thread_length / 2


def _layout(
    camera: Camera,
    build: parts.Build | None,
    mesh: Any,
    reference: references.Reference | None,
    kinds: tuple[str, str],
    rng: Rng,
) -> tuple[Laid, tuple[float, float], float] | None:
    """Try to lay part and reference into the view; None where they do not fit."""
    half = np.array([WIDTH, HEIGHT]) / 2 / camera.f_px * camera.height
    for _ in range(12):
        at, heading = rng.uniform(-half, half) * 0.8, float(rng.uniform(0, 360))
        laid = _lay(build, mesh, (float(at[0]), float(at[1])), heading, kinds[0], rng)
        if not _seen(camera, laid.thing.vertices[::5], kinds[1]):
            continue
        if reference is None:
            return laid, (0.0, 0.0), 0.0
        mine = _rectangle(_shadow(camera, laid.thing.vertices[::5]), heading)
        for _ in range(12):
            where, turn = rng.uniform(-half, half) * 0.85, float(rng.uniform(0, 360))
            box = _turned(reference.reach, where, turn)
            top = np.column_stack([box, np.full(4, reference.height)])
            base = np.column_stack([box, np.zeros(4)])
            solid = np.concatenate([base, top])
            theirs = _rectangle(_shadow(camera, solid), turn)
            if _seen(camera, solid, kinds[1]) and _apart(mine, theirs):
                return laid, (float(where[0]), float(where[1])), turn
    return None


def _lay(
    build: parts.Build | None,
    mesh: Any,
    at: tuple[float, float],
    heading: float,
    set_name: str,
    rng: Rng,
) -> Laid:
    if build is None:
        vertices, faces, length, outer = mesh
        psi = np.deg2rad(heading)
        axis = np.array([np.cos(psi), np.sin(psi), 0.0])
        rotation = np.column_stack([[0, 0, -1.0], np.cross(axis, [0, 0, -1.0]), axis])
        origin = np.array([*at, outer / 2]) - axis * length / 2
        pose = Pose(rotation=rotation, origin=origin, incline_deg=0.0)
        thing = Thing(vertices=pose.world(vertices), faces=faces, material="steel")
        return Laid(kind="spring", material="", pose=pose, heading_deg=heading, thing=thing)
    natural = rest(build.part, at=at, heading_deg=heading)
    if set_name == "fall":
        shim = float(rng.normal(0, 0.15))
    else:
        wanted = (
            rng.uniform(-2, 2)
            if set_name == "workshop"
            else np.clip(rng.normal(0, 0.25), -0.5, 0.5)
        )
        shim = float(wanted) - natural.incline_deg
    pose = rest(build.part, at=at, heading_deg=heading, shim_deg=shim)
    vertices, faces = build.part.mesh()
    thing = Thing(vertices=pose.world(vertices), faces=faces, material="steel")
    return Laid(
        kind=build.kind, material="", pose=pose, heading_deg=heading, thing=thing, build=build
    )


def _painted(laid: Laid, material: str, rng: Rng) -> Laid:
    thing = Thing(
        vertices=laid.thing.vertices, faces=laid.thing.faces, material=metal(material, rng)
    )
    return Laid(
        kind=laid.kind,
        material=material,
        pose=laid.pose,
        thing=thing,
        heading_deg=laid.heading_deg,
        build=laid.build,
    )


def _seen(camera: Camera, xyz: np.ndarray, kind: str) -> bool:
    px = camera.project(xyz)
    zoom = 1.7 if kind == "zoom" else 1.0
    half = np.array([WIDTH, WIDE_ROWS if kind == "wide" else HEIGHT]) / 2 / zoom - INSET_PX
    return bool(np.all(np.abs(px - np.array([WIDTH, HEIGHT]) / 2) < half))


def _shadow(camera: Camera, xyz: np.ndarray) -> np.ndarray:
    """Return where points appear on the plate (n, 2), mm: what is tall leans outward."""
    up = camera.position[2]
    return camera.position[:2] + (xyz[:, :2] - camera.position[:2]) * (up / (up - xyz[:, 2:]))


def _turned(box: tuple[float, ...], at: np.ndarray, turn_deg: float) -> np.ndarray:
    x0, y0, x1, y1 = box
    a = np.deg2rad(turn_deg)
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    return corners @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + at


def _rectangle(xyz: np.ndarray, heading_deg: float) -> np.ndarray:
    """Return the corners of the rectangle along the heading around points."""
    a = np.deg2rad(heading_deg)
    axes = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    local = xyz[:, :2] @ axes.T
    (x0, y0), (x1, y1) = local.min(axis=0), local.max(axis=0)
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) @ axes


def _apart(a: np.ndarray, b: np.ndarray) -> bool:
    """Whether two rectangles are at least GAP_MM apart along one of their axes."""
    for box in (a, b):
        for edge in (box[1] - box[0], box[3] - box[0]):
            n = edge / np.hypot(*edge)
            p, q = a @ n, b @ n
            if p.min() - q.max() > GAP_MM or q.min() - p.max() > GAP_MM:
                return True
    return False


def _focused(camera: Camera, set_name: str, height: float, rng: Rng) -> Camera:
    off = float(rng.normal(0, 1.5))
    if set_name == "workshop" and rng.random() < 1 / 3:
        off = float(rng.choice([-1, 1]) * rng.uniform(5, 12))
    return Camera(**{**camera.__dict__, "focus_height": height + off})


def _light(set_name: str, camera: Camera, rng: Rng) -> Light:
    rough = set_name == "workshop"
    flat = rng.random() < {"workshop": 0.3, "fall": 0.5}.get(set_name, 0.0)
    below = float(rng.uniform(100, 250))
    if flat:
        below = float(rng.uniform(0.3, 2.0))
    elif rough or (set_name in ("fall", "nonthread") and rng.random() < 0.5):
        below = float(rng.uniform(20, 90))
    view = camera.axes()[2]
    reach = (camera.position[2] + below) / -view[2]
    middle = camera.position + view * reach
    span = np.array([WIDTH, HEIGHT]) / camera.f_px * reach
    window = rng.uniform(0.95, 1.6 if flat or below < 90 else 1.15)
    off = rng.normal(0, 0.012, 2) * span
    side, way = float(rng.uniform(0.0, 0.08)), float(rng.uniform(0, 2 * np.pi))
    if rough and rng.random() < 0.5:
        side = float(rng.uniform(0.08, 0.3))
    lamps: tuple[Lamp, ...] = ()
    if rough and rng.random() < 0.35:
        turn = rng.uniform(0, 2 * np.pi)
        away = rng.uniform(300, 600)
        half = rng.uniform(60, 140, 2)
        high = float(rng.uniform(300, 700))
        lamps = (
            Lamp(
                at=(float(away * np.cos(turn)), float(away * np.sin(turn)), high),
                half=(float(half[0]), float(half[1])),
                level=float(rng.uniform(2, 7)),
            ),
        )
    room = float(rng.uniform(0.02, 0.09) if rough else rng.uniform(0.01, 0.04))
    size = window * span
    return Light(
        below=below,
        size=(float(size[0]), float(size[1])),
        centre=(float(middle[0] + off[0]), float(middle[1] + off[1])),
        turn_deg=float(rng.normal(0, 1.0)),
        fall=float(rng.uniform(0.05, 0.2)),
        room=room,
        surround=float(rng.uniform(0.03, 0.12)),
        lamps=lamps,
        slope=(side * float(np.cos(way)), side * float(np.sin(way))),
    )


def _around(light: Light, camera: Camera, xyz: np.ndarray) -> Light:
    """Return the light with its window grown until all that lies there is seen whole before it.

    Good practice leaves a finger's width of light around part and reference; the window's border
    is out of focus by as much as the pupil draws it wide.
    """
    ways = (xyz - camera.position) * (
        (camera.position[2] + light.below) / (camera.position[2] - xyz[:, 2:])
    )
    a = np.deg2rad(light.turn_deg)
    axes = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    off = (camera.position[:2] + ways[:, :2] - np.array(light.centre)) @ axes.T
    blurred = camera.pupil * light.below / camera.position[2]
    need = 2 * (np.abs(off).max(axis=0) + GAP_MM + 2 * blurred)
    size = np.maximum(light.size, need)
    return replace(light, size=(float(size[0]), float(size[1])))


#: How far tags of phones are off at 150 to 350 mm, as a standard deviation with tails: some stand
#: 3 to 8 % off, as lenses breathe and corrections crop. A rig whose tags are right to 1 % made
#: every u that hangs on them look too wide.
TAG_OFF = 0.03


def _phone(set_name: str, camera: Camera, kind: str, rng: Rng) -> Phone:
    rough = set_name == "workshop"
    well = float(rng.uniform(4000, 10000))
    lens = Development(
        plate=float(rng.uniform(0.4, 0.9) if rough else rng.uniform(0.45, 0.75)),
        psf_px=float(rng.uniform(0.5, 1.0) if rough else rng.uniform(0.5, 0.75)),
        motion_px=float(rng.uniform(0.5, 2.5)) if rough and rng.random() < 0.25 else 0.0,
        motion_deg=float(rng.uniform(0, 180)),
        vignette=float(rng.uniform(0.03, 0.16)),
        gain=FULL_WELL / well,
        sharpen=float(rng.uniform(0.3, 1.3) if rough else rng.uniform(0.3, 0.8)),
        sharpen_px=1.1,
        contrast=float(rng.choice([0.0, 0.06, 0.12])),
        k1=float(np.clip(rng.normal(0, 0.006), -0.018, 0.018)),
        quality=int(rng.integers(72, 95) if rough else rng.integers(92, 97)),
        orientation=int(rng.choice([1, 6, 8, 3], p=[0.55, 0.32, 0.1, 0.03])),
    )
    zoom = float(rng.uniform(1.15, 1.7)) if kind == "zoom" else 1.0
    wrong = float(np.clip(TAG_OFF / np.sqrt(2) * rng.standard_t(4), -0.12, 0.12))
    long = camera.f35 > 40
    scaled = rng.random() < 0.75
    seen = camera.f35 * (zoom if scaled else 1.0)
    return Phone(
        lens=lens,
        veil=float(rng.uniform(0.008, 0.04 if rough else 0.02)),
        bloom=float(rng.uniform(0.008, 0.025)),
        denoise=float(rng.uniform(0.2, 0.6)),
        white=tuple(rng.normal(1, 0.03, 3).tolist()) if rough else (1.0, 1.0, 1.0),
        wide=kind == "wide",
        zoom=zoom,
        messenger=kind == "messenger",
        f35_tag=None if kind == "messenger" else round(seen * (1 + wrong)),
        focal_mm=None if kind == "messenger" else round(camera.f35 / (2 if long else 1) / 4.55, 3),
        zoom_tag=round((2.0 if long else 1.0) * zoom, 3) if long or kind == "zoom" else None,
    )


def _stated(
    set_name: str,
    kind: str,
    reference: references.Reference | None,
    build: parts.Build | None,
    rng: Rng,
) -> dict[str, Any]:
    """Return the scale as the user states it."""
    if reference is None:
        assert build is not None
        cut = next(iter(build.threads.values()))
        step = float(rng.choice([0.01, 0.02]))
        reading = cut.thread.major + float(rng.normal(0, 0.012))
        return {"source": "major", "mm": round(round(reading / step) * step, 2)}
    mm = reference.mm
    if set_name == "wrongref":
        by = float(rng.uniform(0.10, 0.20)) * (1 if rng.random() < 0.5 else -1)
        mm = mm * (1 + by)
        mm = float(round(mm)) if kind == "pin" else round(mm * 4) / 4
        if mm == reference.mm:
            mm += 1.0
    return {"source": kind, "mm": round(mm, 2)}


def _fibres(set_name: str, camera: Camera, rng: Rng) -> tuple[Fibre, ...]:
    if set_name not in ROUGH or rng.random() > 0.4:
        return ()
    half = np.array([WIDTH, HEIGHT]) / 2 / camera.f_px * camera.height * 0.85
    out = []
    for _ in range(int(rng.integers(1, 5))):
        at = rng.uniform(-half, half)
        out.append(
            Fibre(
                at=(float(at[0]), float(at[1])),
                turn_deg=float(rng.uniform(0, 180)),
                length=float(rng.uniform(2, 9)),
            )
        )
    return tuple(out)
