"""What must not be brazed, and in which words; heat, alloys and laps at their bounds."""

import dataclasses
import math
from collections.abc import Callable
from typing import Any

import pytest

from pitchcam.errors import Exit, RefusedError, UsageError
from pitchcam.joining.brazing.alloys import Alloy, alloys, choose_alloy, flux_for
from pitchcam.joining.brazing.donors import Donor, end_lengths, kept_wall_mm, make_donor
from pitchcam.joining.brazing.form import WHY, Clearance, JointForm, Lap, Sleeve
from pitchcam.joining.brazing.heat import heating
from pitchcam.joining.brazing.refuse import (
    brazeable,
    check_duty,
    check_hose,
    doubtful_platings,
    known_platings,
    plating_row,
    service_row,
    usual_duty,
)
from pitchcam.joining.brazing.strength import (
    hoop_mpa,
    lap_for_full_strength_mm,
    lap_load,
    lap_torque_n_m,
)
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.mating.ends import parse_end
from pitchcam.joining.metals import metal
from pitchcam.joining.practice import practice
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.joining.tables import keyed

PLUG = Fitting(
    id="P1",
    end_a=parse_end("M18x1.5", "external"),
    end_b=parse_end("G 1/4", "external"),
    thread_a_mm=14.0,
    thread_b_mm=11.0,
    bore_mm=6.0,
    length_mm=60.0,
    hex_mm=24.0,
    material="brass",
    plating="none",
    count=1,
)


def with_(**changes: Any) -> Fitting:
    return dataclasses.replace(PLUG, **changes)


def refused(call: Callable[[], object]) -> tuple[str, str]:
    with pytest.raises(RefusedError) as caught:
        call()
    assert caught.value.exit_code == Exit.UNREADABLE
    return caught.value.message, caught.value.advice


@pytest.mark.parametrize(
    "service",
    # What burns, scalds, poisons or carries a brake is never planned here.
    [
        "fuel",
        "petrol",
        "diesel",
        "brake",
        "Brake Fluid",
        "clutch",
        "brake servo",
        "steering",
        "hydraulic",
        "automatic transmission",
        "turbocharger oil",
        "boost",
        "compressed air",
        "nitrogen",
        "propane",
        "acetylene",
        "refrigerant",
        "steam",
        "oxygen",
        "breathing air",
        "exhaust",
        "adblue",
        "drinking  water",
        "potable water",
    ],
)
def test_services_that_are_never_planned(service: str) -> None:
    message, _ = refused(lambda: service_row(service))
    assert message.startswith(f"not to be planned here for {service}: ")
    row = next(
        r
        for k, r in keyed("services").items()
        if " ".join(service.lower().split()) in (k, *r["also"].split(";"))
    )
    assert message == f"not to be planned here for {service}: {row['reason']}."
    refused(lambda: usual_duty(service))


@pytest.mark.parametrize(
    ("service", "bar", "celsius"),
    [
        ("coolant", 1.5, 115),
        ("antifreeze", 1.5, 115),
        ("Engine  Oil", 6, 130),
        ("gearbox oil", 1, 120),
        ("screen wash", 4, 60),
        ("manifold vacuum", 1, 110),
    ],
)
def test_services_that_are_planned_and_their_usual_duty(
    service: str, bar: float, celsius: float
) -> None:
    assert usual_duty(service) == (bar, celsius)
    assert service_row(service)["caution"]
    check_duty(bar, celsius)


def test_no_service_has_no_duty_and_an_unknown_one_is_asked() -> None:
    assert usual_duty(None) == (None, None)
    with pytest.raises(UsageError) as caught:
        service_row("beer")
    assert str(caught.value) == (
        "'beer' is no service of the table; plans are made for coolant, oil, gear oil, water, "
        "vacuum"
    )


@pytest.mark.parametrize(
    ("bar", "celsius", "says"),
    [
        (10.0, 150.0, None),
        (10.1, 20.0, "10.1 bar is above the 10 bar that a torch joint without a qualified "),
        (1.0, 150.5, "150.5 deg C is above the 150 deg C that such a joint is planned for."),
    ],
)
def test_the_bounds_of_a_torch_joint(bar: float, celsius: float, says: str | None) -> None:
    if says is None:
        check_duty(bar, celsius)
        return
    message, advice = refused(lambda: check_duty(bar, celsius))
    assert message.startswith(says) and "made part" in advice or "rated part" in advice


HOSE = Question(port=parse_side("M18x1.5", "internal"), part=parse_side("hose 10", "external"))


