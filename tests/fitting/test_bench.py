"""The invented bench's stock, as the documentation uses it."""

from pathlib import Path

import pytest

from pitchcam.errors import RefusedError
from pitchcam.fitting.adapt import adapt
from pitchcam.fitting.choose_donors import choose_donors
from pitchcam.fitting.join import Duty, plan_join
from pitchcam.fitting.question import Question, parse_side
from pitchcam.fitting.stock import read_stock

STOCK = read_stock(Path(__file__).parents[2] / "samples" / "stock" / "bench.csv")
ROWS = {f.id: f for f in STOCK}


def ask(port, part, **limits):
    return Question(
        port=parse_side(port, "internal"), part=parse_side(part, "external"), **limits
    )


@pytest.mark.parametrize(
    ("port", "part", "limits", "wanted"),
    [
        # A 1/8 NPT temperature sender, 8 mm bulb, in an M18x1.5 port: one adapter, earth in doubt.
        ("M18x1.5", "1/8-27 NPT", {"bore_mm": 8.0, "one_wire": True}, "A-02"),
        ("M14x1.5", "M14x1.5", {}, ""),
        # No adapter M14x1.5 to M10x1: the nipple and the long way over G 1/4.
        ("M14x1.5", "M10x1", {}, "N-05 S-02 A-04"),
        ("hose 12", "hose 10", {"pressure_bar": 6.0}, "H-02"),
    ],
)
def test_ways_from_the_bench(port, part, limits, wanted):
    chains = adapt(ask(port, part, **limits), STOCK)
    assert " ".join(link.fitting.id for link in chains[0].links) == wanted


def test_what_no_stock_has_is_made_of_two_donors():
    question = ask("M18x1.5", "hose 10")
    assert not [c for c in adapt(question, STOCK) if len(c.links) < 3]
    plan = choose_donors(question, STOCK, Duty(service="coolant"))
    assert [d.fitting.id for d in plan.donors] == ["P-01", "T-04"]
    assert plan.form.form == "spigot" and plan.form.bore_mm == 7.5


def test_cadmium_plug_is_no_donor():
    with pytest.raises(RefusedError, match="fume kills"):
        plan_join(ask("3/4-16 UNF", "hose 10"), (ROWS["P-05"], ROWS["T-04"]),
                  Duty(service="coolant"))  # fmt: skip
