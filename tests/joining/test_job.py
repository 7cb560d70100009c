"""The whole job: names with their probabilities carried to the join. The stock is invented."""

import json
from datetime import date

import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from pitchcam.cli import job as job_command
from pitchcam.errors import InputError, PitchcamError, RefusedError, UnreadableError, UsageError
from pitchcam.joining.brazing.plan import Duty, plan_join
from pitchcam.joining.brazing.text import figures
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.job import measured_side, named_side, plan_job
from pitchcam.joining.job_text import job_json, job_text, orders, tightenings
from pitchcam.joining.mating.ends import parse_end
from pitchcam.joining.papers.half_section import in_stock
from pitchcam.joining.papers.job_sheet import write_job
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.joining.stock.store import stock_csv
from pitchcam.records import (
    Candidate,
    Measurement,
    PartResult,
    PhotoInfo,
    ThreadReading,
    ThreadResult,
    Verdict,
)
from tests import printed


def fitting(name, a, gender_a, b, gender_b, **more):
    given = {
        "bore_mm": 7.5,
        "length_mm": 40.0,
        "hex_mm": 22.0,
        "material": "brass",
        "plating": "none",
        "count": 2,
        "pressure_bar": 16.0,
        "temperature_c": 150.0,
    }
    end_b = None if b is None else parse_end(b, gender_b)
    return Fitting(id=name, end_a=parse_end(a, gender_a), end_b=end_b, **(given | more))


STOCK = [
    fitting("AD-NPT", "M18x1.5", "external", "1/8-27 NPT", "internal"),
    fitting("AD-M10", "M18x1.5", "external", "M10x1", "internal"),
    fitting("RG", "R 1/4", "external", "M10x1", "internal"),
    fitting("P18", "M18x1.5", "external", None, None, bore_mm=0.0, thread_a_mm=14.0),
    fitting(
        "T10",
        "hose 10",
        "external",
        "G 3/8",
        "external",
        thread_a_mm=24.0,
        thread_b_mm=12.0,
        length_mm=52.0,
    ),
]


def candidates(*pairs):
    return tuple(Candidate(designation=d, standard="x", probability=p) for d, p in pairs)


AMBIGUOUS = Verdict(
    status="ambiguous",
    candidates=candidates(("1/8-27 NPT", 0.7), ("M10x1", 0.3)),
    next_step="measure the taper",
)
NAMED = Verdict(
    status="named",
    designation="M10x1",
    standard="ISO 261",
    probability=0.99,
    candidates=candidates(("M10x1", 0.99), ("1/8-27 NPT", 0.008)),
)


def plan(port, part, duty=None):
    limits = Question(port=port.names[0].end, part=part.names[0].end)
    return plan_job(port, part, limits, STOCK, duty)


PORT = named_side("port", "M18x1.5", "internal")


def tapered(name):
    """The verdict that names a pipe thread of ISO 7-1."""
    return Verdict(
        status="named",
        designation=name,
        standard="ISO 7-1",
        probability=0.98,
        candidates=candidates((name, 0.98)),
    )


def sender(verdict=AMBIGUOUS):
    return measured_side("part", "photo sender.jpg", verdict, "external", "external")


def test_ambiguous_name_changes_the_work_and_says_so():
    job = plan(PORT, sender())
    assert [w.what for w in job.ways] == ["from stock: AD-NPT", "from stock: AD-M10"]
    assert [w.probability for w in job.ways] == pytest.approx([0.7, 0.3])
    assert not job.settled and job.left_out == pytest.approx(0.0)
    text = job_text(job)
    assert "probability 70.0 %" in text and "To settle the part: measure the taper" in text
    assert "settle it before anything is ordered or cut" in text
    assert "30.0 %: M10x1 male to M18x1.5 female: from stock: AD-M10" in text


def test_a_name_left_open_is_not_settled_by_being_alone(tmp_path):
    """A wrong reference or a taper in doubt leaves one candidate, and no name."""
    alone = Verdict(
        status="ambiguous",
        candidates=candidates(("1/8-27 NPT", 0.943), ("M10x1", 0.003)),
        next_step="measure the disc with a caliper",
    )
    job = plan(PORT, sender(alone))
    assert not job.part.certain and not job.settled
    text = job_text(job)
    assert "Part: 1/8-27 NPT male, probability 94.3 %, not certain yet (photo sender.jpg)" in text
    assert "To settle the part: measure the disc with a caliper" in text
    assert "settle it before anything is ordered or cut" in text
    named = plan(PORT, sender(NAMED))
    assert named.settled and "probability 99.0 % (photo" in job_text(named)
    for planned, state in ((job, "WORK DEPENDS ON THE NAME"), (named, "names settled")):
        write_job(planned, tmp_path / "job.pdf", date(2026, 1, 1))
        assert state in PdfReader(tmp_path / "job.pdf").pages[0].extract_text()


