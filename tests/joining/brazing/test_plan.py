"""The made adapter: geometry, refusals, donors from stock, the sheet. The fittings are invented."""

import json
import math
from dataclasses import replace
from datetime import date

import numpy as np
import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from pitchcam.cli.join import command
from pitchcam.errors import PitchcamError, RefusedError, UsageError
from pitchcam.joining.brazing.choose import choose_donors
from pitchcam.joining.brazing.donors import kept_wall_mm, make_donor
from pitchcam.joining.brazing.figures import donor_mass_g
from pitchcam.joining.brazing.plan import Duty, plan_join
from pitchcam.joining.brazing.refuse import service_row
from pitchcam.joining.brazing.search import NoMetalError
from pitchcam.joining.brazing.steps import cautions, plan_warnings, steps
from pitchcam.joining.brazing.strength import lap_for_full_strength_mm
from pitchcam.joining.brazing.text import figures, plan_json, plan_text
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.mating.ends import parse_end
from pitchcam.joining.papers import drawing
from pitchcam.joining.papers.half_section import as_bought, as_machined, assembled
from pitchcam.joining.papers.worksheet import write_worksheet
from pitchcam.joining.practice import practice
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.joining.stock.store import stock_csv
from pitchcam.paper import MM, PAPERS
from tests import printed

ASK = Question(port=parse_side("M18x1.5", "internal"), part=parse_side("hose 10", "external"))
COOLANT = Duty(service="coolant")


def fitting(name, a, gender_a, b, gender_b, **more):
    ends = [None if t is None else parse_end(t, g) for t, g in ((a, gender_a), (b, gender_b))]
    given = {
        "bore_mm": 7.5,
        "length_mm": 52.0,
        "hex_mm": 22.0,
        "material": "brass",
        "plating": "none",
        "count": 2,
    }
    return Fitting(id=name, end_a=ends[0], end_b=ends[1], **(given | more))


PLUG = fitting(
    "P18",
    "M18x1.5",
    "external",
    None,
    "external",
    thread_a_mm=14.0,
    length_mm=32.0,
    hex_mm=24.0,
    bore_mm=0.0,
)
TAIL = fitting(
    "T10", "hose 10", "external", "G 3/8", "external", thread_a_mm=24.0, thread_b_mm=12.0
)
STEEL_TAIL = replace(TAIL, id="T10S", material="steel", hex_mm=19.0)


def test_brass_plug_and_tail():
    plan = plan_join(ASK, (PLUG, TAIL), COOLANT)
    form = plan.form
    (lap,) = form.laps
    assert (lap.donor, lap.from_thread, lap.over_thread) == (1, False, False)
    # The walls are balanced: (24 + 7.5) / 2 = 15.75, down to the half mm.
    assert lap.spigot_mm == 15.5 and lap.walls_mm == (4.0, 4.25) and form.sleeve is None
    assert plan.donors[1].saw_at_mm == pytest.approx(40.0)
    assert plan.length_mm == pytest.approx(31.5 + 39.5 - lap.overlap_mm)
    assert form.area_mm2 == pytest.approx(math.pi * 15.5 * lap.overlap_mm)
    assert practice("overlap_least") <= lap.overlap_mm <= 3 * 4.0 + 0.5
    # As strong as the thinner wall, by the lap formula.
    assert lap.overlap_mm >= lap_for_full_strength_mm(360, 4.0, 15.5)
    assert plan.donors[0].drilled and not plan.donors[1].drilled and form.bore_mm == 7.5
    assert plan.proof_bar == practice("proof_least")
    assert plan.load.factor > 4 and plan.heat.seconds > 10


