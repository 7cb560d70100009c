"""A copy of an exposure counts once, however it was turned; what was photographed anew counts."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

import pitchcam
from pitchcam.adjust.combine import combine
from pitchcam.adjust.copies import copied, copies
from pitchcam.records import ScaleSpec
from tests.adjust import made

SIZE = (4032, 3024)
#: What each way of turning a picture makes of a place in it; by Pillow's names.
WAYS = {
    "ROTATE_180": lambda x, y: (SIZE[0] - 1 - x, SIZE[1] - 1 - y),
    "ROTATE_90": lambda x, y: (y, SIZE[0] - 1 - x),
    "ROTATE_270": lambda x, y: (SIZE[1] - 1 - y, x),
    "FLIP_LEFT_RIGHT": lambda x, y: (SIZE[0] - 1 - x, y),
    "FLIP_TOP_BOTTOM": lambda x, y: (x, SIZE[1] - 1 - y),
    "TRANSPOSE": lambda x, y: (y, x),
    "TRANSVERSE": lambda x, y: (SIZE[1] - 1 - y, SIZE[0] - 1 - x),
}


def photo(number=0):
    return made.measurement(made.true_values(), made.lines(), number, named=True)


def moved(measurement, way, size=SIZE, number=1):
    part = measurement.parts[0]
    thread = part.threads[0]
    span = tuple(tuple(float(c) for c in way(*end)) for end in thread.span_px)
    info = replace(
        measurement.photo, file="copy.jpg", sha256=f"{number}", width_px=size[0], height_px=size[1]
    )
    part = replace(part, threads=(replace(thread, span_px=span),))
    return replace(measurement, photo=info, parts=(part,))


@pytest.mark.parametrize("name", WAYS)
def test_where_a_turned_copy_has_its_thread(name):
    """Pillow says where a pixel goes; the copy is found from that."""
    picture = Image.new("L", SIZE)
    (x, y), _ = photo().parts[0].threads[0].span_px
    picture.putpixel((int(x), int(y)), 255)
    turned = picture.transpose(getattr(Image.Transpose, name))
    there = np.argwhere(np.asarray(turned))[0][::-1]
    assert tuple(there) == WAYS[name](int(x), int(y))
    copy = moved(photo(), WAYS[name], turned.size)
    assert copied(copy, photo())
    told = combine([photo(), copy])
    assert "the same exposure as 0.jpg" in told.left_out[1]
    one, alone = told.parts[0].threads[0], photo().parts[0].threads[0]
    assert one.reading == alone.reading
    assert not told.open


def test_a_smaller_copy():
    half = moved(photo(), lambda x, y: ((x - 0.5) / 2, (y - 0.5) / 2), (SIZE[0] // 2, SIZE[1] // 2))
    assert copies([photo(), None, half]) == {2: 0}
    assert copies([half, photo()]) == {1: 0}


def test_what_was_photographed_anew_is_no_copy():
    def nearly(x, y):
        x, y = WAYS["ROTATE_180"](x, y)
        return x + 2.5, y

    assert not copied(moved(photo(), nearly), photo())
    # Nobody moved anything, and took a second exposure.
    assert not copied(moved(photo(), lambda x, y: (x, y)), photo())
    # Another thread lies there as well.
    both = photo()
    part = both.parts[0]
    other = replace(part.threads[0], span_px=((100.0, 90.0), (400.0, 90.0)))
    both = replace(both, parts=(replace(part, threads=(*part.threads, other)),))
    assert not copied(moved(photo(), WAYS["ROTATE_180"]), both)


def test_a_copy_with_another_reference_tells_something():
    turned = moved(photo(), WAYS["ROTATE_180"])
    other = replace(turned, scale=replace(turned.scale, source="card", stated_mm=85.6))
    assert not copied(other, photo())


def test_a_turned_copy_of_a_sample_gains_nothing(tmp_path):
    pin = ScaleSpec(source="pin", mm=6.0)
    path = "samples/p05-unf12-pin.jpg"
    picture = Image.open(path)
    turned = picture.transpose(Image.Transpose.ROTATE_180)
    turned.save(tmp_path / "turned.jpg", quality=90, exif=picture.getexif())
    told = pitchcam.identify_several([path, tmp_path / "turned.jpg"], pin, plots=False)
    alone = pitchcam.identify(path, pin, plots=False)
    assert told.photos[1].left_out is not None
    assert any(w.code == "photo-left-out" and "same exposure" in w.message for w in told.warnings)
    assert told.parts[0].threads[0].reading == alone.parts[0].threads[0].reading