def test_one_name_of_two_ends_that_was_left_open_is_not_settled():
    """ISO 7-1: an R plug comes out of Rc or of Rp; it is one candidate all the same."""
    alone = Verdict(
        status="ambiguous",
        candidates=candidates(("R 1/4", 0.9), ("G 1/4", 0.003)),
        next_step="measure the disc with a caliper",
    )
    side = measured_side("port", "photo plug.jpg", alone, "external", "internal")
    job = plan(side, named_side("part", "R 1/4", "external"))
    assert [w.what for w in job.ways] == ["they mate directly"] * 2
    assert not side.certain and not job.settled
    text = job_text(job)
    for end in ("Rc", "Rp"):
        assert f"Port: {end} 1/4 female, probability 45.0 %, not certain yet" in text
    assert "settle it before anything is ordered or cut" in text
    told = job_json(job)
    assert (told["settled"], told["port"]["left_open"]) == (False, True)
    assert (told["port"]["probability"], told["part"]["probability"]) == (0.9, None)
    assert plan(sender(), named_side("part", "M10x1", "external")).port.probability is None


def test_named_thread_is_one_way():
    job = plan(PORT, sender(NAMED))
    assert len(job.ways) == 1 and job.settled
    assert job.ways[0].probability == pytest.approx(1.0)
    assert "Under other names" not in job_text(job)


def test_same_work_under_every_name_is_settled():
    verdict = Verdict(
        status="ambiguous", next_step="x", candidates=candidates(("M20x1.5", 0.6), ("M22x1.5", 0.4))
    )
    direct = plan(
        named_side("port", "hose 10", "internal"), named_side("part", "tail 10", "external")
    )
    assert direct.settled and direct.ways[0].what == "they mate directly"
    job = plan(PORT, sender(verdict))
    assert {w.chain for w in job.ways} == {None} and not job.settled


def test_old_plug_out_of_the_port_names_the_port():
    side = measured_side("port", "old plug", NAMED, "external", "internal")
    assert [n.end.text for n in side.names] == ["M10x1 female"]
    taper = tapered("R 1/4")
    side = measured_side("port", "old plug", taper, "external", "internal")
    assert [n.end.text for n in side.names] == ["Rc 1/4 female", "Rp 1/4 female"]
    assert sum(n.probability for n in side.names) == pytest.approx(1.0)
    job = plan(side, named_side("part", "M10x1", "external"))
    assert job.settled and job.ways[0].what == "from stock: RG"


def test_cast_of_a_port_is_internal():
    taper = tapered("Rc 1/4")
    side = measured_side("port", "cast", taper, "internal", "internal")
    assert [n.end.text for n in side.names] == ["Rc 1/4 female"]


@pytest.mark.parametrize("status", ["off-series", "unreadable"])
def test_thread_without_a_name_is_no_job(status):
    with pytest.raises(UsageError, match="no name yet"):
        sender(Verdict(status=status, candidates=candidates(("M10x1", 0.5))))


def test_unlikely_names_are_left_out():
    verdict = Verdict(
        status="ambiguous",
        candidates=candidates(("M10x1", 0.93), ("G 1/8", 0.065), ("R 1/8", 0.005)),
    )
    assert [n.end.designation for n in sender(verdict).names] == ["M10x1", "G 1/8"]


def test_many_names_are_cut_to_a_page_and_counted():
    many = Verdict(
        status="ambiguous",
        candidates=candidates(*((f"M{d}x1.5", 0.2) for d in (14, 16, 18, 20, 22))),
    )
    job = plan(measured_side("port", "cast", many, "internal", "internal"), sender(many))
    assert len(job.ways) == 8 and job.left_out == pytest.approx(1 - 8 / 25)
    assert "other pairs of names, not shown" in job_text(job)