def test_pieces_fill_the_length_and_do_not_overlap():
    """The two half sections, sampled along the axis, leave the clearance and share no metal."""
    for donors in ((PLUG, TAIL), (PLUG, STEEL_TAIL), (TAIL_ON_STUB, TAIL)):
        ask = ASK if donors[0] is PLUG else replace(ASK, port=parse_side("M10x1", "internal"))
        plan = plan_join(ask, donors, COOLANT)
        one, two = assembled(plan)
        ends = [s for piece in (one, two) for s in piece.outside]
        assert min(s.start_mm for s in ends) == pytest.approx(0.0)
        assert max(s.stop_mm for s in ends) == pytest.approx(plan.length_mm)
        for z in np.linspace(0.01, plan.length_mm - 0.01, 800):
            rings = [ring(piece, z) for piece in (one, two)]
            rings = sorted(r for r in rings if r is not None)
            assert rings, "a hole along the axis"
            if len(rings) == 2:
                gap = rings[1][0] - rings[0][1]
                lap = plan.form.laps[0]
                assert gap == pytest.approx(lap.clearance.cold_mm[1] / 2, abs=1e-9)


def ring(piece, z):
    """The metal of a piece at z as (inner, outer) radius, None outside it."""
    outer = [s.diameter_mm / 2 for s in piece.outside if s.start_mm <= z <= s.stop_mm]
    inner = [s.diameter_mm / 2 for s in piece.bore if s.start_mm <= z <= s.stop_mm]
    return (max(inner, default=0.0), max(outer)) if outer else None


# A nipple whose hex is too short for a spigot: the thread it does not need becomes the spigot.
TAIL_ON_STUB = fitting(
    "N10",
    "M10x1",
    "external",
    "M16x1.5",
    "external",
    thread_a_mm=9.0,
    thread_b_mm=12.0,
    length_mm=27.0,
    hex_mm=17.0,
    bore_mm=6.0,
)


def test_spigot_from_the_unwanted_thread():
    ask = replace(ASK, port=parse_side("M10x1", "internal"))
    plan = plan_join(ask, (TAIL_ON_STUB, TAIL), replace(COOLANT, torque_n_m=5.0))
    (lap,) = plan.form.laps
    assert lap.from_thread and lap.donor == 0
    # M16x1.5's root is 14.376: the spigot stays under it.
    assert lap.spigot_mm <= 14.0
    assert plan.length_mm == pytest.approx(9.0 + 6.0 + 1.0 + 39.5)
    assert "stay as the spigot" in plan_text(plan) and "Turn A down" in plan_text(plan)


def test_no_metal_for_a_spigot_is_refused_with_what_lacks():
    thin = fitting("JJ", "hose 10", "external", "hose 12", "external", hex_mm=12.8, length_mm=66.0)
    with pytest.raises(NoMetalError, match=r"9.5 mm thick where 10.5 are needed for 1.5 mm"):
        plan_join(ASK, (replace(PLUG, hex_mm=12.8, length_mm=20.0), thin), COOLANT)


@pytest.mark.parametrize("service", ["oil", "coolant", "water", "gear oil", "vacuum"])
def test_a_butt_is_never_planned(service):
    """Bodies that once were faced and butted: too short for a socket or a spigot."""
    short = replace(TAIL, id="SH", length_mm=24 + 12 + 6.5, hex_mm=14.0)
    pair = (replace(PLUG, length_mm=19.5, hex_mm=22.0), short)
    with pytest.raises(NoMetalError, match="never brazed together"):
        plan_join(replace(ASK, hose_c=150.0), pair, Duty(service=service, torque_n_m=3.0))


SENDER = fitting(
    "A5",
    "R 1/4",
    "external",
    "M10x1",
    "internal",
    thread_a_mm=12.0,
    thread_b_mm=10.0,
    length_mm=28.0,
    hex_mm=17.0,
    bore_mm=8.0,
)
STEEL_PLUG = fitting(
    "P22",
    "M22x1.5",
    "external",
    None,
    "external",
    thread_a_mm=14.0,
    length_mm=30.0,
    hex_mm=27.0,
    bore_mm=0.0,
    material="steel",
)


