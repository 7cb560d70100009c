"""An invented measurement with a drawn photo that fits it; nothing here is measured."""

from pathlib import Path

import cv2
import numpy as np

from pitchcam.flags import flag
from pitchcam.photo import Photo
from pitchcam.records import (
    BudgetLine,
    Candidate,
    Measurement,
    PartResult,
    PhotoInfo,
    ScaleResult,
    ThreadPlots,
    ThreadReading,
    ThreadResult,
    Verdict,
)
from tests.quantities import q

MM_PER_PX = 0.06
SIZE = (3024, 4032)
PITCH, MAJOR, DEPTH, TURNS = 1.5, 13.8, 0.92, 8


def turned(points: np.ndarray, centre: tuple[float, float], angle_deg: float) -> np.ndarray:
    """mm along and across the axis to photo px."""
    a = np.radians(angle_deg)
    along, across = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    pts = np.asarray(points, float) / MM_PER_PX
    return pts[:, :1] * along + pts[:, 1:] * across + np.asarray(centre, float)


def zigzag(side: float) -> np.ndarray:
    """The edge of one side: crests at half pitches on the other side, in mm."""
    n = np.arange(2 * TURNS + 1)
    z = n * PITCH / 2
    high = (n % 2 == 1) if side > 0 else (n % 2 == 0)
    r = np.where(high, MAJOR / 2, MAJOR / 2 - DEPTH)
    return np.column_stack([z, side * r])


def as_points(array: np.ndarray) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in array)


def thread_plots(centre, angle_deg) -> ThreadPlots:
    edges = [zigzag(side) for side in (1.0, -1.0)]
    crests = np.vstack([e[np.abs(e[:, 1]) > MAJOR / 2 - 1e-9] for e in edges])
    flanks = [np.stack([a, b]) for e in edges for a, b in zip(e[:-1], e[1:], strict=True)]
    rng = np.random.default_rng(5)
    turn = rng.random(1500)
    ridge = np.abs((turn + 0.3) % 1.0 - 0.5) * PITCH
    radius = np.clip(12.83 / 2 + (PITCH / 4 - ridge) * np.sqrt(3), 11.96 / 2, MAJOR / 2)
    frequency = np.linspace(0.0, 4.0, 600)
    amplitude = sum(
        a * np.exp(-(((frequency - k / PITCH) / 0.02) ** 2)) for k, a in ((1, 1.0), (2, 0.15))
    )
    z = np.arange(TURNS) * PITCH
    return ThreadPlots(
        axis_px=as_points(turned([[-2.0, 0.0], [TURNS * PITCH + 2.0, 0.0]], centre, angle_deg)),
        edges_px=tuple(as_points(turned(e, centre, angle_deg)) for e in edges),
        crests_px=as_points(turned(crests, centre, angle_deg)),
        flanks_px=tuple(as_points(turned(f, centre, angle_deg)) for f in flanks),
        spectrum=(tuple(frequency), tuple(amplitude)),
        folded=(tuple(turn), tuple(radius + rng.normal(0, 0.006, len(turn)))),
        drift=(tuple(z), tuple(rng.normal(0, 2.0, len(z)))),
    )


def named() -> Verdict:
    return Verdict(
        status="named",
        designation="M14x1.5",
        standard="ISO 261",
        probability=0.968,
        candidates=(
            Candidate(designation="M14x1.5", standard="ISO 261", probability=0.968),
            Candidate(designation="9/16-18 UNF", standard="ASME B1.1", probability=0.031),
        ),
    )


def ambiguous() -> Verdict:
    return Verdict(
        status="ambiguous",
        candidates=(
            Candidate(designation="1/2-14 NPT", standard="ASME B1.20.1", probability=0.6),
            Candidate(designation="R 1/2", standard="ISO 7-1", probability=0.4),
        ),
        next_step="measure the thread angle: 60 is 1/2-14 NPT, 55 is R 1/2",
    )


def thread(centre, angle_deg, verdict=None, *, plots=True, taper=None) -> ThreadResult:
    reading = ThreadReading(
        pitch_mm=q(1.5002, 0.0016),
        major_mm=q(13.802, 0.024),
        pitch_diameter_mm=q(12.83, 0.03),
        minor_mm=q(11.96, 0.05),
        angle_deg=q(60.12, 0.4),
        taper=taper or q(0.0003, 0.002),
        diameter_station_mm=q(11.5, 0.1),
    )
    ends = turned([[0.0, 0.0], [TURNS * PITCH, 0.0]], centre, angle_deg)
    return ThreadResult(
        reading=reading,
        half_angles_deg=(q(30.0, 0.3), q(30.1, 0.3)),
        turns=8.0,
        span_px=as_points(ends),
        budget=(
            BudgetLine(
                source="edge noise",
                kind="A",
                contributions={"pitch_mm": 0.0004, "major_mm": 0.003, "angle_deg": 0.1},
            ),
            BudgetLine(
                source="scale from the pin", contributions={"pitch_mm": 0.0015, "major_mm": 0.0138}
            ),
        ),
        verdict=verdict or named(),
        plots=thread_plots(centre, angle_deg) if plots else None,
    )


def part(number, centre, angle_deg, **options) -> tuple[PartResult, np.ndarray]:
    outline = np.vstack(
        [
            [[-6.0, -2.5], [0.0, -2.5]],
            zigzag(-1.0),
            [[12.0, -10.0], [20.0, -10.0], [20.0, 10.0], [12.0, 10.0]],
            zigzag(1.0)[::-1],
            [[0.0, 2.5], [-6.0, 2.5]],
        ]
    )
    px = turned(outline, centre, angle_deg)
    low, high = px.min(axis=0), px.max(axis=0)
    result = PartResult(
        id=number,
        box_px=(*map(float, low), *map(float, high)),
        outline_px=as_points(px),
        threads=(thread(centre, angle_deg, **options),),
    )
    return result, px


def scene(places, *, warnings=(), dtype=np.uint8, grey=False, **options):
    """Return (measurement, photo) with one part at each of (centre, angle)."""
    pixels = np.full((*SIZE, 3), (60, 62, 61), np.uint8)
    pixels[600:2500, 700:3400] = (222, 226, 228)
    parts = []
    for number, (centre, angle) in enumerate(places, start=1):
        result, px = part(number, centre, angle, **options)
        cv2.fillPoly(pixels, [np.round(px).astype(np.int32)], (25, 28, 30), cv2.LINE_AA)
        parts.append(result)
    pin = np.array([[900.0, 720.0], [1700.0, 720.0], [1700.0, 853.0], [900.0, 853.0]])
    cv2.fillPoly(pixels, [pin.astype(np.int32)], (30, 30, 30))
    stored = pixels[:, :, 0].copy() if grey else pixels
    if dtype == np.uint16:
        stored = stored.astype(np.uint16) * 257
    photo = Photo(
        path=Path("fitting.jpg"), sha256="0" * 64, pixels=stored, f35_mm=26.0, f35_source="exif"
    )
    measurement = Measurement(
        photo=PhotoInfo(file="fitting.jpg", sha256="0" * 64, width_px=SIZE[1], height_px=SIZE[0]),
        scale=ScaleResult(
            source="pin",
            mm_per_px=q(MM_PER_PX, 0.00006),
            camera_height_mm=q(182.0, 2.0),
            box_px=(900.0, 720.0, 1700.0, 853.0),
            outline_px=as_points(pin),
        ),
        parts=tuple(parts),
        warnings=tuple(flag(code) for code in warnings),
    )
    return measurement, photo


def single(**options):
    return scene([((1500.0, 1500.0), -15.0)], **options)
