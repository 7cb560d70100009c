"""The annotated picture: drawn where the measurement says, whatever the photo's kind."""

import numpy as np
import pytest

from pitchcam.report import annotate
from pitchcam.report import canvas as draw
from pitchcam.report.picture import WIDTH_PX
from tests.report import invented

PLACES = [((1300.0, 1200.0), -15.0), ((2200.0, 1100.0), 80.0), ((2600.0, 2000.0), 200.0)]


def count(picture, colour):
    return int((np.abs(picture.astype(int) - colour).max(axis=2) <= 12).sum())


def test_everything_found_is_drawn():
    picture = annotate(*invented.single())
    assert picture.dtype == np.uint8
    assert picture.shape[1:] == (WIDTH_PX, 3)
    for colour in (draw.OUTLINE, draw.AXIS, draw.CREST, draw.FLANK, draw.REFERENCE):
        # Far more than the swatch in the legend (40 x 6 px).
        assert count(picture, colour) > 600


def test_without_plots_the_outline_and_axis_remain():
    picture = annotate(*invented.single(plots=False))
    assert count(picture, draw.OUTLINE) > 600
    assert count(picture, draw.CREST) < 400


@pytest.mark.parametrize(("dtype", "grey"), [(np.uint16, False), (np.uint8, True)])
def test_kinds_of_photo_give_the_same_drawing(dtype, grey):
    reference = annotate(*invented.single())
    other = annotate(*invented.single(dtype=dtype, grey=grey))
    assert other.shape == reference.shape
    # One channel stands for three, so the photo's tint may differ, and nothing else.
    assert np.percentile(np.abs(other.astype(int) - reference), 99) <= 8


def test_a_box_gets_a_cell_per_thread():
    one, three = annotate(*invented.single()), annotate(*invented.scene(PLACES))
    assert three.shape[0] > 1.8 * one.shape[0]


def test_a_photo_with_nothing_found_is_shown_whole():
    measurement, photo = invented.scene([])
    picture = annotate(measurement, photo)
    assert picture.shape[1] == WIDTH_PX


def test_crests_lie_on_the_silhouette_in_the_close_view():
    """Above a crest's dot there is plate, below it part, all along the upper side."""
    canvas = np.full((800, 800, 3), 250, np.uint8)
    measurement, photo = invented.single()
    thread = measurement.parts[0].threads[0]
    a, b = (np.asarray(p) for p in thread.span_px)
    along = (b - a) / np.hypot(*(b - a))
    across = np.array([-along[1], along[0]])
    corner = a - 150 * across - 20 * along
    panel = draw.place_panel(
        canvas,
        photo.pixels,
        box=(0, 0, 800, 800),
        corners=np.stack([corner, corner + 300 * along, corner + 300 * across]),
    )
    crests = panel.to_canvas(thread.plots.crests_px)
    upper = crests[crests[:, 1] < 400][1:-1]
    assert len(upper) >= 5
    for x, y in np.round(upper).astype(int):
        assert canvas[y - 12, x].mean() > 180
        assert canvas[y + 14, x].mean() < 80


def test_panel_maps_photo_to_canvas():
    canvas = np.zeros((100, 200, 3), np.uint8)
    photo = np.zeros((60, 120), np.uint8)
    photo[30, 60] = 255
    corners = np.array([[40.0, 20.0], [80.0, 20.0], [40.0, 40.0]])
    panel = draw.place_panel(canvas, photo, corners=corners, box=(0, 0, 200, 100))
    x, y = panel.to_canvas([(60.0, 30.0)])[0]
    top = np.unravel_index(int(canvas[:, :, 0].argmax()), canvas.shape[:2])
    assert abs(top[0] - y) <= 1
    assert abs(top[1] - x) <= 1
    assert panel.scale == 5.0


@pytest.mark.parametrize(
    ("target", "nice"), [(0.99, 0.5), (1.0, 1.0), (4.99, 2.0), (5.0, 5.0), (73.0, 50.0)]
)
def test_scale_bar_is_round(target, nice):
    assert draw.nice_length(target) == pytest.approx(nice)
