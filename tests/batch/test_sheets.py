"""Contact sheet and labels, rendered by PDFium and looked at by OpenCV."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from pitchcam.batch.answer import Answer, make_answer
from pitchcam.batch.contact import write_contact_sheet
from pitchcam.batch.labels import reference, write_labels
from pitchcam.batch.pictures import small_pictures
from pitchcam.batch.runner import Batch
from pitchcam.batch.settings import Job, Settings
from pitchcam.records import ScaleSpec
from pitchcam.store.entries import Outcome
from pitchcam.store.store import Store
from tests import printed
from tests.batch import double

pdfium = pytest.importorskip("pypdfium2")
PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))


def box(folder: Path, store: Store) -> Answer:
    """Put a photo of three parts, a refused one and one of a hand-made name in the record."""
    batch = Batch()
    for name, parts, wrong in (
        ("three.jpg", [["M14x1.5"], ["?"], ["R 1/4"]], None),
        ("again.jpg", [["M14x1.5"]], None),
        ("blurred.jpg", [], "unreadable"),
        ("Прокладка 螺.jpg", [["nobody's thread"]], None),
    ):
        path = double.write_photo(folder / name, parts, wrong=wrong, name=name)
        photo = np.full((300, 400, 3), 230, np.uint8)
        cv2.rectangle(photo, (60, 30), (80, 80), (20, 20, 20), -1)
        done, jpeg = cv2.imencode(".jpg", photo)
        assert done
        if wrong:
            sha256, outcome = (
                name.encode().hex().ljust(64, "0"),
                Outcome(
                    status="refused",
                    code="blurred",
                    message="blurred.",
                    thumbnails={0: jpeg.tobytes()},
                ),
            )
        else:
            document = double.measure(path, PIN)
            (folder / "picture").write_bytes(jpeg.tobytes())
            small = small_pictures(folder / "picture", document)
            sha256 = document["photo"]["sha256"]
            outcome = Outcome(status="measured", document=document, thumbnails=small)
        job = Job(path=path, name=name, sha256=sha256, settings=PIN)
        store.add(sha256, PIN.text, PIN.key, outcome, [name])
        batch.jobs[name] = job
    return make_answer(store, batch)


@pytest.fixture
def answer(tmp_path: Path) -> Any:
    with Store(tmp_path / "r.sqlite") as store:
        made = box(tmp_path / "photos", store)
        write_contact_sheet(made, store, tmp_path / "contact.pdf")
        write_labels(made, tmp_path / "labels.pdf")
    return made


def test_pages_are_read_and_measured_by_another_library(answer: Answer, tmp_path: Path) -> None:
    for name in ("contact.pdf", "labels.pdf"):
        assert all(printed.fonts(tmp_path / name).values())
        document = pdfium.PdfDocument(tmp_path / name)
        for page in document:
            assert printed.covered(page) == []
        if name == "labels.pdf":
            assert "gauge plane" in text_of(tmp_path / name)  # no fact is cut short
            assert printed.bars(document[0], 100.0) == [pytest.approx((100.0, 100.0), abs=0.05)]
        document.close()


def text_of(path: Path) -> str:
    document = pdfium.PdfDocument(path)
    pages = [document[i] for i in range(len(document))]
    text = "\n".join(page.get_textpage().get_text_range() for page in pages)
    document.close()
    return text


def picture_of(path: Path, dots_per_mm: float) -> np.ndarray:
    document = pdfium.PdfDocument(path)
    image = document[0].render(scale=dots_per_mm * 25.4 / 72).to_numpy()
    document.close()
    return np.asarray(image[..., :3])


def test_the_answer_has_the_doubtful_first_then_bin_by_bin(answer: Answer) -> None:
    assert [line.row.status for line in answer.doubtful] == ["refused", "ambiguous"]
    assert [(name, len(lines)) for name, lines in answer.bins] == [
        ("M14x1.5", 2),
        ("R 1/4", 1),
        ("nobody's thread", 1),
    ]
    assert [line.number for line in answer.lines] == list(range(1, 7))
    assert answer.exit_code == 4


def test_the_contact_sheet_says_number_name_and_uncertainty(answer: Answer, tmp_path: Path) -> None:
    text = text_of(tmp_path / "contact.pdf")
    for line in answer.lines:
        assert line.row.id in text
        if line.row.settled:
            assert f"{line.number} {line.row.name}" in text.replace("  ", " ")
    assert "± 0.003 mm" in text  # twice the 0.0015 that the photo gave
    assert "Measure the taper." in text
    assert "2 x M14x1.5" in text
    assert "three.jpg" in text


def test_every_label_has_a_code_that_reads_as_its_record(answer: Answer, tmp_path: Path) -> None:
    """The codes are made by segno and read by OpenCV's detector."""
    per_mm = 8
    page = np.ascontiguousarray(picture_of(tmp_path / "labels.pdf", per_mm))
    for place, (_, lines) in enumerate(answer.bins):
        row, column = divmod(place, 2)
        top, left = (10 + 43 * row) * per_mm, (13 + 92 * column) * per_mm
        label = page[top + 4 : top + 43 * per_mm - 4, left + 4 : left + 92 * per_mm - 4]
        text, *_ = cv2.QRCodeDetector().detectAndDecode(np.ascontiguousarray(label))
        assert text == reference(lines).row.id


