"""Every figure of a work sheet by hand; what lacks for a joint; the drawn half sections."""

import dataclasses
import math
from typing import Any

import pytest

from pitchcam.errors import RefusedError, UsageError
from pitchcam.joining.brazing.figures import (
    donor_mass_g,
    filler_for,
    keep_outside_mm,
    machined_length_mm,
    overall_length_mm,
    sleeve_mass_g,
)
from pitchcam.joining.brazing.plan import Duty, JoinPlan, OverloadError, plan_join
from pitchcam.joining.brazing.search import NoMetalError, possible_forms
from pitchcam.joining.brazing.steps import cautions, plan_warnings, steps
from pitchcam.joining.brazing.text import figures, plan_json, plan_text
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.papers.half_section import (
    Piece,
    Step,
    as_bought,
    as_machined,
    in_stock,
    lap_at,
)
from pitchcam.joining.practice import practice
from pitchcam.joining.tables import read_table
from pitchcam.series import find
from tests.joining.brazing.test_plan import (
    ASK,
    COOLANT,
    PLUG,
    SENDER,
    SLEEVED,
    STEEL_PLUG,
    STEEL_TAIL,
    TAIL,
    TAIL_ON_STUB,
)

OIL = Question(port=parse_side("Rc 1/4", "internal"), part=parse_side("G 1/4", "external"))


@pytest.fixture(scope="module")
def plan() -> JoinPlan:
    return plan_join(ASK, (PLUG, TAIL), COOLANT)


@pytest.fixture(scope="module")
def sleeved() -> JoinPlan:
    return plan_join(OIL, SLEEVED, Duty(service="oil"))


def told(plan: JoinPlan) -> dict[str, tuple[str, str]]:
    return {f.what: (f.value, f.how) for f in figures(plan)}


def test_cutting_and_length(plan: JoinPlan) -> None:
    said = told(plan)
    assert said["Face A to"] == ("31.5 mm", "from the tip of M18x1.5 male: thread 14.0 + body 18.0")
    assert said["Saw B at"] == (
        "40.0 mm",
        "from the tip of hose tail 10 mm (3/8 in): thread 24.0 + body 16.0; face to 39.5",
    )
    assert said["Bore left"] == ("7.5 mm", "A 7.5 (drill, was 0) and B 7.5")
    assert said["Length over all"] == ("63.0 mm", "31.5 + 39.5 - 8.0 overlap")
    assert overall_length_mm(plan.donors, plan.form) == plan.length_mm


def test_the_joint_itself(plan: JoinPlan) -> None:
    said = told(plan)
    value, how = said["Spigot on B"]
    assert value == "dia 15.50 +0/-0.03, 9.0 long" and how.startswith("overlap and a 1 mm groove")
    assert said["Socket in A"] == (
        "dia 15.66 +-0.02, 8.0 deep",
        "spigot + 0.16 cold clearance; the spigot's tip stands on its floor",
    )
    assert said["Clearance cold"] == (
        "0.10 to 0.30 mm on dia",
        "0.10 to 0.30 wanted at 690 deg C; one metal, so the gap stays",
    )
    assert said["Faying area"] == ("390 mm2", "pi x 15.5 x 8")
    value, how = said["Overlap"]
    assert value == "8.0 mm" and "at most 3 x 4.00 wall, at least 4" in how
    assert "the bodies give no more" not in how


def test_alloy_flux_and_filler(plan: JoinPlan) -> None:
    said = told(plan)
    assert said["Alloy"][0] == "Ag 155 (Ag55 Cu21 Zn22 Sn2), cadmium-free"
    assert said["Alloy"][1].startswith("ISO 17672: 630 to 660 deg C; work at 690, 185 K under the ")
    assert said["Flux"] == ("FH10, general", "EN 1045: active 550 to 800 deg C")
    filler = filler_for(plan.form, plan.choice)
    # Gap times area, and two fillets of 1 mm around the spigot.
    gap = math.pi * 15.5 * 8 * 0.08
    fillets = 2 * (1 - math.pi / 4) * math.pi * 15.5
    assert filler.in_joint_mm3 == pytest.approx(gap + fillets)
    assert filler.rod_mm == pytest.approx(1.5 * (gap + fillets) / (math.pi / 4 * 1.5**2))
    grams = 1.5 * (gap + fillets) * plan.choice.alloy.density_kg_m3 * 1e-6
    assert filler.grams == pytest.approx(grams)
    assert said["Filler"][0] == f"{filler.rod_mm:.0f} mm of 1.5 mm rod ({grams:.1f} g)"


