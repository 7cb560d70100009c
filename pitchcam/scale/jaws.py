"""Scale from caliper jaws opened to a reading.

A jaw's face stands upright on the plate. Seen from the camera's foot outward it is hidden, and its
upper edge makes the outline; seen toward the foot it shows, and the outline is its lower edge,
beside which the face mirrors the panel up to the upper edge. What both outlines are apart is thus
the reading only together with the jaws' thickness and the slant under which they are seen, and the
width of the lit wall tells of both. All is fitted at once to the light across both faces.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.lines import Segment, line_profiles
from pitchcam.edges.walls import MOST_LIGHT, U_LIGHT, U_MOST_LIGHT, wall_light
from pitchcam.frozen import dataclass
from pitchcam.objects.shapes import Shape
from pitchcam.records import ScaleSpec
from pitchcam.reference_kinds import U_CALIPER_MM
from pitchcam.scale.beam import told_by_beam
from pitchcam.scale.faces import Face, Opening, openings
from pitchcam.scale.reference import Among, Reference
from pitchcam.scale.tilt import told_by_parallels
from pitchcam.small import median, medians

Points = NDArray[np.float64]

#: Thickness of a caliper's jaws at their measuring faces where it is not stated: 3 to 4 mm, of one
#: caliper in ten, a small one, 2.5 to 3 (common practice, no source), evenly between the ends.
THICKNESS_MM = 3.42
U_THICKNESS_MM = 0.36
#: That of a stated one.
U_STATED_MM = 0.1
#: The faces are parallel to 0.02 mm over their length (ISO 13385-1, from memory: the sliding jaw
#: turns in its play); and how far the difference of their edges' distances at both ends may be off
#: by its light, pixels (judgement; 31 openings in renders were 0.11 off, distortion included).
U_PARALLEL_MM, U_CONVERGE_PX = 0.02 / np.sqrt(3), 0.12
#: Blur of the photo's edges in pixels (one in focus; the usual spread of focus).
BLUR_PX = (1.0, 0.4)
#: Both faces lie at one height and are drawn by one lens: their blurs are alike to this share
#: (common practice, no source: a lens's sharpness over a tenth of its field).
U_BLURS = 0.05
#: What a face's edge is good to by itself, pixels: dirt, denoising, sharpening that is not undone
#: to the end. Without it a shoulder of the light passes for a second, bright wall.
U_EDGE_PX = 0.1
#: How far a wall's light may go from that of an explanation that is followed: one wall is as dark
#: as the part or as bright as the panel, and from one to the other the depth moves by a percent.
FOLLOWED_LIGHT = 0.1
#: What the walls tell of the tilt counts from this share of what was known before on.
LEAST_TOLD = 0.3
#: Thickest jaw, whose wall has to fit into the profiles: what is taken for a thicker one is none.
THICKEST_MM = 5.5
#: A wall is seen as wide as its thickness times its slant, and the slant goes with one over the
#: focal length: where that is not known to this share, jaws may look as thin as this share of
#: their thickness (a lens of 50 mm taken for one of 26), and a fit begun from the whole one takes
#: the wall's inner edge for the face's and stays there.
UNKNOWN_LENS, THINNEST = 0.1, 0.5
#: Most light of a wall that is fitted.
MOST_FITTED = 0.98
#: What is not known of a wall's light at most: all of it.
U_ANY_LIGHT = 1.0
#: Other facing edges as long as this share of the longest are jaws as well as those.
RIVAL = 0.7


@dataclass(frozen=True, kw_only=True)
class _Side:
    """One face: rays through its middle and one pixel outward, and the light across it."""

    rays: Points
    across_px: Points
    light: Points


@dataclass(frozen=True, kw_only=True)
class _Fit:
    """``q``: ln depth, place (mm), thickness (mm), lean (rad), two walls' light, two blurs.

    ``u_depth`` and ``u_lean`` are the standard uncertainties of ln depth and lean,
    ``depth_per_lean`` how the one goes with the other, ``misfit`` is in units of the noise.
    """

    q: Points
    u_depth: float
    u_lean: float
    depth_per_lean: float
    misfit: float

    @property
    def u_given(self) -> float:
        """What is left of ``u_depth`` where the lean is known."""
        left = self.u_depth**2 - (self.depth_per_lean * self.u_lean) ** 2
        return float(np.sqrt(max(left, 0.0)))


def references(among: Among, spec: ScaleSpec) -> list[Reference]:
    """Return the openings that are the jaws' among objects that carry no thread."""
    plain = [s for s in among.shapes if not s.threads and s.kind in ("other", "bar")]
    return jaw_references(plain, among.camera, spec.mm or 0.0, spec.height_mm)