@pytest.mark.parametrize(
    ("question", "bar", "celsius", "says"),
    [
        (HOSE, 1.5, 125.0, None),
        (HOSE, 1.5, 126.0, "a usual coolant hose stands 125 deg C and would see 126."),
        (dataclasses.replace(HOSE, hose_c=140.0), 1.5, 140.0, None),
        (
            dataclasses.replace(HOSE, hose_c=100.0),
            1.5,
            115.0,
            "the hose stands 100 deg C and would see 115.",
        ),
        (dataclasses.replace(HOSE, hose_bar=2.0), 2.0, 100.0, None),
        (
            dataclasses.replace(HOSE, hose_bar=2.0),
            2.5,
            100.0,
            "the hose stands 2 bar and would see 2.5.",
        ),
        (dataclasses.replace(HOSE, part=parse_side("G 1/4", "external")), 9.0, 149.0, None),
    ],
)
def test_a_hose_has_a_rating(
    question: Question, bar: float, celsius: float, says: str | None
) -> None:
    if says is None:
        check_hose(question, bar, celsius)
    else:
        message, advice = refused(lambda: check_hose(question, bar, celsius))
        assert message == says
        assert advice.startswith("Take a hose rated for it, and state it with --hose-")


@pytest.mark.parametrize(
    ("material", "says"),
    [
        ("aluminium", "aluminium melts below the silver alloys' brazing heat"),
        ("zinc", "zinc die casting melts long before the alloy flows"),
        ("cast-iron", "the graphite in cast iron keeps the alloy from wetting it"),
        ("spring-steel", "brazing heat takes the temper out of spring steel"),
        ("steel-8.8", "no longer the strength class it is marked with"),
        ("nylon", "plastic burns"),
        ("ptfe", "PTFE gives off poisonous fume when heated"),
    ],
)
def test_metals_that_must_not_be_brazed(material: str, says: str) -> None:
    held = metal(material)
    assert held is not None
    message, advice = refused(lambda: brazeable(with_(material=material)))
    assert message.startswith(f"P1 is {held.name}: ") and says in message
    assert advice == "Take other donors."


def test_a_metal_that_nobody_knows_may_fume() -> None:
    message, advice = refused(lambda: brazeable(with_(material="pot metal")))
    assert message == (
        "P1 is of 'pot metal', which the metals table does not know: its melting and its fumes "
        "are not known either."
    )
    assert advice.startswith("Known: brass, brass-617, ")


@pytest.mark.parametrize("word", ["none", "no", "bare", "stripped", " None "])
def test_a_bare_donor_may_be_brazed(word: str) -> None:
    assert brazeable(with_(plating=word)) == metal("brass")
    assert brazeable(with_(plating=word, material="steel")) == metal("steel")


def test_steel_of_no_stated_plating_may_be_cadmium_and_brass_is_not() -> None:
    assert brazeable(with_(plating="")) == metal("brass")
    message, advice = refused(lambda: brazeable(with_(plating=" ", material="steel")))
    assert message == "P1 is of steel and its plating is not stated: it may be cadmium."
    assert advice == "Find out; write none in its plating if it is bare."


@pytest.mark.parametrize(
    ("word", "kind"),
    [
        ("none", "bare"),
        ("nickel", "spoils"),
        ("Chrome", "spoils"),
        ("black oxide", "spoils"),
        ("zinc", "fumes"),
        ("zinc-nickel", "fumes"),
        ("galvanised", "fumes"),
        ("cadmium", "cadmium"),
        ("kadmium", "cadmium"),
        # Of several words the worst counts, and every one must be known.
        ("nickel, zinc", "fumes"),
        ("nickel chrome", "spoils"),
        ("zinc + cadmium", "cadmium"),
        ("gold over cadmium", "cadmium"),
        ("zinc (shiny)", None),
        ("gold", None),
        ("none, gold", None),
    ],
)
def test_platings(word: str, kind: str | None) -> None:
    row = plating_row(word)
    assert (None if row is None else row["kind"]) == kind


@pytest.mark.parametrize(
    ("word", "message", "advice"),
    [
        ("cadmium", "P1 is cadmium plated (cadmium): its fume kills", "Do not heat, file or strip"),
        ("gold", "P1 is plated (gold): that word is not known to be harmless", "Do not heat, file"),
        ("nickel", "P1 is plated (nickel): the alloy wets the plating", "Take a bare donor, or"),
        ("zinc", "P1 is plated (zinc): it gives off zinc fume", "Take a bare donor, or strip"),
    ],
)
def test_a_plated_donor_is_refused(word: str, message: str, advice: str) -> None:
    said, do = refused(lambda: brazeable(with_(plating=word)))
    assert said.startswith(message) and do.startswith(advice)
    # Cadmium is never stripped, zinc chemically.
    assert ("strip it chemically" in do) == (word in ("nickel", "zinc"))