def test_spigot_around_the_thread_that_stays():
    """The sender's female thread takes up the body: the spigot is turned on the hex around it."""
    ask = Question(port=parse_side("M22x1.5", "internal"), part=parse_side("M10x1", "external"))
    plan = plan_join(ask, (STEEL_PLUG, SENDER), Duty(service="oil"))
    (lap,) = plan.form.laps
    assert lap.over_thread and lap.donor == 1
    assert (lap.spigot_mm - 10.0) / 2.0 >= practice("wall_min")
    assert min(plan.form.flats_mm) >= practice("flats")
    assert "plug it while turning" in plan_text(plan)


def test_overlap_is_cut_to_what_the_bodies_give_and_judged_by_its_load():
    short = replace(PLUG, length_mm=14.0 + 8.5)
    full, cut = (plan_join(ASK, (p, TAIL), COOLANT) for p in (PLUG, short))
    assert full.form.laps[0].overlap_mm == 8.0 and cut.form.laps[0].overlap_mm == 6.0
    assert "the bodies give no more" in plan_text(cut)
    assert cut.load.stress_mpa > full.load.stress_mpa


def test_unlike_metals_shift_the_cold_clearance_the_right_way():
    """Brass outside opens when hot, so it is fitted tighter cold; brass inside the reverse."""
    rise = 690 - 20
    pairs = ((PLUG, replace(STEEL_TAIL, hex_mm=30.0)), (replace(PLUG, hex_mm=30.0), STEEL_TAIL))
    inside, outside = (plan_join(ASK, pair, COOLANT).form.laps[0] for pair in pairs)
    assert (inside.donor, outside.donor) == (0, 1)
    wanted = inside.spigot_mm * (14.9e-6 - 22.1e-6) * rise
    assert inside.clearance.grows_mm == pytest.approx(wanted, rel=1e-6)
    assert inside.clearance.cold_mm[1] == pytest.approx(0.16 - wanted, rel=1e-6)
    hot = [c + inside.clearance.grows_mm for c in inside.clearance.cold_mm]
    assert hot == pytest.approx([0.10, 0.16, 0.30])
    assert outside.clearance.grows_mm > 0 and outside.clearance.cold_mm[1] < 0.16
    assert outside.clearance.cold_mm[0] == pytest.approx(0.10 - outside.clearance.grows_mm)
    assert inside.clearance.u_grows_mm == pytest.approx(
        inside.spigot_mm * rise * math.hypot(0.5e-6, 0.8e-6)
    )


SLEEVED = (
    fitting(
        "N",
        "R 1/4",
        "external",
        "R 1/8",
        "external",
        thread_a_mm=12.0,
        thread_b_mm=9.0,
        length_mm=31.0,
        hex_mm=14.0,
        bore_mm=5.0,
    ),
    fitting(
        "S",
        "G 1/4",
        "internal",
        "G 1/8",
        "internal",
        thread_a_mm=13.0,
        thread_b_mm=9.0,
        length_mm=27.0,
        hex_mm=19.0,
        bore_mm=8.0,
    ),
)


