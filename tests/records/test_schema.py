"""Every document that a command prints as JSON is as its published schema says, key for key."""

import importlib.util
import json
import re

import click
import jsonschema
import pytest
from click.testing import CliRunner
from hypothesis import given, settings

from pitchcam import cli
from pitchcam.records import json_text
from pitchcam.records.formats import FORMATS, OF_THE_PAGE, PRINTED, WRITTEN
from pitchcam.store.entries import Outcome
from tests.breaks import ROOT
from tests.page.running import SAMPLES
from tests.records import drawn
from tests.records.published import FOLDER, check, schema_of

STOCK = ("--stock", str(SAMPLES / "stock" / "bench.csv"))
PHOTO = (str(SAMPLES / "p05-unf12-pin.jpg"), "--pin", "6")

#: Document -> commands that print it, with what makes the rarer keys come.
COMMANDS = {
    "measurement": [
        ("identify", *PHOTO),
        ("lookup", "-d", "13.8", "-g", "1.5mm", "--form", "parallel"),
        ("lookup", "-d", "20.9", "-d", "21.4", "--apart", "8", "-g", "14tpi"),
    ],
    "check": [("check", *PHOTO, "-g", "20tpi"), ("check", PHOTO[0], "--pin", "8", "-g", "20tpi")],
    "size": [("series", "M14x1.5"), ("series", "1/2-14 NPT"), ("series", "Rc 1/4")],
    "series": [("series", "-f", "G", "--common")],
    "mating": [("mate", "R 1/4", "Rc 1/4"), ("mate", "M10x1", "1/8-27 NPT")],
    "matings": [("mate", "--both", "G 1/8", "M10x1")],
    "chains": [
        ("adapt", *STOCK, "--port", "M18x1.5", "--part", "1/8-27 NPT"),
        ("adapt", *STOCK, "--port", "M33x3.5", "--part", "M6x1"),
    ],
    "joining": [("join", *STOCK, "--port", "M22x1.5", "--part", "M10x1", "--service", "oil")],
    "job": [
        ("job", *STOCK, "--port", "M18x1.5", "--part", "1/8-27 NPT"),
        ("job", *STOCK, "--port", "M22x1.5", "--part", "M10x1", "--service", "oil"),
    ],
    "stock": [("stock", "list", *STOCK)],
}


def printed(arguments):
    done = CliRunner().invoke(cli.cli, [*arguments, "--json"], catch_exceptions=False)
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def documents():
    return {name: [printed(line) for line in lines] for name, lines in COMMANDS.items()}