def test_heat_and_loads(plan: JoinPlan) -> None:
    said = told(plan)
    mass = sum(donor_mass_g(d) for d in plan.donors)
    assert said["Heat"][1] == f"{mass:.0f} g to 690 deg C; air and radiation"
    # Brass, 420 J/(kg K), from room to working heat.
    assert plan.heat.stored_kj == pytest.approx(mass * 1e-3 * 420 * 670 / 1e3)
    assert said["Time"][1] == "torch 1.5 kW, 30 % into the work (20 to 40)"
    assert said["End load"] == (f"{0.15 * math.pi / 4 * 15.5**2:.0f} N", "1.5 bar over dia 15.5")
    assert said["Joint stress"][0].endswith(" MPa of 25 allowed")
    assert said["Wall"][1] == "Lame, 4.00 mm wall"
    assert said["Proof"] == ("3.0 bar, water, 10 min", "1.5 x 1.5 bar, at least 3")
    assert said["Seal at port"] == ("washer or bonded seal", "ISO 261 and ISO 9974-1")
    assert "Seal at part" not in said
    assert said["Hose 10 mm"][0] == "push over all barbs, clamp behind them"
    assert said["Tighten M18x1.5"][0].startswith("copper washer: ")


def test_a_sleeve_has_figures_of_its_own(sleeved: JoinPlan) -> None:
    said = told(sleeved)
    sleeve = sleeved.form.sleeve
    assert sleeve is not None
    assert said["Sleeve"] == (
        f"leaded brass CuZn39Pb3 (CW614N), dia {sleeve.outside_mm:g} x {sleeve.length_mm:.1f}",
        "of bar, bored from both ends; the spigots' tips meet in it",
    )
    for lap, name in zip(sleeved.form.laps, "AB", strict=True):
        value, how = said[f"Sleeve for {name}"]
        assert value == f"dia {lap.bore_mm:.2f} +-0.02, {lap.overlap_mm:.1f} deep"
        assert "floor" not in how
    assert "overlap" not in said["Length over all"][1]
    ring = sum((sleeve.outside_mm**2 - x.bore_mm**2) * x.overlap_mm for x in sleeved.form.laps)
    assert sleeve_mass_g(sleeved.form) == pytest.approx(math.pi / 4 * ring * 8470e-6)
    assert said["Faying area"][1].count("pi x") == 2
    # The female thread that goes is told with the body.
    assert "less 9.0 of unwanted female thread" in said["Saw B at"][1]


def test_a_piece_without_a_sleeve_has_no_mass_of_one(plan: JoinPlan) -> None:
    assert sleeve_mass_g(plan.form) == 0.0
    a, b = plan.donors
    assert keep_outside_mm(a) == 18.0 and keep_outside_mm(b) == 10.0
    assert machined_length_mm(a, None) == a.keep_thread_mm + a.body_left_mm


def test_a_spigot_of_the_thread_keeps_its_shoulder() -> None:
    ask = dataclasses.replace(ASK, port=parse_side("M10x1", "internal"))
    made = plan_join(ask, (TAIL_ON_STUB, TAIL), dataclasses.replace(COOLANT, torque_n_m=5.0))
    (lap,) = made.form.laps
    d = made.donors[0]
    expected = d.keep_thread_mm + d.body_mm + lap.spigot_length_mm
    assert machined_length_mm(d, lap) == pytest.approx(expected)
    value, how = told(made)["Turn A down"]
    assert value == "thread M16x1.5 male off"
    assert how == f"{lap.spigot_length_mm:.1f} of its 12.0 mm stay as the spigot"


def test_steps_of_work_name_what_is_turned(plan: JoinPlan, sleeved: JoinPlan) -> None:
    one, other = steps(plan), steps(sleeved)
    assert len(one) == len(other) == 10
    assert one[2] == "Drill through where stated. Check: a 7.5 mm rod passes both."
    assert one[3].startswith("Turn the spigot on B, bore the socket in A, break edges 0.3 mm.")
    assert other[3].startswith("Turn the spigots on A and B, bore the sleeve from both ends")
    assert "near 690 deg C, dull red at most" in one[5]
    assert "3.0 bar for 10 min" in one[8] and one[8].startswith("Proof: fill with water")
    ask = Question(port=parse_side("M22x1.5", "internal"), part=parse_side("M10x1", "external"))
    over = plan_join(ask, (STEEL_PLUG, SENDER), Duty(service="oil"))
    assert steps(over)[3].endswith("The thread inside B is not touched: plug it while turning.")


def test_cautions_stand_on_every_sheet(plan: JoinPlan) -> None:
    said = cautions(plan)
    assert said[0] == "Hot coolant scalds: cool down and release the cap first."
    general = [row["text"] for row in read_table("cautions")]
    assert list(said[-len(general) :]) == general
    words = " ".join(general).lower()
    for danger in (
        "cadmium",
        "zinc fume",
        "extinguisher",
        "never with air or gas",
        "eye protection",
    ):
        assert danger in words