def jaw_references(
    shapes: Sequence[Shape], camera: Camera, reading_mm: float, thickness_mm: float | None = None
) -> list[Reference]:
    """Find the two measuring faces and return the camera's distance from their opening.

    Parameters
    ----------
    shapes
        Objects that carry no thread. With the beam in view both jaws are one object.
    camera
        Camera with its tilt set.
    reading_mm
        The caliper's reading.
    thickness_mm
        Thickness of the jaws over the plate; by default the usual one, and what the faces show.

    Returns
    -------
    list of Reference
        That of the longest faces first, and of all others nearly as long; empty if none face.
    """
    found = openings(shapes)
    longest = [o for o in found if o.length_px > RIVAL * found[0].length_px]
    return [_reference(o, camera, reading_mm, thickness_mm) for o in longest]


def _reference(
    opening: Opening, camera: Camera, reading_mm: float, thickness_mm: float | None
) -> Reference:
    first, second = opening.first, opening.second
    distance = _rough_distance(opening, camera, reading_mm)
    faces = ((first.start_px, first.end_px), (second.start_px, second.end_px))
    u_px = float(np.hypot(U_CONVERGE_PX, U_PARALLEL_MM * camera.f_px / distance))
    camera = told_by_parallels(camera.over_plate(distance), faces, u_px)
    beam = told_by_beam(camera, opening)
    camera = camera if beam is None else beam.camera
    reach = _reach_px(opening, camera, distance)
    between = min(reach, 0.45 * opening.gap_px)
    sides = (_side(first, camera, (reach, between)), _side(second, camera, (reach, between)))
    known = (thickness_mm, U_STATED_MM) if thickness_mm else (THICKNESS_MM, U_THICKNESS_MM)
    middle = camera.rays((first.middle_px + second.middle_px)[None] / 2)[0]
    plane = _Plane(camera, middle, camera.rays(np.stack([first.start_px, first.end_px])))
    fit = _solve(sides, plane, reading_mm, known, np.log(distance))
    # How depth follows the focal length: as that of a plane of this height does.
    longer = 1.01
    wider = tuple(
        _Side(rays=s.rays / [longer, longer, 1.0], across_px=s.across_px, light=s.light)
        for s in sides
    )
    other = _solve((wider[0], wider[1]), plane.stretched(longer), reading_mm, known, fit)
    depth = float(np.exp(fit.q[0]))
    height = depth - (float(np.exp(other.q[0])) - depth) / (longer - 1)
    # What the model leaves out counts as noise does.
    poor = max(1.0, fit.misfit)
    u = float(np.hypot(fit.u_given * poor, U_CALIPER_MM / reading_mm))
    leaning = _leaning(camera, plane, fit)
    normal = np.array(leaning.normal)
    # The depth goes with the lean that is kept, which need not be the fit's own.
    kept = float(np.arcsin(normal @ plane.across))
    depth *= float(np.exp(fit.depth_per_lean * (kept - fit.q[3])))
    per_lean = fit.depth_per_lean * plane.across
    per_corner = np.zeros(2) if beam is None else beam.lean_per_corner(leaning)
    return Reference(
        source="jaws",
        camera=leaning.over_plate(float(normal @ middle) * depth),
        u_scale=u,
        height_mm=height,
        u_height_mm=0.0,
        where_px=(first.middle_px + second.middle_px) / 2,
        labels=tuple(sorted({first.shape.blob.label, second.shape.blob.label})),
        outline_px=np.array([first.start_px, first.end_px, *_in_turn(first, second)]),
        read_px=first.outward,
        depth_per_lean=(float(per_lean[0]), float(per_lean[1])),
        lean_per_corner=(float(per_corner[0]), float(per_corner[1])),
    )


def _leaning(camera: Camera, plane: _Plane, fit: _Fit) -> Camera:
    """Return the camera with the tilt across the faces that their walls tell."""
    u = fit.u_lean * max(1.0, fit.misfit)
    told = 1 / u**2 - 1 / plane.u_lean**2
    if told < LEAST_TOLD / plane.u_lean**2:
        return camera
    # The fit took what was known for one normal distribution: what it saw itself is the rest.
    seen = fit.q[3] / u**2 / told
    base = float(plane.base[:2] @ plane.across[:2])
    return camera.held_as(camera.leans.seen_along(plane.across[:2], base + seen, told**-0.5))