def test_stock_with_cadmium_is_listed() -> None:
    rows = (
        PLUG,
        with_(id="C", plating="cd"),
        with_(id="G", plating="gold"),
        with_(id="S", plating="", material="steel"),
        with_(id="Z", plating="zinc"),
        with_(id="U", plating="", material="unobtainium"),
    )
    assert doubtful_platings(rows) == (
        "C: cadmium plated (cd)",
        "G: 'gold' is not known, so possibly cadmium",
        "S: steel of unstated plating, so possibly cadmium",
    )


def test_known_platings_stand_by_what_they_mean() -> None:
    heads = [part.split(": ") for part in known_platings().split("; ")]
    assert [h for h, _ in heads] == [
        "bare",
        "harmless, but must come off before brazing",
        "zinc fume, must come off before brazing",
        "never to be heated, filed or stripped",
    ]
    assert sum(len(words.split(", ")) for _, words in heads) == len(keyed("platings"))
    assert "cadmium" in heads[3][1] and "nickel" in heads[1][1]


# Alloys.


def test_the_choice_is_the_lowest_heat_then_the_least_silver() -> None:
    brass = metal("brass")
    assert brass is not None
    chosen = choose_alloy((brass, brass))
    fit = [a for a in alloys() if brass.solidus_c - a.working_c >= practice("margin")]
    decade = {math.ceil(a.liquidus_c / 10) for a in fit}
    assert math.ceil(chosen.alloy.liquidus_c / 10) == min(decade)
    rivals = [a for a in fit if math.ceil(a.liquidus_c / 10) == min(decade)]
    assert chosen.alloy.silver_percent == min(a.silver_percent for a in rivals)
    assert chosen.weakest_parent == brass.name
    assert {a.key for a in alloys()} - {a.key for a in fit} == {"Ag 225", "Ag 463", "Ag 130"}


@pytest.mark.parametrize("typed", ["Ag 155", "ag155", "155", "AG-155"])
def test_an_alloy_by_its_number(typed: str) -> None:
    steel = metal("steel")
    assert steel is not None
    assert choose_alloy((steel, steel), typed).alloy.key == "Ag 155"


def test_an_unknown_alloy_may_hold_cadmium() -> None:
    steel = metal("steel")
    assert steel is not None
    message, advice = refused(lambda: choose_alloy((steel, steel), "Ag 999"))
    assert message == "'Ag 999' is none of the cadmium-free alloys of the table."
    assert advice.startswith("Take one of Ag 155, ")
    assert advice.endswith("an old unmarked rod may hold cadmium.")


def test_a_parent_that_softens_first_is_named() -> None:
    brass, zinc = metal("brass"), metal("zinc")
    assert brass is not None and zinc is not None
    message, advice = refused(lambda: choose_alloy((brass, zinc)))
    assert message == (
        "zinc die casting softens at 380 deg C: no silver alloy keeps 100 K below it."
    )
    assert advice == "Use a made part."
    message, advice = refused(lambda: choose_alloy((brass, brass), "Ag 463"))
    assert message.startswith("Ag 463 works at 830 deg C, only 45 K below where leaded brass")
    assert advice == "Keep 100 K: take a lower alloy."


def test_metals_without_a_flux_are_refused() -> None:
    nylon, steel = metal("nylon"), metal("steel")
    assert nylon is not None and steel is not None
    plastic = dataclasses.replace(nylon, solidus_c=2000.0)
    message, _ = refused(lambda: choose_alloy((plastic, steel)))
    assert message == "no flux of the table suits these metals."
    message, advice = refused(lambda: choose_alloy((plastic, steel), "Ag 155"))
    assert message == "no flux of the table suits Ag 155 on these metals."
    assert advice == "Take a lower alloy."


@pytest.mark.parametrize("alloy", alloys(), ids=lambda a: a.key)
def test_an_alloy_is_as_dense_as_its_maker_says_but_for_what_adding_volumes_misses(
    alloy: Alloy,
) -> None:
    # Makers' lists in g/cm3, from memory; zinc draws copper together, which adding volumes misses.
    makers = {"155": 9.4, "145": 9.2, "140": 9.1, "134": 9.0, "130": 8.9, "244": 9.1, "225": 8.8}
    listed = makers.get(alloy.key.removeprefix("Ag "))
    if listed is not None:
        assert 0.95 * listed < alloy.density_kg_m3 / 1e3 < listed
    assert alloy.working_c == alloy.liquidus_c + 30
    assert alloy.composition.startswith(f"Ag{alloy.silver_percent:g} Cu")
    flux = flux_for(alloy, (metal("stainless"),))
    if flux is not None:
        assert flux.key in ("FH12", "FH21")