def test_a_sleeve_where_neither_body_takes_a_socket():
    ask = Question(port=parse_side("Rc 1/4", "internal"), part=parse_side("G 1/4", "external"))
    plan = plan_join(ask, SLEEVED, Duty(service="oil"))
    form = plan.form
    assert form.sleeve is not None and [lap.donor for lap in form.laps] == [0, 1]
    assert form.sleeve.length_mm == pytest.approx(sum(lap.overlap_mm for lap in form.laps))
    assert form.least_wall_mm >= practice("wall_min")
    # The tips meet: the length is that of both pieces, and the sleeve hides what it covers.
    assert plan.length_mm == pytest.approx(
        sum(d.keep_thread_mm + d.body_left_mm for d in plan.donors)
    )
    one, other, sleeve = assembled(plan)
    assert sleeve.length_mm == pytest.approx(form.sleeve.length_mm)
    for z in np.linspace(0.01, plan.length_mm - 0.01, 600):
        rings = sorted(r for r in (ring(p, z) for p in (one, other, sleeve)) if r is not None)
        assert rings, "a hole along the axis"
        for inner, outer in zip(rings, rings[1:], strict=False):
            assert outer[0] - inner[1] > 0.04
    # The weaker lap is the one that is judged: torque goes by diameter squared times overlap.
    assert form.weakest.donor == 0
    assert plan.load.torque_stress_mpa == pytest.approx(
        plan.load.torque_n_m
        * 1e3
        * 2
        / (math.pi * form.weakest.spigot_mm**2 * form.weakest.overlap_mm)
    )
    text = plan_text(plan)
    assert "Sleeve for A" in text and "bore the sleeve from both ends" in text
    assert plan_json(plan)["joint"] == "sleeve over two spigots"


def test_sleeve_of_unlike_donors_is_of_the_one_that_turns_easily():
    ask = Question(port=parse_side("Rc 1/4", "internal"), part=parse_side("G 1/4", "external"))
    pair = (replace(SLEEVED[0], material="steel"), SLEEVED[1])
    form = plan_join(ask, pair, Duty(service="oil")).form
    assert form.sleeve.metal.key == "brass"
    # Brass around steel opens in the heat, brass around brass stays.
    assert form.laps[0].clearance.grows_mm > 0.0 and form.laps[1].clearance.grows_mm == 0.0


def test_mass_is_that_of_the_drawn_piece():
    """The drawn half section turned about the axis, with the hex's section, gives the mass."""
    donor = plan_join(ASK, (PLUG, TAIL), COOLANT).donors[0]
    form = plan_join(ASK, (PLUG, TAIL), COOLANT).form
    piece = as_machined(donor, form, 0)
    volume = sum(
        (math.sqrt(3) / 2 if s.kind == "hex" else math.pi / 4)
        * s.diameter_mm**2
        * (s.stop_mm - s.start_mm)
        for s in piece.outside
    )
    # The bore as drilled, without the socket: the mass is of the piece before it is bored out.
    volume -= math.pi / 4 * donor.final_bore_mm**2 * piece.length_mm
    assert donor_mass_g(donor) == pytest.approx(volume * 8470e-6, rel=1e-9)


def test_female_kept_end_is_left_whole():
    sleeve = fitting(
        "C",
        "M18x1.5",
        "internal",
        "M14x1.5",
        "internal",
        thread_a_mm=13.0,
        thread_b_mm=12.0,
        length_mm=44.0,
        hex_mm=24.0,
        bore_mm=9.0,
    )
    donor = make_donor(sleeve, False, 7.5)
    assert donor.body_left_mm == pytest.approx(44 - 12 - 0.5)
    assert donor.solid_mm == pytest.approx(44 - 12 - 0.5 - 13)
    assert as_bought(donor).length_mm == pytest.approx(44.0)
    assert kept_wall_mm(donor) == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("service", "word"),
    [
        ("fuel rail", "burns the vehicle"),
        ("Petrol", "burns"),
        ("brakes", "brake and clutch"),
        ("hydraulic", "60 bar"),
        ("compressed air", "throws parts"),
        ("LPG", "licensed work"),
        ("refrigerant", "licensed"),
        ("exhaust", "creep"),
        ("steam", "hot"),
        ("oxygen", "burn"),
    ],
)
def test_services_that_are_refused(service, word):
    with pytest.raises(RefusedError, match=word):
        plan_join(ASK, (PLUG, TAIL), Duty(service=service))
    with pytest.raises(RefusedError, match=word):
        choose_donors(ASK, [PLUG, TAIL], Duty(service=service))


