"""Light traced beside edges: against rays in a plane, and against facets drawn by lot."""

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.flank_light import SLOPES, LitPanel, Traced, trace
from pitchcam.edges.helicoid import Helicoid
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.frame import axis_frame
from tests.objects import drawing

F, PLATE, HEIGHT, RADIUS, BEHIND = 4000.0, 206.0, 6.0, 6.0, 250.0
CAMERA = Camera(f_px=F, u_f_px=40.0, centre_px=(2000.0, 1500.0), distance_mm=PLATE)
AXIS = ImageAxis(point_px=(2000.0, 1500.0), direction=(1.0, 0.0))
FRAME = axis_frame(CAMERA, AXIS, 0.0, HEIGHT)
CYLINDER = Helicoid(
    pitch=1.5,
    advance=0.24,
    tan_half=(0.577, 0.577),
    pitch_radius=RADIUS,
    half_taper=0.0,
    crest=RADIUS,
    root=RADIUS,
)


def panel(half_mm: float, behind=(BEHIND, 2 * BEHIND)) -> LitPanel:
    """A panel lit over 2 half_mm across the axis, far along it, as its border is seen."""
    y = F * half_mm / (PLATE + BEHIND)
    corners = np.array([(0, 1500 - y), (4000, 1500 - y), (4000, 1500 + y), (0, 1500 + y)], float)
    return LitPanel(frame=FRAME, corners_px=corners, behind_mm=np.array(behind))


def test_what_lies_straight_below_is_lit_up_to_the_border() -> None:
    lit = panel(60.0)
    way = np.tile([[0.0], [0.0], [-1.0]], 3)
    at = np.array([[0, 0, 0], [0.0, 60.0, 90.0], [0, 0, 0]])
    rays = lit.rays(at, way)
    assert lit.lit(rays, 0) == pytest.approx([1.0, 0.5, 0.0], abs=1e-6)
    # Twice as far behind, the same window is larger.
    assert lit.lit(rays, 1) == pytest.approx([1.0, 1.0, 0.6], abs=0.1)
    assert (lit.lit(lit.rays(at, -way), 0) == 0).all()


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("half_mm", [60.0, 120.0])
def test_smooth_cylinder_is_what_rays_in_a_plane_show(side: float, half_mm: float) -> None:
    reach = PLATE - HEIGHT
    edge = F * np.tan(np.arcsin(RADIUS / reach))
    depth = np.array([0.3, 0.7, 1.5, 3.0, 6.0, 10.0])
    targets = np.stack([np.zeros(6), side * (edge - depth) / F * reach], axis=-1)[None]
    found = trace(CYLINDER, targets, np.zeros(1), np.full(1, side), panel(half_mm))
    smooth = int(np.flatnonzero(SLOPES == 0)[0])
    rays = drawing.traced_rim(
        edge - depth,
        RADIUS,
        f_px=F,
        distance_mm=reach,
        behind_mm=BEHIND + HEIGHT,
        half_mm=half_mm,
        share=lambda a: 1 + 0 * a,
    )
    clear = np.abs(found.direct[0][0, :, smooth] - 0.5) > 0.45
    assert clear.sum() >= 5
    assert found.direct[0][0, clear, smooth] == pytest.approx(rays[clear], abs=0.05)
    # A ray at the depth d grazes the circle at sqrt(2 d / r), to second order.
    expected = np.sqrt(2 * depth / F * reach / RADIUS)
    assert found.grazing[0] == pytest.approx(expected, rel=0.05)
    assert len(found.onward) == 2 and not any(light.any() for light in found.onward[:])


def test_a_flank_deep_in_the_groove_sees_the_next_ridge() -> None:
    thread = Helicoid(
        pitch=1.5,
        advance=0.24,
        tan_half=(0.577, 0.577),
        pitch_radius=RADIUS,
        half_taper=0.0,
        crest=RADIUS + 0.4,
        root=RADIUS - 0.4,
    )
    depth = np.linspace(0.02, 0.3, 12)
    # Along the picture's normal of a + flank, from points high and low on it.
    shares = []
    for height in (0.3, -0.3):
        z = 1.5 / 4 - height * 0.577
        along = np.array([-np.sin(np.radians(60)), -0.5])
        targets = np.array([z, RADIUS + height]) + depth[:, None] * along
        found = trace(thread, targets[None], np.zeros(1), np.ones(1), panel(150.0))
        shares.append(found.direct[0].sum() / max((found.grazing > 0).sum(), 1))
        blocked = found.onward[0].sum()
    assert shares[1] < 0.8 * shares[0]
    assert blocked > 0
    assert (found.second[found.onward[0] > 0] > 0).all()


@pytest.mark.parametrize("roughness", [0.06, 0.12, 0.2])
@pytest.mark.parametrize("grazing", [0.02, 0.1, 0.25])
def test_facets_weigh_as_those_drawn_by_lot(roughness: float, grazing: float) -> None:
    last, loss = 0.24, 0.6
    rng = np.random.default_rng(3)
    angle = grazing + rng.normal(0, roughness / np.sqrt(2), 200_000)
    # A facet is seen in proportion to the sine of its angle; one that turns away is not.
    weight = np.clip(np.sin(angle), 0, None)
    drawn = np.sum(weight * (angle < last) * (1 - loss * angle / (angle + 0.12))) / weight.sum()
    # The border is as soft as the facets are apart.
    soft = np.clip(0.5 + (last - grazing - SLOPES) / 0.03, 0, 1)
    found = Traced(
        grazing=np.array([[grazing]]),
        direct=np.tile(soft, (2, 1, 1, 1)),
        onward=np.zeros((2, 1, 1, len(SLOPES))),
        second=np.zeros((1, 1, len(SLOPES))),
    )
    assert found.light(loss, roughness, 0.5)[0, 0] == pytest.approx(drawn, abs=0.025)


def test_light_lies_between_the_panels_distances() -> None:
    rest = SimpleNamespace(shape=(2, 1, 1, len(SLOPES)))
    direct = np.zeros(rest.shape)
    direct[1] = 1.0
    one = Traced(
        grazing=np.array([[0.1]]),
        direct=direct,
        onward=np.zeros(rest.shape),
        second=np.zeros(rest.shape[1:]),
    )
    low, half, high = (one.light(0.5, 0.1, p)[0, 0] for p in (0.0, 0.5, 1.0))
    assert low == 0
    assert half == pytest.approx(high / 2, rel=0.01)
