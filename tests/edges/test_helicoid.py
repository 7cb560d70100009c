"""Rays that meet a thread: against a mesh and a general-purpose library's ray caster."""

import numpy as np
import pytest
import trimesh
from scipy.optimize import approx_fprime
from scipy.signal import sawtooth

from pitchcam.edges.helicoid import Helicoid

PITCH, RADIUS = 1.5, 6.5
THREAD = Helicoid(
    pitch=PITCH,
    advance=PITCH / (2 * np.pi),
    tan_half=(np.tan(np.radians(30)),) * 2,
    pitch_radius=RADIUS,
    half_taper=0.03,
    crest=RADIUS + 0.45,
    root=RADIUS - 0.4,
)
PHASE = 0.4


def mesh(side):
    """The same thread as triangles: x, y, z of the mesh are the frame's z, y, x.

    As much of it as the rays pass that graze the + or the - side.
    """
    z = np.linspace(-4.5, 4.5, 1201)
    theta = np.radians(np.linspace(-50, 50, 201) + (0.0 if side > 0 else 180.0))
    z, theta = np.meshgrid(z, theta, indexing="ij")
    # A triangle wave of period P, 0 in a ridge's middle and P / 2 in the groove's.
    turns = 2 * np.pi * ((z - PHASE) / PITCH - theta / (2 * np.pi))
    off = PITCH / 4 * (1 - sawtooth(turns + np.pi, 0.5))
    r = np.clip(RADIUS + (PITCH / 4 - off) * np.sqrt(3), THREAD.root, THREAD.crest) + 0.03 * z
    vertices = np.stack([z, r * np.cos(theta), r * np.sin(theta)], axis=-1)
    rows, columns = z.shape
    i = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    faces = np.concatenate(
        [np.stack([i, i + 1, i + columns], 1), np.stack([i + 1, i + columns + 1, i + columns], 1)]
    )
    return trimesh.Trimesh(vertices.reshape(-1, 3), faces, process=False)


def rays(side, count=60):
    """Rays from a pinhole that graze the + or the - side, as (start, way), each (3, n)."""
    rng = np.random.default_rng(5)
    aim = np.stack(
        [rng.uniform(-4, 4, count), side * rng.uniform(6.2, 6.9, count), np.zeros(count)]
    )
    way = aim - np.array([[9.0], [4.0], [190.0]])
    return aim, way / np.linalg.norm(way, axis=0)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_first_hit_is_a_meshs(side: float) -> None:
    start, way = rays(side)
    n = start.shape[1]
    # The half plane of the - side lies half a turn on, where the ridge is half a lead further.
    phase = np.full(n, PHASE if side > 0 else PHASE + PITCH / 2)
    steps = np.linspace(-5, 5, 400)
    far = THREAD.first_hit(start, way, phase, np.full(n, side), steps)
    origins = (start - 5 * way).T
    at, ray, _ = mesh(side).ray.intersects_location(origins, way.T, multiple_hits=True)
    reached = np.full(n, np.inf)
    np.minimum.at(reached, ray, np.linalg.norm(at - origins[ray], axis=1) - 5)
    # Behind the thread's other side, and beyond the steps, nothing is looked for.
    reached[reached > 5] = np.inf
    assert 10 < np.isfinite(reached).sum() < n
    assert np.array_equal(np.isfinite(far), np.isfinite(reached))
    hit = np.isfinite(far)
    # Where a ray grazes, a facet's 2 um of height are some 50 um along the ray.
    assert np.abs(far[hit] - reached[hit]).max() < 0.06
    assert np.median(np.abs(far[hit] - reached[hit])) < 0.005


def test_normal_is_the_clearances_slope() -> None:
    start, way = rays(1.0)
    n = start.shape[1]
    phase, side = np.full(n, PHASE), np.ones(n)
    far = THREAD.first_hit(start, way, phase, side, np.linspace(-5, 5, 400))
    hit = np.isfinite(far)
    at = start[:, hit] + far[hit] * way[:, hit]
    normal = THREAD.normal(at, phase[hit], side[hit])
    assert np.linalg.norm(normal, axis=0) == pytest.approx(1.0)
    for point, found in zip(at.T, normal.T, strict=True):
        slope = approx_fprime(
            point, lambda p: THREAD.clearance(p[:, None], phase[:1], side[:1])[0], 1e-7
        )
        assert found == pytest.approx(slope / np.linalg.norm(slope), abs=2e-5)


def test_a_ray_that_passes_is_told() -> None:
    start = np.array([[0.0], [8.0], [0.0]])
    way = np.array([[0.0], [0.0], [-1.0]])
    far = THREAD.first_hit(start, way, np.zeros(1), np.ones(1), np.linspace(-5, 5, 100))
    assert np.isinf(far[0])