def _in_turn(first: Face, second: Face) -> tuple[Points, Points]:
    """Return the second face's ends so that both faces' make one outline."""
    ends = second.start_px, second.end_px
    return ends if first.along @ second.along < 0 else ends[::-1]


def _rough_distance(opening: Opening, camera: Camera, reading_mm: float) -> float:
    """Return the distance at which the outlines of usual jaws are as far apart as they are.

    Of a face that looks away from the camera's foot the upper edge is seen, farther out by the
    slant: of 8 mm between jaws in a corner 2 mm are hidden so. Of a gap of which more than half is
    hidden no picture tells.
    """
    foot = camera.project(np.array(camera.normal))
    sides = [(f.middle_px - foot) @ f.outward for f in (opening.first, opening.second)]
    whole, hidden = camera.f_px * reading_mm, THICKNESS_MM * max(0.0, float(max(sides)))
    return float((whole - min(hidden, whole / 2)) / opening.gap_px)


def _reach_px(opening: Opening, camera: Camera, distance: float) -> float:
    """Return how far into the outline a face's profile has to reach to show the whole wall."""
    foot = camera.project(np.array(camera.normal))
    away = max(
        abs(float((f.middle_px - foot) @ f.outward)) for f in (opening.first, opening.second)
    )
    away += 2 * camera.u_tilt_rad * camera.f_px
    return float(10.0 + THICKEST_MM * away / distance)


def _side(face: Face, camera: Camera, reach_px: tuple[float, float]) -> _Side:
    """Return the light across a face, as far inward and as far out, pixels."""
    inward, outward = reach_px
    segment = Segment(start=face.start_px, end=face.end_px, outside=face.outward)
    p = line_profiles(face.shape.crop, segment, reach_px=inward)
    shown = p.across_px < outward + 1e-9
    across, light = p.across_px[shown], medians(p.light)[shown]
    out = face.middle_px + np.array([0.0, 1.0])[:, None] * face.outward
    return _Side(
        rays=camera.rays(out), across_px=across, light=light / median(light[across > 0.6 * outward])
    )


class _Plane:
    """The plate under the jaws: its normal leans by an angle along the opening."""

    def __init__(self, camera: Camera, middle: Points, face: Points) -> None:
        self.middle, self.face = middle, face
        self.base = np.array(camera.normal)
        along = face[1] / (face[1] @ self.base) - face[0] / (face[0] @ self.base)
        self.along = along / np.linalg.norm(along)
        self.across = np.cross(self.base, self.along)
        self.u_lean = camera.leans.u_along(self.across[:2])
        unknown = camera.u_f_px > UNKNOWN_LENS * camera.f_px
        self.seen_thick = (1.0, THINNEST) if unknown else (1.0,)

    def stretched(self, longer: float) -> _Plane:
        """Return the plane under rays of a longer lens."""
        out = object.__new__(_Plane)
        by = np.array([longer, longer, 1.0])
        out.middle, out.face = self.middle / by, self.face / by
        out.base, out.u_lean, out.seen_thick = self.base, self.u_lean, self.seen_thick
        out.along, out.across = self.along, self.across
        return out

    def normal(self, lean: float) -> Points:
        """Return the unit normal that leans by an angle across the faces."""
        n: Points = self.base * np.cos(lean) + self.across * np.sin(lean)
        return n

    def places(self, rays: Points, depth: float, lean: float, height: float) -> Points:
        """Return where rays meet a plane above the plate, mm across the faces from the middle."""
        n = self.normal(lean)
        across = np.cross(n, self.along)
        centre = depth * self.middle
        reach = (centre @ n - height) / (rays @ n)
        out: Points = (rays * reach[:, None] - centre) @ across
        return out


def _noise(side: _Side) -> Points:
    """Return what the light across a face is good to, (m,)."""
    step = float(side.across_px[1] - side.across_px[0])
    # All samples across one edge share its error: it counts as often as they are.
    alike = np.sqrt(BLUR_PX[0] * 2.5 / step)
    noise: Points = np.hypot(U_LIGHT, U_EDGE_PX * alike * np.gradient(side.light, step))
    return noise


