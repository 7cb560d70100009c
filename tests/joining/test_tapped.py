"""Plugs drilled and tapped for the part, instead of two donors and a flame. Invented fittings."""

from dataclasses import replace

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from pitchcam.cli.adapt import command as adapt_command
from pitchcam.cli.join import command as join_command
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.tapped import tapped_plugs
from tests.joining.bench_pairs import BENCH, STOCK

ROWS = {f.id: f for f in STOCK}
ASK = Question(
    port=parse_side("M22x1.5", "internal"),
    part=parse_side("M10x1", "external"),
    pressure_bar=6.0,
    temperature_c=130.0,
)


def test_a_plug_with_metal_for_the_thread():
    (found,) = tapped_plugs(ASK, STOCK)
    # ISO 2306: M10x1 is drilled 9.0; 0.8 of the largest diameter, up to the half mm.
    assert (found.plug.id, found.drill.drill.diameter_mm, found.depth_mm) == ("P-04", 9.0, 8.5)
    assert "as supplied" in found.made_up[1].how and not found.made_up[1].fault


@pytest.mark.parametrize(
    "change",
    [
        {"count": 0},
        {"hex_mm": 12.5},
        {"plating": "Cd"},
        {"plating": "mystery"},
        {"length_mm": 22.0},
        {"pressure_bar": 3.0},
        {"material": "cheese"},
        {"bore_mm": 3.0},
    ],
)
def test_plugs_that_are_none(change):
    assert tapped_plugs(ASK, [replace(ROWS["P-04"], **change)]) == ()


@pytest.mark.parametrize("part", ["hose 10", "M10x1 female", "9/16-18 UNF cone37"])
def test_parts_that_no_tap_makes(part):
    assert tapped_plugs(replace(ASK, part=parse_side(part, "external")), STOCK) == ()


def test_way_that_leaves_no_wall_under_the_root():
    assert tapped_plugs(replace(ASK, bore_mm=18.0), STOCK) == ()
    (wide,) = tapped_plugs(replace(ASK, bore_mm=8.0), STOCK)
    assert wide.way_mm == 8.0


def test_commands_and_the_sheet_say_so_before_a_flame_is_lit(tmp_path):
    call = ["--port", "M22x1.5", "--part", "M10x1", "--service", "oil", "--stock", str(BENCH)]
    sheet = tmp_path / "sheet.pdf"
    done = CliRunner().invoke(join_command, [*call, "-o", str(sheet)])
    assert "Noflameneeded:P-04" in "".join(PdfReader(sheet).pages[0].extract_text().split())
    assert "No flame needed: P-04" in done.stderr and "tap M10x1 8.5 deep" in done.stderr
    assert "Or tap a plug: P-04" in CliRunner().invoke(adapt_command, call).output


@pytest.mark.parametrize("part", ["R 3", "G 4"])
def test_a_thread_that_no_tabulated_drill_is_for_is_not_tapped(part):
    """Rc 3 has no drill in the tables, and G 4 wants a hole of 110.8 mm: bored, not drilled."""
    huge = replace(ROWS["P-04"], hex_mm=150.0, length_mm=120.0)
    assert tapped_plugs(replace(ASK, part=parse_side(part, "external")), [huge]) == ()
