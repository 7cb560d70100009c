"""Photos of one part on the page: one answer, and what does not count in it."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.batch.settings import Settings
from pitchcam.batch.source import Listed
from pitchcam.batch.together import answer_groups, groups_of
from pitchcam.page import calls, typed
from pitchcam.records import ScaleSpec
from pitchcam.store.entries import Outcome
from pitchcam.store.store import Store
from tests.adjust import made

PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))


@pytest.fixture
def kept(tmp_path):
    """Return a function that keeps photos, and gives their records with their settings."""
    with Store(tmp_path / "r.sqlite") as store:

        def keep(*values):
            out = []
            for i, v in enumerate(values):
                m = made.measurement(v, made.lines(), i, named=True)
                outcome = Outcome(status="measured", document=m.to_json())
                identity = store.add(m.photo.sha256, PIN.text, PIN.key, outcome, [m.photo.file])
                out.append((store.entry(identity), store.settings_text(PIN.key)))
            return out

        yield keep


def test_the_stated_reference_comes_back_from_the_record(kept):
    ((_, text),) = kept(made.true_values())
    assert typed.spec_of(text) == PIN.scale


def test_one_answer_with_the_photo_that_does_not_count(kept):
    wrong = made.true_values() * np.where(np.arange(6) < 4, 1.03, 1.0)
    told = calls.one_part(kept(made.true_values(), wrong, made.true_values()))
    measured = told.outcome.measurement
    assert measured.parts[0].threads[0].verdict.designation == "M14x1.5"
    assert [p.left_out is None for p in measured.photos] == [True, False, True]


def test_one_photo_is_no_several(kept):
    assert calls.one_part(kept(made.true_values())) is None


def test_settings_of_several_photos_fill_no_form():
    assert typed.reference_of('{"together": [["a", "b"]]}') == {}
    assert typed.spec_of('{"together": [["a", "b"]]}') == ScaleSpec()


def kept_in(page, tmp_path):
    """Keep three photos of one part in a page's record, one of them with a wrong pin."""
    wrong = made.true_values() * np.where(np.arange(6) < 4, 1.03, 1.0)
    ids, listed = [], []
    with Store(page.folder / "pitchcam.sqlite") as store:
        for i, values in enumerate((made.true_values(), wrong, made.true_values())):
            path = tmp_path / f"elbow-{i}.jpg"
            path.write_bytes(f"elbow {i}".encode())
            photo = Listed(path=path, name=path.name, settings=PIN, part_label="elbow")
            m = made.measurement(values, made.lines(), i, named=True)
            m = replace(m, photo=replace(m.photo, sha256=photo.job().sha256))
            outcome = Outcome(status="measured", document=m.to_json())
            ids.append(store.add(photo.job().sha256, PIN.text, PIN.key, outcome, [path.name]))
            listed.append(photo)
        joined = answer_groups(store, groups_of(listed, "part"))[0]
    return ids, joined.id


def test_the_page_of_several_photos(page, tmp_path):
    ids, joined = kept_in(page, tmp_path)
    with page.client() as client:
        shown = client.get("/together", params={"id": ids})
        assert shown.status_code == 200
        assert "Adjusted together from 2 of 3 photos" in shown.text
        assert "elbow-1.jpg does not count:" in shown.text
        assert "M14x1.5</h2>" in shown.text
        # The batch's answer of the same photos has a page of its own, without a picture.
        own = client.get(f"/answers/{joined}")
        assert own.status_code == 200
        assert "M14x1.5" in own.text
        assert client.get(f"/answers/{joined}/measurement.json").json()["photos"]
        assert client.get("/record").status_code == 200


def test_one_photo_under_two_references_counts_once(page):
    with Store(page.folder / "pitchcam.sqlite") as store:
        m = made.measurement(made.true_values(), made.lines(), 0, named=True)
        outcome = Outcome(status="measured", document=m.to_json())
        ids = [
            store.add(m.photo.sha256, s.text, s.key, outcome, ["elbow.jpg"])
            for s in (PIN, Settings(scale=ScaleSpec(source="pin", mm=8.02)))
        ]
    with page.client() as client:
        shown = client.get("/together", params={"id": ids}).text
        assert "It is one photo, and counts once" in shown
        assert "No photo names it" not in shown