def test_service_unknown_is_wrong_usage():
    with pytest.raises(UsageError, match="no service of the table"):
        service_row("moonshine")


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"material": "aluminium"}, "aluminium melts"),
        ({"material": "spring-steel"}, "temper"),
        ({"material": "steel-8.8"}, "strength class"),
        ({"material": "zinc"}, "die casting"),
        ({"material": "nylon"}, "plastic burns"),
        ({"material": "cast-iron"}, "graphite"),
        ({"material": "mystery"}, "does not know"),
        ({"plating": "Cadmium, yellow"}, "fume kills"),
        ({"plating": "Cd"}, "fume kills"),
        ({"plating": "yellow passivate"}, "possibly cadmium"),
        ({"plating": "zinc passivated"}, "possibly cadmium"),
        ({"plating": "gold"}, "possibly cad"),
        ({"plating": "Cd/zinc"}, "fume kills"),
        ({"material": "steel", "plating": ""}, "not stated: it may be cadmium"),
        ({"plating": "zinc"}, "gives off zinc fume"),
        ({"plating": "chrome"}, "plated"),
        ({"plating": "zinc, tin"}, "gives off zinc fume"),
        ({"hex_mm": 9.0}, "in the hex"),
        ({"length_mm": 38.0}, "nothing to hold"),
    ],
)
def test_donors_that_are_refused(change, word):
    with pytest.raises(RefusedError, match=word):
        plan_join(ASK, (PLUG, replace(TAIL, **change)), COOLANT)


@pytest.mark.parametrize(
    ("duty", "word"),
    [
        ({"pressure_bar": 11.0}, "above the 10 bar"),
        ({"temperature_c": 160.0}, "above the 150"),
        ({"torque_n_m": 200.0}, "brazed joint would carry"),
        ({"torch_kw": 0.2}, "never gets it"),
        ({"bore_mm": 9.0}, "mm of wall"),
        ({"alloy": "Ag 225"}, "only 55 K"),
    ],
)
def test_duties_that_are_refused(duty, word):
    with pytest.raises(RefusedError, match=word):
        plan_join(ASK, (PLUG, TAIL), replace(COOLANT, **duty))


@pytest.mark.parametrize(
    ("rating", "service", "word"),
    [
        ({"hose_c": 100.0}, "coolant", "stands 100 deg C and would see 115"),
        ({"hose_bar": 1.0}, "coolant", "stands 1 bar and would see 1.5"),
        ({}, "oil", "usual coolant hose stands 125 deg C"),
    ],
)
def test_hose_that_does_not_stand_it(rating, service, word):
    with pytest.raises(RefusedError, match=word):
        plan_join(replace(ASK, **rating), (PLUG, TAIL), Duty(service=service))


def test_hose_rated_for_it():
    plan = plan_join(replace(ASK, hose_c=150.0, hose_bar=10.0), (PLUG, TAIL), Duty(service="oil"))
    assert "The hose itself must be rated for 6 bar and 130 deg C" in " ".join(plan_warnings(plan))


def test_donors_without_a_fitting_end_or_hex():
    with pytest.raises(UsageError, match="no end that seals"):
        plan_join(ASK, (TAIL, TAIL), COOLANT)
    with pytest.raises(UsageError, match="does not state its hex"):
        plan_join(ASK, (PLUG, replace(TAIL, hex_mm=None)), COOLANT)
    ask = replace(ASK, part=parse_side("G 3/8", "internal"))
    closed = fitting("Q", "G 3/8", "external", None, "external", bore_mm=0.0, length_mm=30.0)
    with pytest.raises(UsageError, match="both donors are closed"):
        plan_join(ask, (PLUG, closed), COOLANT)


def test_donors_from_stock_avoid_what_is_refused():
    bad = [
        replace(TAIL, id="CD", plating="cadmium"),
        replace(TAIL, id="AL", material="aluminium"),
        replace(TAIL, id="NONE", count=0),
        replace(TAIL, id="NOHEX", hex_mm=None),
    ]
    plan = choose_donors(ASK, [*bad, STEEL_TAIL, PLUG, TAIL], COOLANT)
    assert [d.fitting.id for d in plan.donors] == ["P18", "T10"]
    with pytest.raises(RefusedError, match="fume kills|aluminium"):
        choose_donors(ASK, [*bad, PLUG], COOLANT)
    with pytest.raises(RefusedError, match="no donor with an end for M18x1.5"):
        choose_donors(ASK, [TAIL], COOLANT)


