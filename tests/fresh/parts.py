"""Parts at random: what carries the thread, and things that carry none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from samples.forms import Array
from samples.solids import (
    THETA,
    Faces,
    Flipped,
    Hexagon,
    Part,
    Segment,
    Thread,
    Turned,
    barbs,
    cylinder,
    grid_faces,
)
from tests.fresh.threads import Cut

Rng = np.random.Generator


@dataclass(frozen=True, kw_only=True)
class Build:
    """A part and which of its segments are which threads."""

    kind: str
    part: Part
    threads: dict[int, Cut]


def _u(rng: Rng, low: float, high: float) -> float:
    return float(rng.uniform(low, high))


def _hexagon(rng: Rng, d: float, low: float = 0.35, high: float = 0.8) -> Hexagon:
    flats = round(max(d * _u(rng, 1.15, 1.65), d + 2.0))
    return Hexagon(length=max(2.5, d * _u(rng, low, high)), across_flats=float(flats))


def _relief(rng: Rng, cut: Cut) -> Turned:
    t = cut.thread
    d = t.major if rng.random() < 0.5 else 2 * t.minor_radius - 0.1
    return Turned(stations=((0, d), (_u(rng, 0.5, 1.5) * t.pitch, d)))


def stud(cut: Cut, rng: Rng) -> Build:
    """Thread and a plain shank, or thread to the end."""
    d = cut.thread.major
    segments: list[Segment] = [cut.thread]
    if rng.random() < 0.75:
        segments.append(cylinder(d * _u(rng, 0.4, 1.6), d * _u(rng, 0.85, 1.0), 0.04 * d))
    return Build(kind="stud", part=Part(segments=tuple(segments)), threads={0: cut})


def screw(cut: Cut, rng: Rng) -> Build:
    """Thread, shank, hexagonal or round head."""
    d = cut.thread.major
    head: Segment = _hexagon(rng, d, 0.5, 0.75)
    if rng.random() < 0.3:
        head = cylinder(d * _u(rng, 0.6, 1.0), d * _u(rng, 1.4, 1.7), 0.05 * d)
    shank = cylinder(d * _u(rng, 0.15, 1.0), d * _u(rng, 0.9, 1.0), 0.02)
    return Build(kind="screw", part=Part(segments=(cut.thread, shank, head)), threads={0: cut})


def sender(cut: Cut, rng: Rng) -> Build:
    """Probe or none, thread, relief, hexagon, head, terminal or none."""
    d, segments = cut.thread.major, []
    small = 2 * (cut.thread.minor_radius - cut.thread.taper / 2 * cut.thread.thread_length)
    at = 0
    if rng.random() < 0.4:
        segments.append(cylinder(_u(rng, 4, 14), small * _u(rng, 0.4, 0.85), 0.2))
        at = 1
    segments += [cut.thread, _relief(rng, cut), _hexagon(rng, d)]
    segments.append(cylinder(_u(rng, 0.4, 1.3) * d, d * _u(rng, 0.7, 1.2), 0.3))
    if rng.random() < 0.4:
        segments.append(cylinder(_u(rng, 3, 9), d * _u(rng, 0.2, 0.4), 0.2))
    return Build(kind="sender", part=Part(segments=tuple(segments)), threads={at: cut})


def nipple(cut: Cut, rng: Rng) -> Build:
    """Thread, hexagon, pipe."""
    d = cut.thread.major
    pipe = cylinder(d * _u(rng, 0.4, 1.5), d * _u(rng, 0.55, 0.95), 0.25)
    return Build(
        kind="nipple", part=Part(segments=(cut.thread, _hexagon(rng, d), pipe)), threads={0: cut}
    )


def plug(cut: Cut, rng: Rng) -> Build:
    """Thread, flange or none, flat hexagon."""
    d = cut.thread.major
    segments: list[Segment] = [cut.thread, _relief(rng, cut)]
    if rng.random() < 0.5:
        segments.append(cylinder(_u(rng, 1.5, 3), d * _u(rng, 1.25, 1.5), 0.2))
        flats = float(max(round(d * _u(rng, 0.7, 1.0)), 5))
        segments.append(Hexagon(length=d * _u(rng, 0.25, 0.45), across_flats=flats))
    else:
        segments.append(_hexagon(rng, d, 0.25, 0.45))
    return Build(kind="plug", part=Part(segments=tuple(segments)), threads={0: cut})


def tail(cut: Cut, rng: Rng) -> Build:
    """Thread, hexagon, hose barbs."""
    d = cut.thread.major
    bore = d * _u(rng, 0.5, 0.9)
    ribs = Flipped(barbs(int(rng.integers(2, 6)), _u(rng, 3, 5), bore, _u(rng, 0.4, 0.9)))
    return Build(
        kind="hose tail", part=Part(segments=(cut.thread, _hexagon(rng, d), ribs)), threads={0: cut}
    )


def union(cut: Cut, other: Cut, rng: Rng) -> Build:
    """Thread, hexagon, thread."""
    d = max(cut.thread.major, other.thread.major)
    segments = (cut.thread, _hexagon(rng, d), Flipped(other.thread))
    return Build(kind="union", part=Part(segments=segments), threads={0: cut, 2: other})


SINGLE: dict[str, tuple[float, Callable[[Cut, Rng], Build]]] = {
    "stud": (0.25, stud),
    "screw": (0.18, screw),
    "sender": (0.2, sender),
    "nipple": (0.14, nipple),
    "plug": (0.12, plug),
    "hose tail": (0.11, tail),
}


def single(cut: Cut, rng: Rng) -> Build:
    """Draw a part with one thread; a short fat one is a stud or a plug."""
    names = list(SINGLE)
    weight = [SINGLE[n][0] for n in names]
    if cut.thread.length < cut.thread.major:
        weight = [
            w * (2.0 if n in ("stud", "plug") else 0.7) for w, n in zip(weight, names, strict=True)
        ]
    chosen = names[int(rng.choice(len(names), p=np.array(weight) / sum(weight)))]
    return SINGLE[chosen][1](cut, rng)


# ---- what is no thread ----------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Knurl:
    """A knurled stretch: diamond (both hands) or straight."""

    length: float
    diameter: float
    pitch: float
    depth: float
    angle_deg: float

    def rings(self) -> tuple[Array, Array]:
        z = np.linspace(0, self.length, max(8, int(self.length / self.pitch * 24)))[:, None]
        n = round(np.pi * self.diameter / self.pitch)
        twist = z * np.tan(np.deg2rad(self.angle_deg)) / (self.diameter / 2)
        a = np.abs(((n * (THETA + twist) / (2 * np.pi)) % 1) - 0.5) * 2
        b = np.abs(((n * (THETA - twist) / (2 * np.pi)) % 1) - 0.5) * 2
        return z * np.ones_like(THETA), self.diameter / 2 - self.depth * np.maximum(a, b)


def rings(count: int, step: float, diameter: float, depth: float, land: float) -> Turned:
    """Return a stretch with square or V grooves: ``land`` is the share that is not groove."""
    s: list[tuple[float, float]] = []
    for i in range(count):
        z = i * step
        s += [(z, diameter), (z + land * step, diameter)]
        s += [(z + (land + 0.05) * step, diameter - 2 * depth)]
        s += [(z + 0.95 * step, diameter - 2 * depth)]
    return Turned(stations=(*s, (count * step, diameter), (count * step + 0.5, diameter)))


@dataclass(frozen=True, kw_only=True)
class Spline:
    """Teeth along the axis."""

    length: float
    diameter: float
    teeth: int
    depth: float

    def rings(self) -> tuple[Array, Array]:
        t = (self.teeth * THETA / (2 * np.pi)) % 1
        rise = np.clip(4 * (0.5 - np.abs(t - 0.5)) - 0.5, 0, 1)
        z = np.array([0, self.length])[:, None]
        r = self.diameter / 2 - self.depth * (1 - rise)
        return z * np.ones_like(THETA), np.ones_like(z) * r


def no_thread(rng: Rng) -> Build:
    """Draw a knurled, ringed, splined or barbed part."""
    d = _u(rng, 6, 22)
    kind = str(rng.choice(["knurl", "rings", "spline", "hose barbs"]))
    body: Segment
    if kind == "knurl":
        pitch = _u(rng, 0.8, 2)
        body = Knurl(
            length=_u(rng, 8, 22),
            diameter=d,
            pitch=pitch,
            depth=0.3 * pitch,
            angle_deg=float(rng.choice([0, 30, 45])),
        )
    elif kind == "rings":
        step = _u(rng, 1.2, 4)
        body = rings(int(rng.integers(5, 12)), step, d, step * _u(rng, 0.2, 0.5), _u(rng, 0.3, 0.6))
    elif kind == "spline":
        body = Spline(
            length=_u(rng, 10, 22),
            diameter=d,
            teeth=int(rng.integers(8, 30)),
            depth=_u(rng, 0.4, 1.2),
        )
    else:
        body = barbs(int(rng.integers(4, 9)), _u(rng, 2, 5), d, _u(rng, 0.4, 0.9))
    segments: tuple[Segment, ...] = (body, _hexagon(rng, d), cylinder(_u(rng, 6, 14), 0.8 * d))
    if rng.random() < 0.3:
        segments = (body, cylinder(_u(rng, 6, 14), 0.8 * d))
    return Build(kind=kind, part=Part(segments=segments), threads={})


def spring(rng: Rng) -> tuple[Array, Faces, float, float]:
    """Return a coil spring along local z: vertices, triangles, its length and outer diameter."""
    coils, step = _u(rng, 5, 12), _u(rng, 1.6, 4)
    wire = step * _u(rng, 0.3, 0.7)
    radius = _u(rng, 4, 11)
    t = np.linspace(0, 2 * np.pi * coils, int(120 * coils))
    a = np.linspace(0, 2 * np.pi, 33)
    r = radius + wire / 2 * np.cos(a)[None, :]
    z = (step * t / (2 * np.pi))[:, None] + wire / 2 * np.sin(a)[None, :] + wire / 2
    xyz = np.stack([r * np.cos(t)[:, None], r * np.sin(t)[:, None], z], -1)
    faces = grid_faces(len(t), len(a))[:, ::-1]
    return xyz.reshape(-1, 3), faces, step * coils + wire, 2 * radius + wire


def square_thread(rng: Rng) -> Build:
    """Draw a part with a square thread, which no series here has."""
    from samples.forms import Form

    p = _u(rng, 1.6, 3.2)
    d = _u(rng, 9, 24)
    form = Form(angle_deg=8, crest=0.25, root=0.25)
    thread = Thread(
        form=form,
        pitch=p,
        thread_length=p * _u(rng, 4, 9),
        major=d,
        run_out=p,
        phase_deg=_u(rng, 0, 360),
    )
    return stud(Cut(name="square", thread=thread, worn_mm=0.0), rng)
