"""The walk of a photo: through all stages, and never from one up to the next."""

import pytest

from tests import walk


@pytest.fixture(scope="module")
def walks():
    return dict(walk.walks())


@pytest.mark.parametrize("name", walk.WALKS)
def test_no_stage_calls_one_that_stands_beside_or_above_it(walks, name):
    """By what runs: a function handed down would climb unseen by the import contract."""
    assert walks[name].climbs == []


def test_every_stage_is_passed(walks):
    photo, label = (walks[name] for name in ("a photo, to its names", "a measurement, to a label"))
    passed = {walk.stage_of(module) for module in photo.modules}
    assert passed == {"photo", "light", "camera", "objects", "edges", "scale", "thread", "match"}
    assert {walk.stage_of(module) for module in label.modules} == {"records", "store", "batch"}


def test_a_pins_edge_is_placed_in_one_room(walks):
    modules = walks["a pin's edge, to the scale"].modules
    assert {"edges.straight", "edges.rims", "scale.pin"} <= set(modules)
    assert {walk.stage_of(m) for m in modules} <= {"camera", "light", "objects", "edges", "scale"}


@pytest.mark.parametrize(
    ("caller", "called", "up"),
    [
        ("objects.axis", "edges.rims", True),
        ("scale.pin", "thread.measure", True),
        ("edges.rims", "light.esf", False),
        ("edges.rims", "edges.lines", False),
        ("pipeline.answer", "match.naming", False),
    ],
)
def test_what_climbs(caller, called, up):
    assert walk.climbs(caller, called) is up