def test_every_sheet_carries_the_cautions():
    plan = plan_join(ASK, (PLUG, TAIL), COOLANT)
    text = " ".join(cautions(plan)).lower()
    for word in (
        "fume",
        "fluoride",
        "zinc",
        "cadmium",
        "water",
        "eye",
        "extraction",
        "pressure",
        "local codes",
        "extinguisher",
    ):
        assert word in text
    steel = plan_join(ASK, (PLUG, replace(STEEL_TAIL, material="stainless", plating="")), COOLANT)
    notes = " ".join(plan_warnings(steel))
    assert "interface" in notes and "Two metals" in notes and "plating" in notes
    assert steel.choice.flux.key == "FH12"


def test_work_sheet_has_every_figure(tmp_path):
    plan = plan_join(ASK, (PLUG, TAIL), COOLANT)
    path = tmp_path / "sheet.pdf"
    write_worksheet(plan, path, date(2026, 5, 4))
    text = "".join("".join(p.extract_text().split()) for p in PdfReader(path).pages)
    for figure in figures(plan):
        assert "".join(figure.value.split()) in text
        assert "".join(figure.how.split())[:20] in text
    for step in steps(plan):
        assert "".join(step.split())[:40] in text
    for word in (
        "Adapterasbrazed,2:1",
        "Orderofwork",
        "Cautions",
        "50mmwhenprinted",
        "63.0overall",
        "sawat40.0",
    ):
        assert word in text
    # Who reads down the sheet has read of fume and fire when the torch is lit.
    before = text[text.index("Cautions") : text.index("Orderofwork")]
    for caution in cautions(plan):
        assert "".join(caution.split())[:40] in before
    first = path.read_bytes()
    write_worksheet(plan, path, date(2026, 5, 4))
    assert path.read_bytes() == first and list(tmp_path.iterdir()) == [path]


def test_work_sheet_says_what_needs_no_flame_before_the_work(tmp_path):
    path = tmp_path / "sheet.pdf"
    way = "No flame needed: P-04 of the top drawer, drill 8.5 and tap"
    write_worksheet(_plan_of("plain"), path, date(2026, 5, 4), without=[way])
    text = "".join("".join(p.extract_text().split()) for p in PdfReader(path).pages)
    assert text.index("".join(way.split())) < text.index("Donorsasbought")


def _plan_of(kind):
    if kind == "stub":
        ask = replace(ASK, port=parse_side("M10x1", "internal"))
        return plan_join(ask, (TAIL_ON_STUB, TAIL), replace(COOLANT, torque_n_m=3.0))
    if kind == "around":
        ask = replace(
            ASK, port=parse_side("M22x1.5", "internal"), part=parse_side("M10x1", "external")
        )
        return plan_join(ask, (STEEL_PLUG, SENDER), Duty(service="oil"))
    if kind == "sleeve":
        ask = Question(port=parse_side("Rc 1/4", "internal"), part=parse_side("G 1/4", "external"))
        return plan_join(ask, SLEEVED, Duty(service="oil"))
    if kind == "female":
        sleeve = fitting(
            "C",
            "M18x1.5",
            "internal",
            "M14x1.5",
            "internal",
            length_mm=48.0,
            hex_mm=24.0,
            bore_mm=9.0,
            material="stainless",
            plating="",
        )
        ask = replace(ASK, port=parse_side("M18x1.5 male", "external"))
        return plan_join(ask, (sleeve, TAIL), replace(COOLANT, torque_n_m=3.0))
    long = replace(TAIL, name="hose nipple with a long hex from the blue cabinet by the window")
    return plan_join(ASK, (PLUG, long), COOLANT)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("kind", ["plain", "stub", "around", "female", "sleeve"])
