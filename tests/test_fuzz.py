"""The fuzz as part of the suite: what it ever found, a short run of each target, and properties."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pitchcam.errors import PitchcamError, one_line, printable
from pitchcam.objects.field import find_field
from pitchcam.photo.intact import jpeg_scans, png_is_whole, tiff_as_stored
from pitchcam.photo.origin import origin_of
from pitchcam.records import Quantity
from pitchcam.small import percentile
from pitchcam.store.digest import row_digest
from tests.fuzz import __main__ as fuzz
from tests.fuzz import bare, rows, transformed
from tests.fuzz.mutate import mutate
from tests.fuzz.promises import BrokenError, Tally, Target
from tests.fuzz.running import run
from tests.fuzz.targets import TARGETS, seeds
from tests.fuzz.together import Plan, Report, drawn_again, spend, work, work_together
from tests.photo.broken import find_seam

FINDINGS = Path(__file__).parent / "findings"
BY_NAME = {target.name: target for target in TARGETS}
#: Runs of each target in the suite: a second or two of each.
SHORT = {"samples": 1, "no thread": 12, "readings": 40, "commands": 40, "records": 150}
quick = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


def kept_findings():
    for target in TARGETS:
        folder = FINDINGS / target.name.replace(" ", "-")
        for path in sorted(folder.glob("*")) if folder.is_dir() else ():
            yield pytest.param(target, path, id=f"{target.name}-{path.name}")


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("target, path", list(kept_findings()))
def test_what_was_found_once_stays_mended(target, path):
    assert run(target, path.read_bytes(), Tally()) is None


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", list(BY_NAME))
def test_a_short_run_of_each_target(name, monkeypatch):
    monkeypatch.delenv("PITCHCAM_TRACE", raising=False)
    target, tally, rng = BY_NAME[name], Tally(), random.Random(f"suite {name}")
    for _ in range(SHORT.get(name, 300)):
        assert run(target, target.make(rng), tally) is None
    assert tally.runs == SHORT.get(name, 300)
    assert sum(tally.outcomes.values()) >= tally.runs


def test_the_fuzz_tells_a_broken_promise(monkeypatch):
    """A check that cannot fail would find nothing: break a promise, and it must say so."""
    monkeypatch.setattr("pitchcam.photo.load_photo", lambda *_, **__: 1 / 0)
    told = run(BY_NAME["photos"], b"x", Tally())
    assert told is not None and "ZeroDivisionError" in told
    monkeypatch.setattr(
        "pitchcam.photo.load_photo", lambda *_, **__: (_ for _ in ()).throw(PitchcamError("bad"))
    )
    told = run(BY_NAME["photos"], b"x", Tally())
    assert told is not None and "no clear line" in told


def test_a_wrong_name_is_found(monkeypatch):
    from tests.fuzz import measuring as targets

    data = targets.sample_bytes(random.Random(2))

    def always(path, scale):
        raise BrokenError("wrong name")

    monkeypatch.setattr("pitchcam.identify", always, raising=False)
    assert "wrong name" in (run(BY_NAME["samples"], data, Tally()) or "")


def test_a_table_of_transformed_samples_tells_what_broke():
    """By construction: 1.9 u is inside, 2.1 u is not; a wrong and a needless name are both told."""

    def row(seed, z, **more):
        read = {"pitch_mm": [1.0 + 0.01 * z, 0.01, 1.0]}
        thread = {"true": "M6x1", "outcome": "right", "named": "M6x1", "probability": 1.0}
        return {"seed": seed, "name": "p", "done": ["crop"], "extra": []} | {
            "threads": [thread | {"read": read} | more]
        }

    kept = [row("1-0", 1.9), row("1-1", -2.1), {"seed": "1-2", "name": "p", "done": []}]
    kept[2] |= {"refused": "cut", "why": "x"}
    told = transformed.table(kept)
    assert "3 photos: 2 measured, 1 refused (cut 1), 0 foreign" in told
    assert "wrong names: 0" in told and "50.0 % 2.00 (2)" in told
    # Of one thread: its own error is that in the middle, -0.1 u, and the changes make 2 u each way.
    own, changes = (line.split() for line in told.splitlines()[-2:])
    assert own[2:6] == ["100.0", "%", "0.10", "(1)"] and changes[2:6] == ["0.0", "%", "2.00", "(2)"]
    kept += [row("1-3", 0.0, outcome="WRONG", named="M7x1"), row("1-4", 0.0) | {"extra": ["M8x1"]}]
    kept.append({"seed": "1-5", "name": "p", "done": ["crop"], "fault": "axis.py:1 ValueError"})
    told = transformed.table(kept)
    assert "wrong names: 2" in told and "1 foreign" in told
    assert "WRONG 1-3 p (crop): M7x1 for M6x1" in told and "WRONG 1-4" in told
    assert "FAULT 1-5 p (crop): axis.py:1" in told


def test_rows_are_kept_and_come_again_from_their_seed(tmp_path, capsys):
    file = tmp_path / "rows.jsonl"
    file.write_text('{"seed": "5-0", "name": "p", "done": [], "refused": "cut", "why": "x"}\n{"s')
    assert [row["seed"] for row in rows.read(file)] == ["5-0"]
    assert transformed.main(["--seed", "5", "--count", "1", "-j", "1", "-o", str(file)]) == 0
    assert "1 photos: 0 measured, 1 refused" in capsys.readouterr().out
    assert transformed.photo_of("5-1")[1:] == transformed.photo_of("5-1")[1:]
    assert transformed.main(["--again", "5-1", "-o", str(tmp_path / "photo.jpg")]) == 0
    assert (tmp_path / "photo.jpg").read_bytes() == transformed.photo_of("5-1")[1]


def test_a_table_of_scenes_without_a_thread_tells_what_is_named():
    open_one = {"status": "ambiguous", "named": None, "likely": 0.7}
    kept = [
        {"seed": "1-0", "stated": "pin 8", "shown": ["bar"], "refused": "no-thread", "why": "x"},
        {"seed": "1-1", "stated": "pin 8", "shown": ["comb", "bar"], "threads": [open_one]},
    ]
    told = bare.table(kept)
    assert "2 scenes without a thread: 0 named, 0 foreign" in told
    assert "a candidate over 0.5: 1" in told
    assert "LIKELY 1-1 (comb, bar; pin 8): ambiguous 0.7000" in told
    sure = {"status": "named", "named": "M10x1.5", "likely": 0.99}
    kept.append({"seed": "1-2", "stated": "auto", "shown": ["comb"], "threads": [open_one, sure]})
    kept.append({"seed": "1-3", "stated": "auto", "shown": [], "fault": "axis.py:1 ValueError"})
    told = bare.table(kept)
    assert "4 scenes without a thread: 1 named, 1 foreign" in told
    assert "NAMED 1-2 (comb; auto): M10x1.5 0.9900" in told
    assert "FAULT 1-3: axis.py:1" in told
    assert told.splitlines()[-1].split() == ["comb", "2", "0", "1", "1"]


@pytest.mark.parametrize("seed", ["1501-1805", "1501-2731", "1801-993"])
def test_scenes_that_had_a_name_have_none(seed):
    """Noise along a hexagon's face, a gear, noise and facets along a disc's edge."""
    row = bare.row_of(seed)
    assert "fault" not in row and not bare.named(row)


def test_scenes_come_again_from_their_seed(tmp_path, capsys):
    file = tmp_path / "rows.jsonl"
    assert bare.main(["--seed", "5", "--count", "2", "-j", "1", "-o", str(file)]) == 0
    assert "2 scenes without a thread: 0 named" in capsys.readouterr().out
    assert [row["seed"] for row in rows.read(file)] in (["5-0", "5-1"], ["5-1", "5-0"])
    assert bare.main(["--again", "5-1", "-o", str(tmp_path / "scene.png")]) == 0
    assert (tmp_path / "scene.png").read_bytes() == bare.scene_of("5-1")[0]


def test_processes_have_inputs_of_their_own_and_are_added_up(tmp_path):
    plan = Plan(("lists",), 4, 60.0, 20, 2, tmp_path)
    reports = [work(plan, number) for number in range(2)]
    assert [r.tallies["lists"].runs for r in reports] == [10, 10]
    total = Report.of(plan)
    for report in reports:
        total.add(report)
    assert "20 executions in" in total.table()
    assert "0 hangs, 0 wrong names, 0 foreign exceptions, 0 unclear lines" in total.table()
    assert replace(total, peak_mib=0.0).held  # the peak is of all tests before
    assert not replace(total, peak_mib=1e4).held
    firsts = {drawn_again(plan, number, BY_NAME["lists"], 1) for number in range(2)}
    assert len(firsts) == 2


def test_an_input_that_broke_a_promise_is_had_again(tmp_path, monkeypatch):
    """Whatever else was run between: by seed, processes, process and count."""
    lists, seen = BY_NAME["lists"], []

    def check(data, tally):
        if seen.append(data) or len(seen) == 4:
            np.array([]).max()

    kept = []
    monkeypatch.setattr("tests.fuzz.together.keep", lambda *found: kept.append(found))
    broken = replace(lists, check=check)
    monkeypatch.setattr("tests.fuzz.together.TARGETS", [broken, BY_NAME["profiles"]])
    plan = Plan(("lists", "profiles"), 7, 60.0, 6, 1, tmp_path)
    list(spend(plan, 0, Report.of(plan)))
    ((_, data, why),) = kept
    assert data == seen[3] and why.endswith("again: 7/1/0/4")
    words = ["fuzz", "--only", "lists", "--again", "7/1/0/4", "-o", str(tmp_path / "input")]
    monkeypatch.setattr("sys.argv", words)
    assert fuzz.main() == 0
    assert (tmp_path / "input").read_bytes() == data


def test_a_place_is_told_in_lines_of_our_own():
    """Where a library fails says nothing: NumPy's maximum, of an empty array of somebody's."""

    def check(data, tally):
        percentile(np.array([]), 50)

    why = run(Target("lists", lambda rng: b"", check, 1.0), b"", Tally())
    assert why.startswith("small.py:") and "zero-size array" in why


def test_processes_tell_what_they_did(tmp_path):
    total = work_together(Plan(("lists", "profiles"), 4, 60.0, 30, 2, tmp_path))
    assert [total.tallies[name].runs for name in ("lists", "profiles")] == [30, 30]
    assert total.peak_mib > 0
    assert replace(total, peak_mib=0.0).held


def test_a_broken_promise_is_counted_by_its_kind(tmp_path, monkeypatch):
    said = ["wrong name: M6", "named M6", "inner fault: x", "no clear line: x"]

    def check(data, tally):
        if said:
            raise BrokenError(said.pop())
        raise ZeroDivisionError

    monkeypatch.setattr("tests.fuzz.together.keep", lambda *_: None)
    monkeypatch.setattr(
        "tests.fuzz.together.TARGETS", [Target("lists", lambda rng: b"x", check, 1.0)]
    )
    plan = Plan(("lists",), 4, 60.0, 5, 1, tmp_path)
    report = Report.of(plan)
    assert len(list(spend(plan, 0, report))) == 5
    assert report.tallies["lists"].broken == {
        "wrong names": 2,
        "foreign exceptions": 2,
        "unclear lines": 1,
    }
    assert not report.held
    assert "0 hangs, 2 wrong names, 2 foreign exceptions, 1 unclear lines" in report.table()


def test_seeds_are_whole_pictures():
    from pitchcam.photo import load_photo
    from tests.fuzz.promises import kept

    kinds = set()
    for kind, data in seeds():
        kinds.add(kind)
        assert load_photo(kept(data, ".jpg")).pixels.shape[:2] in ((48, 64), (64, 48))
    assert kinds >= {"JPEG", "PNG", "TIFF"}


@quick
@given(data=st.binary(max_size=400))
def test_structures_of_any_bytes_are_told(data):
    found = jpeg_scans(b"\xff\xd8" + data)
    assert found.scans >= 0
    assert png_is_whole(data) in (True, False)
    assert len(tiff_as_stored(b"II*\0" + data)) == len(data) + 4


@quick
@given(data=st.binary(min_size=1, max_size=300), seed=st.integers(0, 2**32))
def test_damage_comes_again_from_its_seed(data, seed):
    assert mutate(data, random.Random(seed)) == mutate(data, random.Random(seed))


@quick
@given(
    pixels=arrays(
        np.uint8,
        st.tuples(st.integers(1, 160), st.integers(1, 160)),
        elements=st.integers(0, 255),
        fill=st.integers(0, 255),
    )
)
def test_any_picture_ends_in_a_field_or_a_reason(pixels):
    find_seam(pixels)
    find_seam(cv2.merge([pixels, pixels, pixels]))
    try:
        field = find_field(pixels)
    except PitchcamError as error:
        assert error.exit_code == 4
        assert error.advice
        return
    assert all(0 <= b.box_px[0] < b.box_px[2] for b in field.blobs)


@quick
@given(value=st.floats(), u=st.floats())
def test_quantities_are_numbers(value, u):
    try:
        made = Quantity(value=value, u=u)
    except ValueError:
        assert not (np.isfinite(value) and np.isfinite(u) and u >= 0)
        return
    assert np.isfinite(made.value) and np.isfinite(made.u)


@quick
@given(message=st.text(min_size=1), advice=st.text())
def test_lines_are_lines(message, advice):
    assert one_line(message, advice).isprintable()
    assert printable(printable(message)) == printable(message)


@quick
@given(
    tags=st.dictionaries(
        st.integers(0, 0xFFFF),
        st.one_of(
            st.none(), st.floats(), st.integers(), st.text(), st.binary(), st.tuples(st.integers())
        ),
    )
)
def test_any_tags_give_an_origin(tags):
    found = origin_of(tags, 4032, 3024)
    assert found.shrunk is None or found.shrunk > 0
    assert found.zoom is None or found.zoom > 0


@quick
@given(
    a=st.lists(st.one_of(st.none(), st.text(), st.binary(), st.integers())),
    b=st.lists(st.one_of(st.none(), st.text(), st.binary(), st.integers())),
)
def test_rows_that_differ_have_other_checksums(a, b):
    assert (row_digest(*a) == row_digest(*b)) == (
        [(type(x), x) for x in a] == [(type(x), x) for x in b]
    )
