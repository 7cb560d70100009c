"""Several photos of one part: laid, turned end for end, rolled and nearer, another reference.

What a phone, a bench and a part keep from photo to photo (lens, panel, metal, threads, the
reference of the first three) is drawn once for each part; where things lie, how the phone is held
and the noise are new with each photo.
"""

from __future__ import annotations

import zlib
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from samples.scene import Camera
from tests.fresh import draw, references
from tests.fresh.draw import Fresh, Rng

#: Photos of each part, one after the other: photo ``index`` is of part ``index // PHOTOS``.
PHOTOS = 4
#: How a photo differs from the first: turn of the heading, roll about the axis (by thirds, since
#: hexagons lie on their flats) and the phone's distance.
HEADING_DEG, ROLL_DEG, NEARER = (0.0, 180.0, 180.0, 0.0), (0.0, 0.0, 120.0, 240.0), (1, 1, 0.87, 1)
#: How evenly a part is laid again, degrees, and of how many placings one must fit the view.
TURN_DEG, TRIES = 25.0, 400
FAR_MM = (150.0, 330.0)


def again(seed: int, index: int) -> Fresh:
    """Draw photo ``index`` of a seed; photos of one part have indices in a row."""
    part, number = divmod(index, PHOTOS)
    chance = 0
    # Too large for one of the views drawn: the next chance of the same part, for all its photos.
    while (photos := _series(seed, part, chance)) is None:
        chance += 1
    return photos[number]


@lru_cache(maxsize=2)
def _series(seed: int, part: int, chance: int) -> list[Fresh] | None:
    stream = [zlib.crc32(b"again"), seed, part, chance]
    lasting = np.random.default_rng(stream)
    build, mesh, material = draw._what("good", lasting)
    kinds = [str(k) for k in lasting.permutation(["pin", "disc", "card", "jaws"])[:2]]
    true = np.random.default_rng([zlib.crc32(b"size"), seed, part])
    of_part = [references.sized(references.draw(kind, lasting), true) for kind in kinds]
    camera = draw._camera("good", build, lasting)
    heading = float(lasting.uniform(0, 360))
    light = draw._light("good", camera, lasting)
    phone = draw._phone("good", camera, "", lasting)
    painting = int(lasting.integers(2**31))
    photos = []
    for number in range(PHOTOS):
        rng = np.random.default_rng([*stream, 1 + number])
        reference = of_part[number == PHOTOS - 1]
        for _ in range(TRIES):
            held = _held(camera, number, rng)
            if draw._px_per_pitch(held, build, "") < draw.LEAST_PX:
                continue
            wanted = heading + HEADING_DEG[number] + float(rng.uniform(-TURN_DEG, TURN_DEG))
            placed = _placed(held, (build, mesh), reference, wanted, rng)
            if placed is not None:
                break
        else:
            return None
        laid, at, turn = placed
        laid = _rolled(laid, ROLL_DEG[number])
        held = draw._focused(held, "good", laid.pose.axis_height(draw._middle(build)), rng)
        laid = draw._painted(laid, material, np.random.default_rng(painting))
        solids = [laid.thing.vertices[::5], *(t.vertices for t in reference.things(at, turn))]
        photos.append(
            Fresh(
                name=f"again{seed}-{PHOTOS * part + number:03d}",
                set="again",
                laid=laid,
                camera=held,
                light=draw._around(light, held, np.concatenate(solids)),
                phone=phone,
                reference=reference,
                reference_at=at,
                reference_deg=turn,
                stated={"source": reference.kind, "mm": round(reference.mm, 2)},
                seed=int(rng.integers(2**31)),
            )
        )
    return photos


def _held(camera: Camera, number: int, rng: Rng) -> Camera:
    """Return the same phone, held again."""
    tilt, way = float(rng.uniform(0, 2.0)), float(rng.uniform(0, 2 * np.pi))
    height = camera.height * float(NEARER[number]) * float(rng.uniform(0.97, 1.03))
    return replace(
        camera,
        height=float(np.clip(height, *FAR_MM)),
        tilt_deg=(tilt * float(np.cos(way)), tilt * float(np.sin(way))),
    )


def _placed(
    camera: Camera,
    part: tuple[Any, Any],
    reference: references.Reference,
    heading_deg: float,
    rng: Rng,
) -> tuple[draw.Laid, tuple[float, float], float] | None:
    """Lay part and reference into the view; None where they do not fit."""
    half = np.array([draw.WIDTH, draw.HEIGHT]) / 2 / camera.f_px * camera.height
    at = rng.uniform(-half, half) * 0.6
    laid = draw._lay(*part, (float(at[0]), float(at[1])), heading_deg, "good", rng)
    if not draw._seen(camera, laid.thing.vertices[::5], ""):
        return None
    mine = draw._rectangle(draw._shadow(camera, laid.thing.vertices[::5]), heading_deg)
    for _ in range(12):
        where, turn = rng.uniform(-half, half) * 0.85, float(rng.uniform(0, 360))
        box = draw._turned(reference.reach, where, turn)
        solid = np.concatenate(
            [np.column_stack([box, np.full(4, high)]) for high in (0.0, reference.height)]
        )
        theirs = draw._rectangle(draw._shadow(camera, solid), turn)
        if draw._seen(camera, solid, "") and draw._apart(mine, theirs):
            return laid, (float(where[0]), float(where[1])), turn
    return None


def _rolled(laid: draw.Laid, roll_deg: float) -> draw.Laid:
    """Return the part rolled about its own axis, where it lies."""
    a = np.deg2rad(roll_deg)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    local = (laid.thing.vertices - laid.pose.origin) @ laid.pose.rotation
    thing = replace(laid.thing, vertices=laid.pose.world(local @ turn.T))
    return replace(laid, thing=thing)