def test_what_is_particular_to_donors_is_said(plan: JoinPlan) -> None:
    assert plan_warnings(plan) == (
        "The hose itself must be rated for 1.5 bar and 115 deg C: read it on the hose.",
    )
    bare = dataclasses.replace(PLUG, plating="")
    steel = dataclasses.replace(STEEL_TAIL, hex_mm=30.0)
    notes = plan_warnings(plan_join(ASK, (bare, steel), COOLANT))
    assert "Stock does not state the plating: make sure that both are bare." in notes
    assert any(n.startswith("Two metals in one wet circuit") for n in notes)
    rust = dataclasses.replace(TAIL, material="stainless")
    notes = plan_warnings(plan_join(ASK, (PLUG, rust), COOLANT))
    assert any(
        n.startswith("Stainless steel brazed with a zinc-bearing alloy lets go") for n in notes
    )
    soft = plan_join(ASK, (PLUG, TAIL), dataclasses.replace(COOLANT, torque_n_m=2.0))
    assert any(n.startswith("Only 2 N m may pass through the joint") for n in plan_warnings(soft))


def test_the_plan_as_text_and_json(plan: JoinPlan) -> None:
    said = plan_text(plan).splitlines()
    assert said[0] == (
        "Made adapter, M18x1.5 female to hose of 10 mm (3/8 in) bore, for coolant (1.5 bar, 115 "
        "deg C)"
    )
    assert said[1].startswith("Donor A: P18: M18x1.5 male / closed, leaded brass")
    assert said[2].endswith("; keep hose tail 10 mm (3/8 in)")
    for f in figures(plan):
        assert any(x.startswith(f.what) and f.value in x and f"[{f.how}]" in x for x in said)
    assert [x for x in said if x.startswith("! ")] == [f"! {c}" for c in cautions(plan)]
    told_ = plan_json(plan)
    assert told_["format"] == "pitchcam.joining/1" and told_["donors"] == ["P18", "T10"]
    assert told_["sleeve_mm"] is None and told_["joint"] == "spigot and socket"
    assert told_["laps"] == [
        {"donor": "T10", "spigot_mm": 15.5, "overlap_mm": 8.0,
         "clearance_mm": pytest.approx([0.10, 0.16, 0.30])}
    ]  # fmt: skip
    assert told_["torques_n_m"][1] == [None, None] and len(told_["steps"]) == 10


@pytest.mark.parametrize(
    ("duty", "bar", "celsius", "proof"),
    [
        (COOLANT, 1.5, 115, 3.0),
        (dataclasses.replace(COOLANT, pressure_bar=4.0), 4.0, 115, 6.0),
        (dataclasses.replace(COOLANT, temperature_c=90.0), 1.5, 90, 3.0),
        (dataclasses.replace(COOLANT, pressure_bar=2.0), 2.0, 115, 3.0),
    ],
)
def test_a_duty_is_the_services_usual_one_unless_stated(
    duty: Duty, bar: float, celsius: float, proof: float
) -> None:
    made = plan_join(ASK, (PLUG, TAIL), duty)
    assert (made.pressure_bar, made.temperature_c, made.proof_bar) == (bar, celsius, proof)


@pytest.mark.parametrize(
    ("donors", "duty", "question", "bore"),
    [
        # The narrower donor's own way, a plug drilled to it.
        ((PLUG, TAIL), COOLANT, ASK, 7.5),
        ((PLUG, TAIL), dataclasses.replace(COOLANT, bore_mm=5.0), ASK, 5.0),
        ((PLUG, TAIL), dataclasses.replace(COOLANT, bore_mm=8.0), ASK, 8.0),
        ((PLUG, TAIL), COOLANT, dataclasses.replace(ASK, bore_mm=8.0), 8.0),
    ],
)
def test_the_bore_that_is_left(donors: Any, duty: Duty, question: Question, bore: float) -> None:
    assert plan_join(question, donors, duty).form.bore_mm == bore


def refused(kind: type[Exception], *args: Any) -> str:
    with pytest.raises(kind) as caught:
        plan_join(*args)
    return str(caught.value)