def test_made_adapter_where_stock_has_none():
    tail = named_side("part", "hose 10", "external")
    job = plan(PORT, tail, Duty(service="coolant"))
    assert job.ways[0].made is not None and job.ways[0].what == "made of P18 + T10"
    assert any("Ag 155 rod" in line for line in orders(job.ways[0]))
    assert any("M18x1.5 male in M18x1.5 female" in t.joint for t in tightenings(job.ways[0]))
    job = plan(PORT, tail)
    assert job.ways[0].made is None and "state --service" in job_text(job)
    job = plan(PORT, named_side("part", "M30x2", "external"), Duty(service="coolant"))
    assert "No made adapter: stock has no donor" in job_text(job)


def test_page_and_work_sheet_have_one_figure_for_one_joint():
    ask = Question(port=parse_side("M18x1.5", "internal"), part=parse_side("hose 10", "external"))
    made = plan(PORT, named_side("part", "hose 10", "external"), Duty(service="coolant"))
    sheet = {f.what: f.value for f in figures(made.ways[0].made)}
    page = {t.joint: t.action for t in tightenings(made.ways[0])}
    assert sheet["Tighten M18x1.5"] == page["M18x1.5 male in M18x1.5 female"]
    alone = plan_join(ask, (STOCK[3], STOCK[4]), Duty(service="coolant"))
    assert [f.value for f in figures(alone)] == [f.value for f in figures(made.ways[0].made)]


def test_page_stands_first_and_the_work_sheet_lies_behind(tmp_path):
    made = plan(PORT, named_side("part", "hose 10", "external"), Duty(service="coolant"))
    write_job(made, tmp_path / "made.pdf", date(2026, 5, 4))
    pages = PdfReader(tmp_path / "made.pdf").pages
    assert len(pages) == 3 and "Work sheet" in pages[1].extract_text()
    for name in ("made.pdf",):
        for page in pdfium.PdfDocument(tmp_path / name):
            assert min(printed.sizes(page)) >= 9.0 and printed.covered(page) == []
        assert all(printed.fonts(tmp_path / name).values())
    stock = plan(PORT, sender())
    write_job(stock, tmp_path / "stock.pdf", date(2026, 5, 4))
    pages = PdfReader(tmp_path / "stock.pdf").pages
    text = pages[0].extract_text()
    assert len(pages) == 1 and "WORK DEPENDS ON THE NAME" in text
    for title in (
        "Names",
        "Join",
        "Under other names",
        "Order list",
        "Tighten and seal",
        "Cautions",
    ):
        assert title in text
    nothing = plan(PORT, named_side("part", "M30x2", "external"))
    write_job(nothing, tmp_path / "no.pdf", date(2026, 5, 4))
    assert len(PdfReader(tmp_path / "no.pdf").pages) == 1


def test_drawn_fittings_have_their_length():
    for f in STOCK:
        for turned in (False, True):
            assert in_stock(f, turned).length_mm == pytest.approx(f.length_mm)


def test_json_goes_through():
    document = json.loads(json.dumps(job_json(plan(PORT, sender()))))
    assert [w["what"] for w in document["ways"]][0] == "from stock: AD-NPT"
    assert document["part"]["names"][1]["probability"] == pytest.approx(0.3)


def photo_of(*verdicts):
    """A measurement with one thread per verdict, as the measuring part hands it on."""
    threads = tuple(
        ThreadResult(
            reading=ThreadReading(),
            half_angles_deg=(None, None),
            turns=8.0,
            span_px=((0, 0), (1, 1)),
            budget=(),
            verdict=v,
        )
        for v in verdicts
    )
    info = PhotoInfo(file="a.jpg", sha256="0", width_px=1, height_px=1)
    part = PartResult(id=1, box_px=(0, 0, 1, 1), threads=threads)
    return Measurement(photo=info, scale=None, parts=(part,))


