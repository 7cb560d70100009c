"""The whole chain by trial (JCGM 101): drawn photos whose inputs scatter as the budget says.

Each photo is drawn with its own errors of focal length, pin, distortion, tilt and inclination, and
its own noise; what comes out is compared with the thread that was drawn, in units of the stated u.
"""

import numpy as np
import pytest

import pitchcam
from pitchcam.records import NAMING_QUANTITIES, ScaleSpec
from tests.drawn_photo import Shot, Stud, draw

TRIALS, PIN_MM = 12, 8.0


def shot(seed: int) -> Shot:
    """Draw one photo's errors: u of EXIF's focal length, of a ground pin, of a phone's distortion
    and of a part's inclination as budgeted; a phone held level to half a degree."""
    rng = np.random.default_rng(seed)
    return Shot(
        focal_share=rng.normal(0, 0.015),
        pin_error_mm=rng.normal(0, 0.008),
        corner_shift=rng.normal(0, 0.003),
        incline_rad=rng.normal(0, np.radians(1.2)),
        tilt_rad=tuple(rng.normal(0, np.radians(0.5), 2)),
        heading_rad=rng.uniform(-0.7, 0.7),
        distance_mm=rng.uniform(150, 190),
        seed=seed,
    )


@pytest.fixture(scope="module")
def errors_in_u(tmp_path_factory):
    """Errors in units of u, (TRIALS, 6)."""
    stud, folder = Stud(), tmp_path_factory.mktemp("drawn")
    true = {
        "pitch_mm": stud.pitch_mm,
        "major_mm": stud.major_mm,
        "minor_mm": stud.minor_mm,
        "pitch_diameter_mm": stud.pitch_diameter_mm,
        "angle_deg": 60.0,
        "taper": 0.0,
    }
    rows = []
    for seed in range(TRIALS):
        photo = draw(stud, shot(seed), PIN_MM, folder / f"{seed}.jpg")
        told = pitchcam.identify(photo, ScaleSpec(source="pin", mm=PIN_MM), plots=False)
        thread = told.parts[0].threads[0]
        assert thread.verdict.designation in (None, "M14x1.5")
        read = [getattr(thread.reading, k) for k in NAMING_QUANTITIES]
        rows.append(
            [(q.value - true[k]) / q.u for k, q in zip(NAMING_QUANTITIES, read, strict=True)]
        )
    return np.array(rows)


def test_errors_scatter_as_the_stated_u_says(errors_in_u):
    """Over 48 figures, of which four of a photo hang together, rms(error/u) of a right budget stays
    within 0.7-1.3. What is drawn is dead black: all budgets have room for mirrored light, for which
    a tenth is allowed, those of angle and minor diameter also for rounded roots and grain."""
    rms = np.sqrt(np.mean(errors_in_u**2, axis=0))
    told = dict(zip(NAMING_QUANTITIES, np.round(rms, 2), strict=True))
    drawn = [k not in ("angle_deg", "minor_mm") for k in NAMING_QUANTITIES]
    assert 0.6 < np.sqrt(np.mean(errors_in_u[:, drawn] ** 2)) < 1.3, told
    assert all(0.15 < x < 1.8 for x in rms), told
    assert np.mean(np.abs(errors_in_u) <= 2) > 0.88, told


def test_pitch_and_diameters_err_together(errors_in_u):
    """The scale's error is common to the lengths: the budget says so, and naming relies on it."""
    pitch, major, minor = (
        errors_in_u[:, NAMING_QUANTITIES.index(k)] for k in ("pitch_mm", "major_mm", "minor_mm")
    )
    assert np.corrcoef(pitch, major)[0, 1] > 0.5
    assert np.corrcoef(major, minor)[0, 1] > 0.5
