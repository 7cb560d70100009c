"""Plots of one thread: what their axes must hold."""

import pytest

from pitchcam.match.stated_size import left_doubtful
from pitchcam.report.plots import drift_figure
from tests.report import invented


def test_a_doubted_reference_does_not_hide_how_even_crests_lie():
    """Its size moves all crests alike: the band of the pitch would be 4 mm, the drift 4 µm."""
    measurement, _ = invented.single()
    heights = []
    for told in (measurement, left_doubtful(measurement, 0.2)):
        (axes,) = drift_figure(told.parts[0].threads[0]).axes
        heights.append(axes.get_ylim())
    assert heights[1] == pytest.approx(heights[0], rel=1e-6)
    assert heights[0][1] < 100.0
