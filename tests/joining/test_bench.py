"""The invented bench's stock, as the documentation uses it."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from pitchcam.cli.adapt import command as adapt_command
from pitchcam.cli.join import command as join_command
from pitchcam.cli.stock import command as stock_command
from pitchcam.errors import RefusedError
from pitchcam.joining.brazing.choose import choose_donors
from pitchcam.joining.brazing.plan import Duty, plan_join
from pitchcam.joining.brazing.refuse import service_row
from pitchcam.joining.brazing.text import plan_text
from pitchcam.joining.chains.adapt import adapt
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.practice import practice
from pitchcam.joining.stock.sheet import read_stock
from tests.joining import bench_pairs

STOCK = read_stock(Path(__file__).parents[2] / "samples" / "stock" / "bench.csv")
ROWS = {f.id: f for f in STOCK}


def ask(port, part, **limits):
    return Question(port=parse_side(port, "internal"), part=parse_side(part, "external"), **limits)


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
    assert plan.form.bore_mm == 7.5


def test_no_butt_for_an_oil_sender():
    """A sender's own thread takes up its body: the spigot is turned around it."""
    plan = choose_donors(ask("M22x1.5", "M10x1"), STOCK, Duty(service="oil"))
    assert [d.fitting.id for d in plan.donors] == ["P-04", "A-05"]
    assert plan.form.laps[0].over_thread
    sender = plan.tightenings[1]
    assert sender.least_n_m == pytest.approx(6.4, abs=0.5) and sender.most_n_m > 9.0
    # It is judged by what its seals need, not by what the M22x1.5 thread would stand.
    assert plan.load.torque_n_m == max(t.least_n_m for t in plan.tightenings)


#: What refuses a pair of the bench, as the shop would say it after a look into the drawers.
TRUE_REASONS = {
    "cadmium": lambda port, part: port == "3/4-16 UNF",  # P-05 alone has that end
    "no metal for a spigot": lambda port, part: port != "3/4-16 UNF",
    "cannot be tightened enough": lambda port, part: port != "3/4-16 UNF",
}


@pytest.mark.parametrize("pair", bench_pairs.pairs(), ids=" ".join)
def test_pairs_of_the_bench_are_planned_or_refused_with_the_true_reason(pair):
    result = bench_pairs.joined(*pair)
    if isinstance(result, Exception):
        said = [word for word in TRUE_REASONS if word in result.message]
        assert len(said) == 1 and TRUE_REASONS[said[0]](*pair[:2]), result
        return
    assert result.load.stress_mpa <= result.load.allowed_mpa
    assert min(lap.overlap_mm for lap in result.form.laps) >= practice("overlap_least")
    assert result.form.least_wall_mm >= practice("wall_min")
    needed = [t.least_n_m for t in result.tightenings if t.least_n_m is not None]
    assert result.load.torque_n_m == max(needed)
    for t in result.tightenings:
        assert t.least_n_m is None or t.least_n_m <= t.most_n_m
    text = plan_text(result)
    assert "butt" not in text and "Silver brazed" not in text


def test_most_pairs_of_the_bench_can_be_made():
    results = [bench_pairs.joined(*pair) for pair in bench_pairs.pairs()]
    assert len(results) == 48
    assert sum(not isinstance(r, Exception) for r in results) >= 36
    sleeves = [r for r in results if not isinstance(r, Exception) and r.form.sleeve is not None]
    assert sleeves and len(sleeves) < 12


def test_services_reach_the_search():
    """The same pair has the same answer by its service and by the figures of that service."""
    run = CliRunner()
    base = ["--port", "Rc 1/4", "--part", "hose 10", "--stock", str(bench_pairs.BENCH)]
    by_word = run.invoke(adapt_command, [*base, "--service", "coolant", "--json"])
    by_figures = run.invoke(
        adapt_command, [*base, "--pressure", "1.5", "--temperature", "115", "--json"]
    )
    assert by_word.output == by_figures.output and by_word.exit_code == 3
    joined = run.invoke(join_command, [*base, "--service", "coolant"])
    assert "Stock joins them" not in joined.output + joined.stderr
    cool = run.invoke(join_command, [*base, "--service", "coolant", "--temperature", "100"])
    assert "Stock joins them" in cool.stderr


def test_hoses_by_inch_and_by_their_own_rating():
    inch = ask("hose 12", "hose 3/8in")
    assert inch.part == ask("hose 12", "hose 10").part and "3/8 in" in inch.part.text
    assert adapt(inch, STOCK)[0].links[0].fitting.id == "H-02"
    weak = ask("hose 12", "hose 10", pressure_bar=6.0, hose_bar=3.0)
    assert not adapt(weak, STOCK)
    hot = ask("hose 12", "hose 10", temperature_c=105.0, hose_c=100.0)
    assert not adapt(hot, STOCK)
    chain = adapt(
        ask("hose 12", "hose 10", temperature_c=105.0, hose_c=130.0, hose_bar=8.0), STOCK
    )[0]
    assert chain.pressure_bar == 8.0


@pytest.mark.parametrize(
    ("word", "key"),
    [
        ("Glycol", "coolant"),
        ("antifreeze", "coolant"),
        ("gear oil", "gear oil"),
        ("gearbox oil", "gear oil"),
        ("manifold vacuum", "vacuum"),
        ("engine oil", "oil"),
    ],
)
def test_words_for_services(word, key):
    assert service_row(word)["key"] == key


@pytest.mark.parametrize("word", ["boost", "ATF", "turbo oil", "brake servo", "AdBlue"])
def test_words_for_services_that_are_refused(word):
    with pytest.raises(RefusedError):
        service_row(word)


def test_chains_that_hold_a_shorter_chain_are_dropped():
    chains = adapt(ask("M18x1.5", "1/8-27 NPT"), STOCK, best=6)
    ids = [tuple(link.fitting.id for link in c.links) for c in chains]
    assert ids[0] == ("A-02",) and all("A-02" not in names for names in ids[1:])


def test_stock_check_names_what_must_not_be_heated(tmp_path):
    sheet = tmp_path / "s.csv"
    text = bench_pairs.BENCH.read_text(encoding="utf-8")
    sheet.write_text(
        text.replace("steel,cadmium", "steel,Cd").replace("brass,nickel", "brass,yellow"),
        encoding="utf-8",
    )
    done = CliRunner().invoke(stock_command, ["check", str(sheet)])
    assert done.exit_code == 0 and "P-05: cadmium plated (Cd)" in done.output
    assert "A-04: 'yellow' is not known, so possibly cadmium" in done.output
    assert "bare: none" in done.output


def test_cadmium_plug_is_no_donor():
    with pytest.raises(RefusedError, match="fume kills"):
        plan_join(
            ask("3/4-16 UNF", "hose 10"), (ROWS["P-05"], ROWS["T-04"]), Duty(service="coolant")
        )