def test_plans_that_cannot_be() -> None:
    closed = dataclasses.replace(TAIL, bore_mm=0.0)
    said = refused(UsageError, ASK, (PLUG, closed), COOLANT)
    assert said == "both donors are closed. Say which bore to drill: --bore 6"
    other = dataclasses.replace(ASK, port=parse_side("M20x1.5", "internal"))
    said = refused(UsageError, other, (PLUG, TAIL), COOLANT)
    assert said == (
        "P18: M18x1.5 male / closed has no end that seals on M20x1.5 female. Take another donor."
    )
    weak = dataclasses.replace(COOLANT, torch_kw=0.2)
    said = refused(RefusedError, ASK, (PLUG, TAIL), weak)
    assert said.startswith("a torch of 0.2 kW never gets it to 690 deg C; it takes more than ")
    assert said.endswith(" kW. State a larger torch with --torch.")
    hard = dataclasses.replace(COOLANT, torque_n_m=500.0)
    said = refused(OverloadError, ASK, (PLUG, TAIL), hard)
    assert said.startswith("the brazed joint would carry ") and "25 MPa allowed (end load" in said
    assert "torque 500.0 N m)" in said


def test_what_lacks_for_any_joint_is_said_of_both(plan: JoinPlan) -> None:
    thin = dataclasses.replace(TAIL, id="TH", hex_mm=12.0)
    short = dataclasses.replace(PLUG, id="SH", length_mm=19.5)
    with pytest.raises(NoMetalError) as caught:
        plan_join(ASK, (short, thin), COOLANT)
    said = caught.value.message
    assert said.startswith("SH and TH have no metal for a spigot and socket (spigot on SH: ")
    assert (
        "; spigot on TH: SH has 5.0 mm of solid body where a socket needs 6.0) nor for a " in said
    )
    assert caught.value.advice == "Take donors with longer or larger bodies."
    assert 0 < caught.value.short_mm < 10
    # Of what the metal allows the best has flats on both sides, then the thickest weakest wall.
    forms = possible_forms(plan.donors, 690.0)
    assert forms[0] == plan.form and len(forms) > 1
    sockets = [f for f in forms if f.sleeve is None]
    assert list(forms[: len(sockets)]) == sockets
    merits = [(min(f.flats_mm) >= practice("flats"), round(f.least_wall_mm, 2)) for f in sockets]
    assert merits == sorted(merits, reverse=True)


# Half sections.


def test_a_mirrored_piece_runs_the_other_way() -> None:
    piece = Piece(
        outside=(
            Step(start_mm=0.0, stop_mm=10.0, diameter_mm=8.0, kind="thread", thread_mm=7.0),
            Step(start_mm=10.0, stop_mm=30.0, diameter_mm=20.0, kind="hex"),
        ),
        bore=(Step(start_mm=0.0, stop_mm=30.0, diameter_mm=5.0),),
    )
    moved = piece.placed(50.0, mirrored=True)
    assert [(s.start_mm, s.stop_mm, s.kind) for s in moved.outside] == [
        (20.0, 40.0, "hex"),
        (40.0, 50.0, "thread"),
    ]
    assert moved.length_mm == piece.length_mm == 30.0
    plain = piece.placed(5.0)
    assert [(s.start_mm, s.stop_mm) for s in plain.outside] == [(5.0, 15.0), (15.0, 35.0)]
    assert plain.placed(-5.0) == piece


def test_a_donor_as_bought_and_as_machined(plan: JoinPlan) -> None:
    tail = plan.donors[1]
    whole = as_bought(tail)
    assert [s.kind for s in whole.outside] == ["tail", "hex", "thread"]
    assert whole.length_mm == TAIL.length_mm
    assert whole.outside[2].thread_mm == find("G 3/8").basic_minor_mm
    made = as_machined(tail, plan.form, 1)
    assert [s.kind for s in made.outside] == ["tail", "hex", "spigot"]
    assert made.outside[-1].diameter_mm == 15.5
    socket = as_machined(plan.donors[0], plan.form, 0)
    assert [s.diameter_mm for s in socket.bore] == pytest.approx([7.5, 15.66])
    assert socket.bore[-1].stop_mm - socket.bore[-1].start_mm == 8.0
    (lap,) = plan.form.laps
    near, far = lap_at(plan, lap)
    assert far - near == pytest.approx(8.0) and far == pytest.approx(31.5)


@pytest.mark.parametrize("turned", [False, True])
def test_a_fitting_of_the_stock_as_it_is(turned: bool) -> None:
    piece = in_stock(SENDER, turned)
    kinds = [s.kind for s in piece.outside]
    assert sorted(kinds) == ["hex", "thread"] and piece.length_mm == SENDER.length_mm
    # R 1/4 male outside, M10x1 female inside the hex.
    assert kinds[0] == ("hex" if turned else "thread")
    threads = [s for s in piece.bore if s.kind == "thread"]
    assert [s.thread_mm for s in threads] == [10.0]
    assert threads[0].start_mm == (0.0 if turned else SENDER.length_mm - 10.0)
    bare = dataclasses.replace(SENDER, hex_mm=None)
    widest = max(s.diameter_mm for s in in_stock(bare, turned).outside)
    assert widest == pytest.approx(find("R 1/4").basic_major_mm)