def test_command(tmp_path, monkeypatch):
    sheet, pdf = tmp_path / "s.csv", tmp_path / "job.pdf"
    sheet.write_text(stock_csv(STOCK), encoding="utf-8")
    run = CliRunner()
    base = ["--stock", str(sheet), "--port", "M18x1.5"]
    done = run.invoke(job_command.command, [*base, "--part", "M10x1", "-o", str(pdf)])
    assert done.exit_code == 0 and "AD-M10" in done.output and pdf.exists()
    assert run.invoke(job_command.command, [*base, "--part", "M30x2"]).exit_code == 3
    refused = run.invoke(job_command.command, [*base, "--part", "M30x2", "--service", "brake"])
    assert isinstance(refused.exception, RefusedError)

    readings = [*base, "--part", "-d 9.9 -g 1mm --angle 60"]
    done = run.invoke(job_command.command, readings)
    assert done.exit_code in (0, 3) and "M10x1 male" in done.output
    assert "(readings -d 9.9 -g 1mm --angle 60)" in done.output
    old = run.invoke(
        job_command.command,
        ["--stock", str(sheet), "--part", "M10x1", "--port", "-d 17.9 -g 1.5mm --angle 60"],
    )
    assert "M18x1.5 female" in old.output and "the old part out of it" in old.output
    for text, word in (
        ("-d", "requires an argument"),
        ("-q 3", "-q"),
        ("-d x", "not a length"),
        ("-d 13.8 -g '1", "quotation"),
        ("-d 3 -g 9mm", "no gauge"),
    ):
        wrong = run.invoke(job_command.command, [*base, "--part", text])
        assert isinstance(wrong.exception, PitchcamError) and word in str(wrong.exception), text

    seen = []

    def measured(path, scale, **more):
        seen.append((path, scale.source, scale.mm, more["cast"]))
        return shown

    monkeypatch.setattr("pitchcam.identify", measured, raising=False)
    photo = [*base, "--part", "sender.jpg"]
    shown = photo_of(AMBIGUOUS)
    done = run.invoke(job_command.command, [*photo, "--part-scale", "pin 8", "--json"])
    assert done.exit_code == 3 and json.loads(done.output)["settled"] is False
    assert seen == [("sender.jpg", "pin", 8.0, False)]
    shown = photo_of(NAMED, AMBIGUOUS)
    several = run.invoke(job_command.command, photo)
    assert isinstance(several.exception, UsageError) and "2 threads" in str(several.exception)
    done = run.invoke(job_command.command, [*photo, "--part-thread", "1"])
    assert done.exit_code == 0 and "photo sender.jpg" in done.output
    assert isinstance(
        run.invoke(job_command.command, [*photo, "--part-thread", "3"]).exception, UsageError
    )
    shown = photo_of()
    assert isinstance(run.invoke(job_command.command, photo).exception, InputError)
    for scale in ("ruler 10", "pin", "card 85", "pin x"):
        wrong = run.invoke(job_command.command, [*photo, "--part-scale", scale])
        assert isinstance(wrong.exception, UsageError), scale
    wrong = run.invoke(job_command.command, [*base, "--part", "M10x1", "--part-scale", "card"])
    assert isinstance(wrong.exception, UsageError)
    # As identify takes it, with what this command calls it.
    wrong = run.invoke(job_command.command, [*base, "--part", "my sender.jpg --jaws 15"])
    assert str(wrong.exception).endswith("--part my sender.jpg --part-scale 'jaws 15'")
    # A copy's name is a name.
    (tmp_path / "a.jpg - copy.jpg").write_bytes(b"")
    shown = photo_of(NAMED)
    copy = [*base, "--part", str(tmp_path / "a.jpg - copy.jpg"), "--part-scale", "card"]
    assert "(photo a.jpg - copy.jpg)" in run.invoke(job_command.command, copy).output

    def bare(path, scale, **more):
        raise UnreadableError("No sheet was found.", "See --pin", code="no-reference")

    monkeypatch.setattr("pitchcam.identify", bare, raising=False)
    wrong = run.invoke(job_command.command, photo)
    assert "State what lies in it: --part-scale 'pin 8'" in str(wrong.exception)
    wrong = run.invoke(job_command.command, [*photo, "--part-scale", "card"])
    assert str(wrong.exception) == "No sheet was found. See --pin"


def test_a_name_alone_is_as_good_as_a_list_of_one():
    alone = Verdict(status="named", designation="M10x1", standard="ISO 261", probability=0.97)
    (name,) = sender(alone).names
    assert (name.end.text, name.probability) == ("M10x1 male", pytest.approx(1.0))


def test_a_cast_named_by_the_male_thread_is_of_what_takes_it():
    """ISO 7-1: R is male only; what it was cast from is Rc or Rp."""
    taper = tapered("R 1/4")
    side = measured_side("port", "cast", taper, "internal", "internal")
    assert [n.end.text for n in side.names] == ["Rc 1/4 female", "Rp 1/4 female"]
    assert [n.probability for n in side.names] == pytest.approx([0.5, 0.5])
