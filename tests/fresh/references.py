"""References at random: pin, disc, card, caliper jaws; what each is and where its corners are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from samples import place
from samples.forms import Array
from samples.scene import Thing
from samples.solids import Part, Turned
from tests.fresh.materials import metal, plastic

Rng = np.random.Generator
#: Sides of an unused ID-1 card, least and most (ISO/IEC 7810; from memory).
CARD_MM = ((85.47, 85.72), (53.92, 54.03))
EDGE_MM = 0.15
JAW_FACE_MM = 34.0


@dataclass(frozen=True, kw_only=True)
class Reference:
    """One thing of known size; ``reach`` is the box (x0, y0, x1, y1) around it before turning.

    ``mm`` is what is stated of it, by which the true size is ``off_mm`` larger.
    """

    kind: str
    mm: float
    reach: tuple[float, float, float, float]
    material: str
    bsdf: Mapping[str, Any]
    thickness: float = 0.0
    length: float = 0.0
    beam: bool = False
    off_mm: float = 0.0

    @property
    def true_mm(self) -> float:
        return self.mm + self.off_mm

    @property
    def height(self) -> float:
        return self.true_mm if self.kind == "pin" else self.thickness

    def things(self, at: tuple[float, float], turn_deg: float) -> list[Thing]:
        """Return its meshes on the plate."""
        if self.kind == "pin":
            body = place.pin(self.true_mm, self.length)
            pose = place.rest(body, at=at, heading_deg=turn_deg)
            vertices, faces = body.mesh()
            return [Thing(vertices=pose.world(vertices), faces=faces, material=self.bsdf)]
        if self.kind == "disc":
            vertices, faces = disc(self.true_mm, self.thickness).mesh()
            return [Thing(vertices=vertices + (*at, 0.0), faces=faces, material=self.bsdf)]
        outlines = [self._card()] if self.kind == "card" else self._caliper()
        slabs = (place.slab(place.turned(o, turn_deg, at), self.thickness) for o in outlines)
        return [Thing(vertices=v, faces=f, material=self.bsdf) for v, f in slabs]

    def _card(self) -> Array:
        x0, y0, x1, y1 = self.reach
        return place.card(x1 - x0, y1 - y0)

    def _caliper(self) -> list[Array]:
        jaws = [place.jaw(self.true_mm, side, JAW_FACE_MM) for side in (-1, 1)]
        if self.beam:
            x0, _, x1, y1 = self.reach
            y0 = JAW_FACE_MM / 2 - 0.5
            jaws.append(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]))
        return jaws

    def truth(self, at: tuple[float, float], turn_deg: float) -> dict[str, Any]:
        """Return what it is and where."""
        return {
            "kind": self.kind,
            "mm": self.true_mm,
            "thickness_mm": self.thickness,
            "length_mm": self.length,
            "beam": self.beam,
            "centre_mm": list(at),
            "yaw_deg": turn_deg,
            "material": self.material,
        }


def disc(diameter: float, thickness: float) -> Part:
    """Return a disc with rounded edges, its axis upright."""
    a = np.linspace(0, np.pi / 2, 7)
    low = [(EDGE_MM * (1 - np.sin(t)), diameter - 2 * EDGE_MM * (1 - np.cos(t))) for t in a[::-1]]
    high = [(thickness - z, d) for z, d in low[::-1]]
    return Part(segments=(Turned(stations=(*low, *high)),))


def sized(reference: Reference, rng: Rng) -> Reference:
    """Return a reference as true to what is stated of it as such things are.

    Ground pins and drills' shanks are true to 0.01 and 0.02 mm, a caliper is read to 0.012 mm, as
    over a thread's crests (common practice, no source). With references of exactly their size each
    u of theirs looked too wide. A card has its sides drawn; discs are taken as stated.
    """
    off = {"pin": float(rng.uniform(-0.014, 0.014)), "jaws": float(rng.normal(0, 0.012))}
    return replace(reference, off_mm=off.get(reference.kind, 0.0))


def draw(kind: str, rng: Rng) -> Reference:
    """Draw a reference of a kind: pin, disc, card or jaws."""
    if kind == "pin":
        mm, length = float(rng.choice([6, 7, 8, 9, 10, 12])), float(rng.uniform(24, 42))
        material = "black oxide" if rng.random() < 0.12 else str(rng.choice(["pin", "steel"]))
        bsdf = metal("steel" if material == "pin" else material, rng)
        if material == "pin":
            bsdf = bsdf | {"alpha": 0.06}
        box = (-length / 2, -mm / 2, length / 2, mm / 2)
        return Reference(kind=kind, mm=mm, length=length, reach=box, material=material, bsdf=bsdf)
    if kind == "disc":
        mm = round(float(rng.choice([20.0, 21.25, 22.0, 22.25, 23.25, 24.25, 25.0])), 2)
        material = str(rng.choice(["zinc", "nickel", "brass", "dull"]))
        return Reference(
            kind=kind,
            mm=mm,
            thickness=float(rng.uniform(1.5, 2.5)),
            reach=(-mm / 2, -mm / 2, mm / 2, mm / 2),
            material=material,
            bsdf=metal(material, rng),
        )
    if kind == "card":
        w, h = (float(rng.uniform(*side)) for side in CARD_MM)
        return Reference(
            kind=kind,
            mm=85.60,
            thickness=0.76,
            reach=(-w / 2, -h / 2, w / 2, h / 2),
            material="plastic",
            bsdf=plastic(rng),
        )
    gap, beam = round(float(rng.uniform(6, 26)), 2), bool(rng.random() < 0.4)
    half = gap / 2 + 9.0
    reach = (-half, -JAW_FACE_MM / 2, half, JAW_FACE_MM / 2)
    if beam:
        more = float(rng.uniform(0, 22))
        reach = (-half - 2, -JAW_FACE_MM / 2, half + more, JAW_FACE_MM / 2 + rng.uniform(9, 14))
    return Reference(
        kind="jaws",
        mm=gap,
        thickness=float(rng.uniform(3, 4)),
        beam=beam,
        reach=tuple(map(float, reach)),
        material="stainless",  # type: ignore[arg-type]
        bsdf=metal("stainless", rng),
    )
