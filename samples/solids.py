"""Turned and threaded parts as meshes: each part is one grid of rings from its tip to its back.

The part's axis is local z. Every segment gives rings (z, r) over one common set of angles, so the
mesh closes without joints. Angle 0 is the side on which the part lies; a hexagon has a flat there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from samples.forms import Array, Form

Faces = NDArray[np.int64]

#: 0.5 degree per facet: the sagitta of a 20 mm radius is 0.2 um.
COLUMNS = 720
THETA: Array = np.linspace(0, 2 * np.pi, COLUMNS + 1)


class Segment(Protocol):
    """One stretch of a part along its axis."""

    @property
    def length(self) -> float: ...

    def rings(self) -> tuple[Array, Array]:
        """Return z and r, each (rows, COLUMNS + 1), z from 0 to ``length``."""
        ...


@dataclass(frozen=True, kw_only=True)
class Turned:
    """A turned stretch: straight lines between (z, diameter) stations."""

    stations: tuple[tuple[float, float], ...]

    @property
    def length(self) -> float:
        return self.stations[-1][0]

    def rings(self) -> tuple[Array, Array]:
        s = np.array(self.stations, float)
        one = np.ones_like(THETA)
        return s[:, :1] * one, s[:, 1:] / 2 * one


def cylinder(length: float, diameter: float, edge: float = 0.3) -> Turned:
    """Return a cylinder with 45 degree edge breaks of the given size."""
    e = edge
    return Turned(
        stations=(
            (0, diameter - 2 * e),
            (e, diameter),
            (length - e, diameter),
            (length, diameter - 2 * e),
        )
    )


def barbs(count: int, step: float, bore: float, rise: float) -> Turned:
    """Return a hose tail: cones that rise toward the part, each with a steep back."""
    stations: list[tuple[float, float]] = []
    for i in range(count):
        stations += [(i * step, bore), (i * step + 0.88 * step, bore + 2 * rise)]
        stations += [(i * step + 0.93 * step, bore + 2 * rise)]
    return Turned(stations=(*stations, (count * step, bore)))


@dataclass(frozen=True, kw_only=True)
class Hexagon:
    """A hexagon with its corners turned off at 30 degrees on both faces; ``turn_deg`` turns it."""

    length: float
    across_flats: float
    turn_deg: float = 0.0

    def rings(self) -> tuple[Array, Array]:
        half = self.across_flats / 2
        turn = (THETA + np.deg2rad(self.turn_deg) + np.pi / 6) % (np.pi / 3) - np.pi / 6
        flat = half / np.cos(turn)
        corner = half / np.cos(np.pi / 6)
        deep = (corner - 0.98 * half) * np.tan(np.pi / 6)
        z = np.concatenate([np.linspace(0, deep, 12), self.length - np.linspace(deep, 0, 12)])
        edge = np.minimum(z, self.length - z)[:, None]
        cone = 0.98 * half + edge / np.tan(np.pi / 6)
        return z[:, None] * np.ones_like(THETA), np.minimum(flat, cone)


@dataclass(frozen=True, kw_only=True)
class Nick:
    """A dent in a crest: position along the axis, angle, depth and radius, mm and degrees."""

    z: float
    angle_deg: float
    depth: float
    radius: float


@dataclass(frozen=True, kw_only=True)
class Thread:
    """An external right-hand thread, exact to its form, from the tip (small end) to its run-out.

    ``major`` is the diameter over the crests at ``length`` from the tip (the large end of a
    taper). ``crest_cut`` takes that much more off each crest radially than the form does, as wear
    or a small blank does; the flanks stay. In the run-out the tool leaves the work over
    ``run_out`` mm. ``phase_deg`` (0 to 360) turns the helix.
    """

    form: Form
    pitch: float
    thread_length: float
    major: float
    taper: float = 0.0
    starts: int = 1
    chamfer: float | None = None
    run_out: float = 0.0
    crest_cut: float = 0.0
    phase_deg: float = 0.0
    nicks: tuple[Nick, ...] = ()

    @property
    def length(self) -> float:
        return self.thread_length + self.run_out

    @property
    def pitch_radius(self) -> float:
        """At the large end."""
        return self.major / 2 + self.crest_cut - self.form.crest_height * self.pitch

    @property
    def minor_radius(self) -> float:
        return self.pitch_radius - self.form.root_depth * self.pitch

    def rings(self) -> tuple[Array, Array]:
        p, lead = self.pitch, self.pitch * self.starts
        advance = lead * (THETA / (2 * np.pi) + self.phase_deg / 360)
        turns = int(np.ceil(self.length / p)) + 1
        knots = (np.arange(-2 * self.starts, turns)[:, None] + self.form.knots()).ravel() * p
        z = np.clip(knots[:, None] + advance, 0, self.length)
        return z, self.radius(z, advance)

    def radius(self, z: Array, advance: Array) -> Array:
        """Radius at z of the column whose helix has advanced by ``advance`` mm."""
        slope = self.taper / 2 * (z - self.thread_length)
        form = self.form.height((z - advance) / self.pitch) * self.pitch
        crest = self.major / 2 + slope
        rise = np.maximum(z - self.thread_length, 0)
        if self.run_out:
            rise = rise * (self.form.depth * self.pitch / self.run_out)
        r = np.minimum(self.pitch_radius + slope + form + rise, crest)
        chamfer = self.form.depth * self.pitch if self.chamfer is None else self.chamfer
        tip = self.major / 2 - self.taper / 2 * self.thread_length - chamfer
        r = np.minimum(r, tip + z)
        for n in self.nicks:
            along = (THETA - np.deg2rad(n.angle_deg) + np.pi) % (2 * np.pi) - np.pi
            d2 = (z - n.z) ** 2 + (self.major / 2 * along) ** 2
            r = r - n.depth * np.exp(-d2 / (2 * n.radius**2))
        return r


@dataclass(frozen=True, kw_only=True)
class Part:
    """A part from its tip to its back."""

    segments: tuple[Segment, ...]

    def starts_at(self) -> list[float]:
        """Return the axial position at which each segment begins."""
        return [sum(s.length for s in self.segments[:i]) for i in range(len(self.segments))]

    def rings(self) -> tuple[Array, Array]:
        """Return z and r of all rings, closed by a point at either end."""
        zs, rs = [np.zeros((1, COLUMNS + 1))], [np.zeros((1, COLUMNS + 1))]
        for start, segment in zip(self.starts_at(), self.segments, strict=True):
            z, r = segment.rings()
            zs.append(z + start)
            rs.append(r)
        end = sum(s.length for s in self.segments)
        zs.append(np.full((1, COLUMNS + 1), end))
        rs.append(np.zeros((1, COLUMNS + 1)))
        return np.concatenate(zs), np.concatenate(rs)

    def mesh(self) -> tuple[Array, Faces]:
        """Return vertices (n, 3) and triangles (m, 3), facing outward."""
        z, r = self.rings()
        xyz = np.stack([r * np.cos(THETA), r * np.sin(THETA), z], axis=-1)
        return xyz.reshape(-1, 3), grid_faces(*z.shape)


@dataclass(frozen=True)
class Flipped:
    """A segment turned end for end; the hand of its thread stays right."""

    of: Segment

    @property
    def length(self) -> float:
        return self.of.length

    def rings(self) -> tuple[Array, Array]:
        z, r = self.of.rings()
        return self.of.length - z[::-1, ::-1], r[::-1, ::-1]


def grid_faces(rows: int, columns: int) -> Faces:
    """Return the triangles of a grid of rows by columns vertices."""
    i = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = i[:-1, :-1], i[:-1, 1:], i[1:, :-1], i[1:, 1:]
    return np.concatenate(
        [np.stack([a, b, d], -1).reshape(-1, 3), np.stack([a, d, c], -1).reshape(-1, 3)]
    )
