"""The table of reference kinds: every row has what the rest of the program asks of it."""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import get_args

import pytest

from pitchcam.objects.shapes import Kind
from pitchcam.records import ScaleSource, ScaleSpec
from pitchcam.reference_kinds import LYING, REFERENCE_KINDS, ReferenceKind
from pitchcam.scale.find import check_spec, find_reference
from pitchcam.scale.reference import Reference
from tests.objects import drawing
from tests.objects.drawing import View
from tests.scale import looking

VIEW = View(size=(1600, 1200), f_px=2600.0, distance_mm=220.0)


def test_every_row_is_whole() -> None:
    assert set(REFERENCE_KINDS) < set(get_args(ScaleSource))
    for name, kind in REFERENCE_KINDS.items():
        assert kind.name == name and kind.says and kind.label and kind.help
        assert kind.shape is None or kind.shape in get_args(Kind)
        assert kind.limits_mm is None or 0 < kind.limits_mm[0] < kind.limits_mm[1]


@pytest.mark.parametrize("name", LYING)
def test_what_lies_has_a_module_that_finds_it(name: str) -> None:
    assert callable(importlib.import_module(f"pitchcam.scale.{name}").references)


def test_a_new_kind_is_a_row_and_a_module(monkeypatch) -> None:
    """A ball of known size, told as a disc, found by a module that did not exist before."""
    found = []

    def references(among, spec: ScaleSpec) -> list[Reference]:
        found.extend(among.shapes)
        return [
            Reference(
                source="ball",
                camera=among.camera.over_plate(220.0),
                u_scale=0.01,
                height_mm=spec.mm / 2,
                u_height_mm=0.01,
                where_px=s.centre_px,
                labels=(s.blob.label,),
                outline_px=s.outline_px,
            )
            for s in among.shapes
        ]

    module = ModuleType("pitchcam.scale.ball")
    module.references = references
    monkeypatch.setitem(sys.modules, "pitchcam.scale.ball", module)
    monkeypatch.setitem(
        REFERENCE_KINDS,
        "ball",
        ReferenceKind(
            name="ball",
            says="the ball",
            label="Ball",
            help="Diameter of the ball.",
            limits_mm=(2.0, 40.0),
            shape="disc",
        ),
    )
    spec = ScaleSpec(source="ball", mm=22.0)
    check_spec(spec)
    round_one = looking.solid(VIEW, drawing.prism(drawing.ring((0, 0), 11, 0)[:, :2], 0, 1.5))
    bar = looking.solid(VIEW, drawing.pin((-25, 0), 0.1, 26.0, 8.0))
    seen = looking.look(looking.picture(VIEW, round_one, bar), VIEW)
    reference = find_reference(spec, seen.shapes, looking.camera(VIEW), seen.pins)
    assert reference.source == "ball" and reference.height_mm == 11.0
    assert [s.kind for s in found] == ["disc"]