# Laps and heat.


def test_a_lap_by_hand() -> None:
    load = lap_load(14.0, 6.0, 10.0, 12.0)
    area = math.pi * 14 * 6
    assert load.end_load_n == pytest.approx(1.0 * math.pi / 4 * 14**2)
    assert load.pressure_stress_mpa == pytest.approx(load.end_load_n / area)
    assert load.torque_stress_mpa == pytest.approx(12_000 / (area * 7))
    both = math.hypot(load.pressure_stress_mpa, load.torque_stress_mpa)
    assert load.stress_mpa == pytest.approx(both)
    assert load.factor == pytest.approx(100 / both) and load.allowed_mpa == 25


def test_the_torque_of_a_lap_brings_it_to_what_is_allowed() -> None:
    idle = lap_load(14.0, 6.0, 10.0, 0.0)
    most = lap_torque_n_m(idle, 14.0, 6.0)
    assert lap_load(14.0, 6.0, 10.0, most).stress_mpa == pytest.approx(25)
    # An end load beyond what is allowed leaves nothing for torque.
    torn = dataclasses.replace(idle, pressure_stress_mpa=30.0)
    assert lap_torque_n_m(torn, 14.0, 6.0) == 0.0


@pytest.mark.parametrize(("wall", "diameter"), [(1.0, 10.0), (1.5, 12.0), (2.0, 20.0)])
def test_a_lap_as_strong_as_the_wall(wall: float, diameter: float) -> None:
    # W (D - W) T / (C L D): the wall's pull over what the filler bears around the lap.
    lap = lap_for_full_strength_mm(360.0, wall, diameter)
    pull = math.pi * (diameter - wall) * wall * 360.0
    assert pull == pytest.approx(0.8 * 172 * math.pi * diameter * lap)


@pytest.mark.parametrize(("bore", "wall"), [(8.0, 1.0), (8.0, 4.0), (6.0, 30.0)])
def test_hoop_stress_of_a_thick_wall(bore: float, wall: float) -> None:
    stress = hoop_mpa(100.0, bore, wall)
    inner, outer = bore / 2, bore / 2 + wall
    # Lame: never under the pressure itself, and balance of a half ring: p b = 2 integral.
    assert stress > 10.0
    a = 10.0 * inner**2 / (outer**2 - inner**2)
    assert stress == pytest.approx(a * (1 + outer**2 / inner**2))


def test_more_torch_is_quicker_and_a_small_one_never_gets_there() -> None:
    args = (80.0, 6000.0, 0.6, 690.0)
    strong, weak = heating(*args, 3.0), heating(*args, 1.5)
    assert strong.stored_kj == weak.stored_kj == pytest.approx(80 * 670 / 1e3)
    assert strong.seconds is not None and weak.seconds is not None
    assert strong.seconds < weak.seconds
    assert strong.lost_kj is not None and weak.lost_kj is not None
    assert strong.lost_kj < weak.lost_kj
    assert weak.seconds_range is not None
    assert weak.seconds_range[0] < weak.seconds < weak.seconds_range[1]
    small = heating(*args, weak.least_kw * 0.999)
    assert (small.seconds, small.lost_kj, small.seconds_range) == (None, None, None)
    assert heating(*args, weak.least_kw * 1.01).seconds is not None
    # Losses at working heat: Stefan and Boltzmann, and 10 W/m2K of still air.
    loss = 6e-3 * (10 * 670 + 0.6 * 5.670374419e-8 * (963.15**4 - 293.15**4))
    assert weak.least_kw == pytest.approx(loss / 0.3 / 1e3)


# Donors and forms.


def donor(keep_b: bool = False, bore: float = 0.0, **changes: Any) -> Donor:
    return make_donor(with_(**changes), keep_b, bore)


def test_a_donor_is_measured_from_the_tip_of_what_stays() -> None:
    one, other = donor(), donor(keep_b=True)
    assert (one.keep_thread_mm, one.cut_thread_mm) == (14.0, 11.0)
    assert (other.keep_thread_mm, other.cut_thread_mm) == (11.0, 14.0)
    assert one.body_mm == other.body_mm == pytest.approx(60 - 14 - 11)
    assert one.body_left_mm == pytest.approx(35 - practice("facing"))
    assert one.saw_at_mm == pytest.approx(14 + 35) and one.solid_mm == one.body_left_mm
    # Down to the root of the thread that goes, in half mm: G 1/4 has 11.445.
    assert one.stub_mm == 11.0 and other.stub_mm == 16.0
    assert not one.drilled and one.final_bore_mm == 6.0