def maker():
    path = ROOT / "docs" / "make_schema.py"
    spec = importlib.util.spec_from_file_location("make_schema", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_files_are_those_of_the_script():
    made = maker()
    assert {p.stem for p in FOLDER.glob("*.json")} == set(FORMATS) == set(made.DOCUMENTS)
    for name in FORMATS:
        text = (FOLDER / f"{name}.json").read_text(encoding="utf-8")
        assert text == made.schema_text(name), "run: python docs/make_schema.py"
        jsonschema.Draft202012Validator.check_schema(json.loads(text))


@pytest.mark.parametrize("name", PRINTED)
def test_what_commands_print_is_as_the_schema_says(documents, name):
    for document in documents[name]:
        check(name, document)


def test_what_is_written_or_answered_is_held_against_its_schema_where_it_is_tested():
    """A file of the page or of a batch is made by the tests of what makes it."""
    tests = "".join(f.read_text(encoding="utf-8") for f in (ROOT / "tests").rglob("test_*.py"))
    for name in (*WRITTEN, *OF_THE_PAGE):
        assert f'check("{name}", ' in tests, name


def test_json_is_made_by_two_doors_only():
    """The strict writer, and the data of events, which are no documents."""
    package = ROOT / "pitchcam"
    makers = {
        str(f.relative_to(package))
        for f in package.rglob("*.py")
        if re.search(r"json\.dump|JSONResponse", f.read_text(encoding="utf-8"))
    }
    assert makers == {"records/quantities.py", "page/runs.py"}


@pytest.mark.parametrize("name", [n for n in PRINTED if n != "measurement"])
def test_no_schema_has_a_key_that_no_document_has(documents, name):
    for path in _documented(schema_of(name)):
        assert any(_has(d, path) for d in documents[name]), path


def _documented(schema, path=()):
    """The paths of all keys that a schema names; a list's items are '*'."""
    for way in schema.get("anyOf", ()):
        yield from _documented(way, path)
    if "items" in schema:
        yield from _documented(schema["items"], (*path, "*"))
    for key, inside in schema.get("properties", {}).items():
        yield (*path, key)
        yield from _documented(inside, (*path, key))


def _has(document, path):
    if not path:
        return True
    if path[0] == "*":
        return isinstance(document, list) and any(_has(d, path[1:]) for d in document)
    return isinstance(document, dict) and path[0] in document and _has(document[path[0]], path[1:])


@settings(max_examples=60, deadline=None)
@given(measurement=drawn.measurements)
def test_any_measurement_is_as_the_schema_says(measurement):
    check("measurement", json.loads(json_text(measurement.to_json())))


def test_a_file_that_is_no_photo_has_a_document_too():
    outcome = Outcome(status="failed", code="error", message="it is cut;", advice="resend")
    check("measurement", outcome.contract("a.jpg", "ab" * 32))


def test_several_photos_and_no_scale_are_allowed(documents):
    """Keys that the contract has for them, beside those of one photo with a reference."""
    document = documents["measurement"][0]
    photo, scale = document["photo"], document["scale"]
    (part,) = document["parts"]
    (thread,) = part["threads"]
    use = photo | {"lens": "26 mm 4032x3024", "scale": scale, "left_out": None}
    part |= {"boxes_px": [part["box_px"], None]}
    thread |= {"spans_px": [thread["span_px"], None], "taper_sign": -1}
    several = document | {"photos": [use, use | {"left_out": "blurred"}]}
    with pytest.raises(jsonschema.ValidationError):
        check("measurement", several)  # photos stand in place of the photo
    del several["photo"]
    check("measurement", several)
    thread |= {name: None for name in ("pitch_mm", "tpi", "major_mm")}
    thread |= {
        "ratios": {
            "pitch_over_major": {"value": 0.1, "u": 0.001},
            "pitch_diameter_over_major": None,
            "minor_over_major": None,
        }
    }
    check(
        "measurement",
        document | {"scale": {"source": "none", "mm_per_px": None, "camera_height_mm": None}},
    )


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("measurement", lambda d: d.update(made_by="nobody")),
        ("measurement", lambda d: d["scale"]["mm_per_px"].update(u=-1.0)),
        ("measurement", lambda d: d["parts"][0]["threads"][0]["verdict"].update(status="sure")),
        ("measurement", lambda d: d["parts"][0]["threads"][0].update(span_px=[[0, 0]])),
        ("measurement", lambda d: d.pop("warnings")),
        ("mating", lambda d: d.update(answer="perhaps")),
        ("job", lambda d: d["ways"][0].update(probability=1.5)),
        ("stock", lambda d: d.update(format="pitchcam.stock/2")),
    ],
)
def test_what_differs_is_seen(documents, name, change):
    document = json.loads(json.dumps(documents[name][0]))
    change(document)
    with pytest.raises(jsonschema.ValidationError):
        check(name, document)


def _with_json(command, path=()):
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            yield from _with_json(command.get_command(context, name), (*path, name))
    elif any("--json" in p.opts for p in command.params):
        yield " ".join(path)


def test_every_command_with_json_has_a_schema():
    told = " ".join(PRINTED.values())
    for name in _with_json(cli.cli):
        assert name in told, name