def _solve(
    sides: tuple[_Side, _Side],
    plane: _Plane,
    reading: float,
    known: tuple[float, float],
    begin: float | _Fit,
) -> _Fit:
    """Fit both faces; ``begin`` is ln depth, or another fit whose explanation is followed."""
    from scipy.optimize import least_squares

    start = float(begin.q[0]) if isinstance(begin, _Fit) else begin
    low = plane.places(sides[0].rays, np.exp(start), 0.0, 0.0)[0]
    high = plane.places(sides[1].rays, np.exp(start), 0.0, 0.0)[0]
    sign = 1.0 if high > low else -1.0
    expected = np.array([known[0], 0.0, MOST_LIGHT, MOST_LIGHT, BLUR_PX[0], BLUR_PX[0]])
    spread = np.array([known[1], plane.u_lean, U_MOST_LIGHT, U_MOST_LIGHT, BLUR_PX[1], BLUR_PX[1]])
    dark = [max(median(s.light[: max(8, len(s.light) // 8)]), 0.0) for s in sides]
    noise = [_noise(s) for s in sides]

    def cost(q: Points) -> Points:
        rest = []
        for i, side in enumerate(sides):
            face = q[1] + (i - 0.5) * sign * reading
            at = [plane.places(side.rays, np.exp(q[0]), q[3], h) for h in (0.0, q[2])]
            lower, upper = ((face - p[0]) / (p[1] - p[0]) for p in at)
            seen = wall_light(side.across_px, (lower, upper), q[4 + i], dark[i], q[6 + i])
            rest.append((seen - side.light) / noise[i])
        off = (q[2:] - expected) / spread
        off[2:4] = np.maximum(off[2:4], 0.0)
        alike = np.log(q[6] / q[7]) / U_BLURS
        return np.concatenate([*rest, off, [alike]])

    least, most = np.zeros(2), np.full(2, MOST_FITTED)
    if isinstance(begin, _Fit):
        least = np.maximum(least, begin.q[4:6] - FOLLOWED_LIGHT)
        most = np.minimum(most, begin.q[4:6] + FOLLOWED_LIGHT)
    fits = []
    firsts = []
    for share, walls in product(plane.seen_thick, ((0.2, 0.2), (0.2, 0.8), (0.8, 0.2))):
        first = np.array([start, (low + high) / 2, *expected])
        first[2] *= share
        first[4:6] = walls
        firsts.append(first)
    for first in [begin.q] if isinstance(begin, _Fit) else firsts:
        fits.append(
            least_squares(
                cost,
                first,
                x_scale=[0.01, 0.1, 0.3, 0.01, 0.2, 0.2, 0.2, 0.2],
                max_nfev=60,
                bounds=(
                    [start - 0.3, -np.inf, 0.3, -0.3, *least, 0.3, 0.3],
                    [start + 0.3, np.inf, THICKEST_MM, 0.3, *most, 8.0, 8.0],
                ),
            )
        )
    best = min(fits, key=lambda f: float(f.cost))
    jac = np.asarray(best.jac, float)
    light = np.asarray(best.fun[:-7], float)
    # A wall as bright as the light leaves another edge that explains the picture nearly as well.
    shares = np.exp([float(best.cost - f.cost) for f in fits])
    off = np.array([f.x[[0, 3]] - best.x[[0, 3]] for f in fits])
    (apart, both), (_, turned) = (shares * off.T) @ off / shares.sum()
    covariance = _covariance(jac)
    depth, lean = covariance[0, 0] + apart, covariance[3, 3] + turned
    return _Fit(
        q=np.asarray(best.x, float),
        u_depth=float(np.sqrt(depth)),
        u_lean=float(np.sqrt(lean)),
        depth_per_lean=float((covariance[0, 3] + both) / lean),
        misfit=float(np.sqrt(np.mean(light**2))),
    )


def _covariance(jac: Points) -> Points:
    """Return the covariance (8, 8) of a fit's parameters by its derivatives (m, 8).

    The light of a wall that is hidden shows in nothing, and where it is as much as expected its
    prior is flat to one side: what differences round to is then all that is known of it, and had
    left the depth open by a third.
    """
    least = np.zeros(jac.shape[1])
    least[4:6] = U_ANY_LIGHT**-2
    return np.asarray(np.linalg.pinv(jac.T @ jac + np.diag(least)), float)