def test_a_bore_is_opened_where_the_way_asks_for_more() -> None:
    assert donor(bore=8.0).final_bore_mm == 8.0 and donor(bore=8.0).drilled
    assert donor(bore=4.0).final_bore_mm == 6.0
    # M18x1.5: root 16.376; a wall of (16.376 - 8) / 2.
    assert kept_wall_mm(donor(bore=8.0)) == pytest.approx((16.376 - 8) / 2, abs=1e-3)
    female = donor(end_a=parse_end("M14x1.5", "internal"), thread_a_mm=12.0, bore=4.0)
    assert kept_wall_mm(female) == pytest.approx((24 - 14) / 2)
    assert (female.keep_thread_mm, female.keep_depth_mm) == (0.0, 12.0)
    tail = donor(end_a=parse_end("hose 10", "external"), thread_a_mm=20.0)
    assert kept_wall_mm(tail) == pytest.approx((10 - 6) / 2)


@pytest.mark.parametrize(
    ("changes", "bore", "says"),
    [
        ({"length_mm": 26.0}, 0.0, "P1 has only 0.5 mm of body left once its other end is off"),
        (
            {},
            21.1,
            "a bore of 21.1 mm leaves 1.45 mm of wall in the hex of P1; 1.5 mm is the least.",
        ),
        ({}, 13.5, "a bore of 13.5 mm leaves 1.44 mm of wall in M18x1.5 male of P1; 1.5 mm is "),
    ],
)
def test_a_donor_without_metal_is_refused(changes: dict[str, Any], bore: float, says: str) -> None:
    message, advice = refused(lambda: donor(bore=bore, **changes))
    assert message.startswith(says)
    assert advice.startswith(("Take a donor with a longer hex", "Ask for less bore, or take"))


def test_a_donor_without_an_end_or_a_hex_is_wrong_usage() -> None:
    with pytest.raises(UsageError, match="P1 has nothing to keep at that end"):
        donor(end_a=None)
    with pytest.raises(UsageError, match="P1 does not state its hex"):
        donor(hex_mm=None)


def test_lengths_of_ends() -> None:
    assert end_lengths(None, 12.0) == (0.0, 0.0)
    assert end_lengths(parse_end("M14x1.5", "external"), 12.0) == (12.0, 0.0)
    assert end_lengths(parse_end("M14x1.5", "internal"), 12.0) == (0.0, 12.0)
    outside, _ = end_lengths(parse_end("M14x1.5", "external"), None)
    assert outside == pytest.approx(0.8 * 13.968)


def lap(donor_: int, spigot: float, overlap: float) -> Lap:
    clearance = Clearance(grows_mm=0.02, u_grows_mm=0.005, cold_mm=(0.08, 0.14, 0.28))
    return Lap(
        donor=donor_,
        from_thread=False,
        over_thread=False,
        spigot_mm=spigot,
        overlap_mm=overlap,
        walls_mm=(2.0, 1.8),
        clearance=clearance,
    )


def test_a_joint_is_as_its_laps_are() -> None:
    brass, steel = metal("brass"), metal("steel")
    assert brass is not None and steel is not None
    one, other = lap(0, 14.0, 6.0), lap(1, 12.0, 7.0)
    socket = JointForm(laps=(one,), sleeve=None, bore_mm=6.0, flats_mm=(6.0, 7.0))
    sleeve = Sleeve(metal=steel, outside_mm=20.0, length_mm=13.0)
    sleeved = dataclasses.replace(socket, laps=(one, other), sleeve=sleeve)
    assert (socket.name, sleeved.name) == ("spigot and socket", "sleeve over two spigots")
    # Torque goes by diameter squared times overlap: 1176 against 1008.
    assert sleeved.weakest is other and socket.weakest is one
    assert one.area_mm2 == pytest.approx(math.pi * 84) and one.bore_mm == 14.14
    assert sleeved.area_mm2 == pytest.approx(math.pi * (84 + 84))
    assert one.spigot_length_mm == 6.0 + practice("mouth") and socket.least_wall_mm == 1.8
    assert socket.lap_of(0) is one and socket.lap_of(1) is None and sleeved.lap_of(1) is other
    pair = donor(), donor(material="steel")
    assert socket.metals(pair, one) == (brass, steel)
    assert sleeved.metals(pair, other) == (steel, steel)
    assert "shear" in WHY and "fillets" in WHY
