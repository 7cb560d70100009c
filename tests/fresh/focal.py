"""Photos whose focal length is told wrongly, not at all, or of another frame.

Where tags are edited the picture stays as it was; a frame that is cut or zoomed is coded again at a
quality that leaves the edges alone.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
from PIL import Image

from tests.fresh.measure import Row
from tests.fresh.truth import EXPECTED

#: Tags of Exif 2.3: the true focal length, that of the same view on 35-mm film, the digital zoom.
FOCAL, FILM, ZOOM = 37386, 41989, 41988
#: The IFD that holds them.
EXIF_IFD = 0x8769
#: Nobody holds a phone where such a lens would have to be.
ABSURD_MM = 200
#: The part and what lies beside it mostly stay in view.
ZOOMED = 1.2
QUALITY = 95
#: What a truth expects beside a reference that is not as stated.
WRONG_SIZE = ("wrong size", EXPECTED["wrongref"])


def _tags(data: bytes) -> Image.Exif:
    with Image.open(io.BytesIO(data)) as image:
        return image.getexif()


def _told(data: bytes, change: Callable[[dict[int, float]], None]) -> bytes:
    """Return the same picture with other tags in its first APP1 segment."""
    exif = _tags(data)
    change(exif.get_ifd(EXIF_IFD))
    body = exif.tobytes()
    body = body if body.startswith(b"Exif\0\0") else b"Exif\0\0" + body
    at, out = 2, data[:2]
    while data[at] == 0xFF and data[at + 1] != 0xDA:
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        if not (data[at + 1] == 0xE1 and data[at + 4 : at + 10] == b"Exif\0\0"):
            out += data[at : at + 2 + length]
        at += 2 + length
    segment = b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body
    return out[:2] + segment + out[2:] + data[at:]


def _scaled(share: float) -> Callable[[bytes], bytes]:
    def change(tags: dict[int, float]) -> None:
        for tag in (FOCAL, FILM):
            if tag in tags:
                # The film's tag is a whole number: a fraction is what a phone would have rounded.
                value = float(tags[tag]) * share
                tags[tag] = round(value) if tag == FILM else value

    return lambda data: _told(data, change)


def _absent(data: bytes) -> bytes:
    def change(tags: dict[int, float]) -> None:
        for tag in (FOCAL, FILM, ZOOM):
            tags.pop(tag, None)

    return _told(data, change)


def _absurd(data: bytes) -> bytes:
    return _told(data, lambda tags: tags.update({FILM: ABSURD_MM}))


def _framed(data: bytes, box: tuple[int, int, int, int], size: tuple[int, int]) -> bytes:
    with Image.open(io.BytesIO(data)) as image:
        kept = image.crop(box).resize(size, Image.Resampling.BICUBIC)
        out = io.BytesIO()
        kept.save(out, "JPEG", quality=QUALITY, subsampling=0, exif=image.info.get("exif", b""))
    return out.getvalue()


def _wide(data: bytes) -> bytes:
    """Cut to 16:9 as a phone set so does, of the sensor's shorter side: its tags stay."""
    with Image.open(io.BytesIO(data)) as image:
        width, height = image.size
    # A phone held upright stores the long side as it was held, or turned.
    w = min(width, max(width, height) * 9 // 16) if width < height else width
    h = min(height, max(width, height) * 9 // 16) if height <= width else height
    x, y = (width - w) // 2, (height - h) // 2
    return _framed(data, (x, y, x + w, y + h), (w, h))


def _zoomed(data: bytes) -> bytes:
    """Zoom by the middle of the frame, and tell it in the zoom's own tag."""
    with Image.open(io.BytesIO(data)) as image:
        width, height = image.size
    w, h = round(width / ZOOMED), round(height / ZOOMED)
    x, y = (width - w) // 2, (height - h) // 2
    zoomed = _framed(data, (x, y, x + w, y + h), (width, height))
    return _told(zoomed, lambda tags: tags.update({ZOOM: ZOOMED}))


VARIANTS: dict[str, Callable[[bytes], bytes]] = {
    "as it is": lambda data: data,
    "5 % long": _scaled(1.05),
    "5 % short": _scaled(0.95),
    "absent": _absent,
    "absurd": _absurd,
    "16:9": _wide,
    "zoomed": _zoomed,
}


def write(files: Iterable[Path], room: Path) -> dict[str, list[Path]]:
    """Write every variant of the photos with its truth; return the truth files by variant."""
    files = list(files)
    out: dict[str, list[Path]] = {}
    for name, changed in VARIANTS.items():
        folder = room / name.translate(str.maketrans(" :%", "---"))
        for file in files:
            truth = json.loads(file.read_text(encoding="utf-8"))
            place = folder / file.parent.name
            place.mkdir(parents=True, exist_ok=True)
            photo = file.with_name(truth["file"]).read_bytes()
            (place / truth["file"]).write_bytes(changed(photo))
            (place / file.name).write_text(json.dumps(truth), encoding="utf-8")
            out.setdefault(name, []).append(place / file.name)
    return out


def table(rows: dict[str, list[Row]]) -> str:
    """Return a line for each variant: names, wrong names, and how intervals hold."""
    lines = [
        f"{'focal length':<12}{'threads':>8}{'right':>7}{'open':>6}{'none':>6}{'wrong':>7}"
        f"{'pitch in 1.96 u':>17}{'rms z':>7}{'major in 1.96 u':>17}{'rms z':>7}"
    ]
    for name, some in rows.items():
        true = [r for r in some if r["truth"] != "(no thread)" and r["outcome"] != "refused"]
        count = {o: sum(r["outcome"] == o for r in true) for o in ("right", "open", "none")}
        wrong = sum(r["outcome"] == "wrong" for r in some)
        line = f"{name:<12}{len(true):>8}{count['right']:>7}{count['open']:>6}{count['none']:>6}"
        line += f"{wrong:>7}"
        # Beside a reference that is not as stated lengths are off by as much.
        sized = [r for r in true if not any(w in (r.get("expected") or "") for w in WRONG_SIZE)]
        for key in ("pitch_mm", "major_mm"):
            z = np.array([r["errors"][key] / r["u"][key] for r in sized if r.get("u", {}).get(key)])
            line += f"{np.mean(np.abs(z) <= 1.96):>16.0%} {np.sqrt(np.mean(z**2)):>6.2f} "
        lines.append(line)
        lines += [
            f"  wrong: {r['folder']}/{r['photo']}: {r['answer']} for {r['truth']}"
            for r in some
            if r["outcome"] == "wrong"
        ]
    return "\n".join(lines)