def test_the_profile_on_a_label_is_true_to_size(answer: Answer, tmp_path: Path) -> None:
    """Twenty pitches of M14x1.5, counted in the picture of the page, are 30 mm."""
    per_mm = 20
    page = picture_of(tmp_path / "labels.pdf", per_mm)
    # The first label lies 13 mm from the left and 10 mm from the top; its profile at its foot.
    strip = page[int(38 * per_mm) : int(50 * per_mm), int(15 * per_mm) : int(50 * per_mm), 0] < 128
    heights = strip.sum(axis=0).astype(float)
    inside = np.flatnonzero(heights > 1.5 * per_mm)
    assert (inside[-1] - inside[0]) / per_mm == pytest.approx(30.0, abs=0.1)
    profile = heights[inside[0] : inside[-1]] - heights[inside[0] : inside[-1]].mean()
    spectrum = np.abs(np.fft.rfft(profile, 2**17))
    peak = np.argmax(spectrum[100:]) + 100
    assert 2**17 / peak / per_mm == pytest.approx(1.5, rel=0.005)


def test_same_answer_same_bytes(answer: Answer, tmp_path: Path) -> None:
    with Store(tmp_path / "r.sqlite") as store:
        write_contact_sheet(answer, store, tmp_path / "contact2.pdf")
    write_labels(answer, tmp_path / "labels2.pdf")
    assert (tmp_path / "contact.pdf").read_bytes() == (tmp_path / "contact2.pdf").read_bytes()
    assert (tmp_path / "labels.pdf").read_bytes() == (tmp_path / "labels2.pdf").read_bytes()


def test_many_bins_take_several_pages(tmp_path: Path) -> None:
    with Store(tmp_path / "r.sqlite") as store:
        batch = Batch()
        for i in range(30):
            path = double.write_photo(tmp_path / f"{i}.jpg", [[f"M{i + 4}x1"]], n=i)
            document = double.measure(path, PIN)
            sha256 = document["photo"]["sha256"]
            store.add(sha256, PIN.text, PIN.key, Outcome(status="measured", document=document))
            batch.jobs[path.name] = Job(path=path, name=path.name, sha256=sha256, settings=PIN)
        made = make_answer(store, batch)
        write_contact_sheet(made, store, tmp_path / "c.pdf")
        write_labels(made, tmp_path / "l.pdf")
    for name, pages in (("c.pdf", 2), ("l.pdf", 3)):
        document = pdfium.PdfDocument(tmp_path / name)
        assert len(document) == pages
        document.close()


def test_all_that_draws_is_loaded_while_photos_are_measured(tmp_path: Path) -> None:
    code = (
        "import sys\n"
        "from pathlib import Path\n"
        "from pitchcam import paper\n"
        "from pitchcam.batch import run\n"
        "from pitchcam.series import catalogue\n"
        "from pitchcam.store.store import Store\n"
        "run._load_sheets()\n"
        "before = set(sys.modules)\n"
        "assert paper.embed_fonts.cache_info().currsize and catalogue._load.cache_info().currsize\n"
        "from tests.batch.test_sheets import box, write_contact_sheet, write_labels\n"
        f"folder = Path({str(tmp_path)!r})\n"
        "with Store(folder / 'r.sqlite') as store:\n"
        "    made = box(folder / 'photos', store)\n"
        "    write_contact_sheet(made, store, folder / 'contact.pdf')\n"
        "write_labels(made, folder / 'labels.pdf')\n"
        "late = {name.split('.')[0] for name in set(sys.modules) - before}\n"
        "assert not late & {'PIL', 'reportlab', 'segno'}, late\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)
