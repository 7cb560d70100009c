"""Decoders' complaints: heard as damage, kept from the terminal."""

import os
import subprocess
import sys
import threading
from pathlib import Path

import cv2
import numpy as np
import pytest

from pitchcam.errors import InputError
from pitchcam.photo import load_photo
from pitchcam.photo.intact import MOST_SCANS, jpeg_scans
from pitchcam.photo.quiet import heard

SAMPLE = Path(__file__).parents[2] / "samples" / "p05-unf12-pin.jpg"


def test_what_native_code_says_of_damage_is_heard(capfd):
    with heard() as said:
        os.write(2, b"Corrupt JPEG data: premature end of data segment\nsome other words\n")
        os.write(2, b"Corrupt JPEG data: bad ICC marker\n")
    assert said.damage == ["Corrupt JPEG data: premature end of data segment"]
    assert capfd.readouterr().err == ""
    os.write(2, b"after")
    assert capfd.readouterr().err == "after"


def test_what_python_prints_meanwhile_still_arrives():
    code = (
        "import os, sys, threading\n"
        "from pitchcam.photo.quiet import heard\n"
        "with heard():\n"
        "    os.write(2, b'libpng warning: something\\n')\n"
        "    t = threading.Thread(target=lambda: print('progress', file=sys.stderr)); t.start()\n"
        "    t.join()\n"
        "print('end', file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr == "progress\nend\n"


def test_without_stderr_damage_is_heard_too(tmp_path):
    path = tmp_path / "hurt.jpg"
    path.write_bytes(hurt(SAMPLE.read_bytes()))
    code = (
        "import os, sys\nos.close(2)\n"
        "from pitchcam.photo import load_photo\n"
        f"try: load_photo({str(path)!r})\nexcept Exception as e: print(e)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert "is damaged" in done.stdout


def test_threads_take_turns(capfd):
    def talk(word: str) -> None:
        for _ in range(20):
            with heard() as said:
                os.write(2, f"libpng error: {word}\n".encode())
            assert said.damage == [f"libpng error: {word}"]

    threads = [threading.Thread(target=talk, args=(w,)) for w in ("one", "two", "three")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert capfd.readouterr().err == ""


def hurt(data: bytes) -> bytes:
    """Take three bytes out of the coded picture."""
    middle = len(data) // 2
    return data[:middle] + data[middle + 3 :]


def test_a_picture_that_its_decoder_doubts_is_damaged(tmp_path, capfd):
    path = tmp_path / "hurt.jpg"
    path.write_bytes(hurt(SAMPLE.read_bytes()))
    with pytest.raises(InputError, match=r"is damaged \(Corrupt JPEG data"):
        load_photo(path)
    assert capfd.readouterr().err == ""


def test_a_cmyk_picture_is_doubted_alike(tmp_path):
    from PIL import Image

    Image.open(SAMPLE).resize((640, 480)).convert("CMYK").save(tmp_path / "c.jpg", quality=95)
    data = (tmp_path / "c.jpg").read_bytes()
    assert load_photo(tmp_path / "c.jpg").pixels.shape == (480, 640, 3)
    (tmp_path / "c.jpg").write_bytes(hurt(data))
    with pytest.raises(InputError, match="damaged"):
        load_photo(tmp_path / "c.jpg")


def progressive() -> bytes:
    noise = np.random.default_rng(5).integers(0, 255, (64, 64), np.uint8)
    options = [cv2.IMWRITE_JPEG_PROGRESSIVE, 1]
    return cv2.imencode(".jpg", noise, options)[1].tobytes()


def test_a_jpeg_of_hundreds_of_scans_is_refused_unread(tmp_path):
    data = progressive()
    usual = jpeg_scans(data)
    assert usual.whole
    assert 1 < usual.scans < MOST_SCANS
    last = data.rindex(b"\xff\xda")
    many = data[:last] + data[last:-2] * 300 + data[-2:]
    (tmp_path / "many.jpg").write_bytes(many)
    with pytest.raises(InputError, match="over 40 passes"):
        load_photo(tmp_path / "many.jpg")


def test_scans_are_counted_without_an_embedded_preview():
    plain = cv2.imencode(".jpg", np.zeros((32, 32), np.uint8))[1].tobytes()
    preview = b"\xff\xe1" + (len(plain) + 2).to_bytes(2, "big") + plain
    assert jpeg_scans(plain[:2] + preview + plain[2:]).scans == 1
    assert jpeg_scans(plain + plain).scans == 1  # what follows the end is another picture
    assert not jpeg_scans(plain[:-2]).whole
    assert not jpeg_scans(b"\xff\xd8" + b"\xff" * 10000).whole


@pytest.mark.parametrize(
    "start",
    [
        b"\xff\xd8\xff",
        b"\xff\xd8\xff\xe0",
        b"\x89PNG\r\n\x1a\n",
        b"II*\0",
        b"MM\0*",
        b"\0\0\0\x18ftypheic",
        b"",
    ],
)
def test_a_header_with_nothing_but_zeros_is_refused_at_once(tmp_path, start):
    """Libraries look for a marker byte by byte: a minute for 900 MB."""
    path = tmp_path / "zeros.jpg"
    with path.open("wb") as handle:
        handle.write(start)
        handle.truncate(30_000_000)
    with pytest.raises(InputError):
        load_photo(path)
