"""Steel conduit threads (Pg, DIN 40430), whose flanks stand at 80 degrees."""

import pytest

from pitchcam import ScaleSpec, identify
from tests.adjustment import bound
from tests.objects.drawing import develop


def test_a_thread_of_80_degrees_is_one():
    """No size of Pg, since it is too small, but a thread: it is measured, and its angle is read."""
    form, taper = bound.FORMS["Pg 80"]
    stud = bound.formed_stud(form, taper, 30.0, 8)
    pixels = develop(bound.light_of(stud, bound.drawn_inputs(stud, 3)), gain=0.0, seed=3)
    pin = ScaleSpec(source="pin", mm=bound.PIN_MM)
    told = identify(pixels, pin, f35_mm=bound.F35_MM, plots=False)
    reading = told.parts[0].threads[0].reading
    assert reading.angle_deg.value == pytest.approx(80.0, abs=2 * reading.angle_deg.u)
    assert reading.major_mm.value == pytest.approx(stud.major_mm, abs=2 * reading.major_mm.u)
    assert reading.pitch_mm.value == pytest.approx(stud.pitch_mm, abs=2 * reading.pitch_mm.u)