def test_work_sheets_can_be_read_and_measured(tmp_path, kind, paper):
    """As another library reads the file: type, text over text, fonts, and the bar's length."""
    path = tmp_path / "s.pdf"
    write_worksheet(_plan_of(kind), path, date(2026, 5, 4), paper)
    document = pdfium.PdfDocument(path)
    for page in document:
        assert (page.get_width() / MM, page.get_height() / MM) == pytest.approx(PAPERS[paper])
        assert min(printed.sizes(page)) >= 9.0, printed.sizes(page)
        assert printed.covered(page) == [] and printed.outside(page) == []
        assert printed.struck(page) == []
    # Beside the bar there may be dimension lines of the drawing that are near it in length.
    assert pytest.approx((50.0, 50.0), abs=0.05) in printed.bars(document[0], 50.0)
    embedded = printed.fonts(path)
    assert embedded and all(embedded.values()), embedded


def test_work_sheet_of_no_paper(tmp_path):
    with pytest.raises(UsageError, match="no paper 'b5'"):
        write_worksheet(_plan_of("plain"), tmp_path / "s.pdf", date(2026, 5, 4), "b5")
    assert list(tmp_path.iterdir()) == []


def test_sheet_that_cannot_be_written(tmp_path):
    plan = plan_join(ASK, (PLUG, TAIL), COOLANT)
    with pytest.raises(PitchcamError, match="cannot be written"):
        write_worksheet(plan, tmp_path / "no" / "sheet.pdf", date(2026, 5, 4))


def test_scales_are_those_of_drawings():
    assert drawing.best_scale(60.0, 24.0, (138.0, 52.0)) == 2.0
    assert drawing.best_scale(400.0, 24.0, (138.0, 52.0)) == 0.2
    assert [drawing.scale_text(s) for s in (2.0, 1.0, 0.5)] == ["2:1", "1:1", "1:2"]


def test_json_holds_the_main_figures_as_numbers():
    answer = plan_json(plan_join(ASK, (PLUG, TAIL), COOLANT))
    assert json.loads(json.dumps(answer))["alloy"] == "Ag 155"
    assert answer["donors"] == ["P18", "T10"] and answer["length_mm"] == pytest.approx(63.0)


def test_command(tmp_path):
    sheet, pdf = tmp_path / "s.csv", tmp_path / "w.pdf"
    sheet.write_text(stock_csv([PLUG, TAIL, replace(TAIL, id="ONE", count=1)]), encoding="utf-8")
    call = ["--port", "M18x1.5", "--part", "hose 10", "--stock", str(sheet)]
    run = CliRunner().invoke(command, [*call, "--service", "coolant", "-o", str(pdf)])
    assert run.exit_code == 0 and pdf.read_bytes().startswith(b"%PDF")
    assert "Spigot on B" in run.output
    oil = ["--service", "oil", "--hose-temperature", "150"]
    run = CliRunner().invoke(command, ["p18", "t10", *call, *oil, "--json"])
    assert json.loads(run.output)["service"] == "oil"
    for extra, error in [
        (["P18", "X1"], UsageError),
        (["P18"], UsageError),
        (["ONE", "ONE"], UsageError),
        (["--torque", "-1"], UsageError),
        (["--torch", "900"], UsageError),
        (["-o", "w.txt"], UsageError),
        (["--alloy", "345"], RefusedError),
    ]:
        run = CliRunner().invoke(command, [*call, "--service", "oil", *extra])
        assert isinstance(run.exception, error), extra
    unmade = tmp_path / "b.pdf"
    run = CliRunner().invoke(command, [*call, "--service", "brake", "-o", str(unmade)])
    assert isinstance(run.exception, RefusedError) and not unmade.exists()
