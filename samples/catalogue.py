"""The invented shop's photos: what lies on the glass, under which phone, by which light.

Sizes are those of real parts: a little under nominal, within the usual classes. The shop, its
fittings and its phones are made up.
"""

from __future__ import annotations

from collections.abc import Iterator

from samples.develop import Development
from samples.forms import BA_47, ISO_60, WHITWORTH_55
from samples.scene import Camera, Light
from samples.shots import (
    INCH,
    Fibre,
    Laid,
    Reference,
    Shot,
    clean,
    film,
    npt,
    r_taper,
    sender,
    tail,
    thread,
    union,
)
from samples.solids import Nick, barbs

#: JPEG quality and EXIF of a phone's main camera in good light.
MAIN = Development(exif_f35=26, quality=86)


def metric() -> Iterator[Shot]:
    camera = Camera(f35=26.3, height=190, focus_height=8, centre_px=(8, -4))
    part = sender(
        "M12x1.25", thread(ISO_60, 1.25, 11.85, 11), flats=17, material="zinc", head=(14, 18)
    )
    yield Shot(
        name="p01-m12x1.25-disc",
        quality="clean",
        camera=camera,
        development=MAIN,
        seed=201,
        parts=(Laid(fitting=part, at=(6, -6), heading_deg=22, shim_deg=0.4),),
        scale=Reference(kind="disc", mm=24.0, at=(-18, 14), thickness=1.9),
        light=clean(camera, 84, 66),
    )
    camera = Camera(f35=24.2, height=165, focus_height=6)
    part = sender(
        "M10x1.25", thread(ISO_60, 1.25, 9.86, 10), flats=14, material="steel", head=(11, 14)
    )
    yield Shot(
        name="p02-m10x1.25-major",
        quality="clean",
        camera=camera,
        seed=202,
        development=Development(exif_f35=24, quality=86),
        parts=(Laid(fitting=part, heading_deg=-140),),
        scale=Reference(kind="major", mm=9.85),
        light=clean(camera, 60, 48),
    )
    camera = Camera(f35=24.3, height=212, focus_height=10, aim=(-6, 0))
    part = sender(
        "M22x1.5", thread(ISO_60, 1.5, 21.83, 13), flats=27, material="zinc", head=(22, 18)
    )
    yield Shot(
        name="p03-m22x1.5-jaws",
        quality="clean",
        camera=camera,
        seed=203,
        development=Development(exif_f35=24, quality=86),
        parts=(Laid(fitting=part, at=(24, -2), heading_deg=-80, shim_deg=0.3),),
        scale=Reference(kind="jaws", mm=30.0, at=(-28, 0), turn_deg=-2, thickness=3.2),
        light=clean(camera, 132, 92),
    )
    camera = Camera(f35=26.1, height=195, focus_height=7)
    part = sender(
        "M16xPh3P1.5",
        thread(ISO_60, 1.5, 15.8, 15, starts=2),
        flats=22,
        material="steel",
        head=(16, 20),
    )
    yield Shot(
        name="p04-m16-two-start-pin",
        quality="clean",
        camera=camera,
        development=MAIN,
        seed=204,
        parts=(Laid(fitting=part, at=(0, -8), heading_deg=12),),
        scale=Reference(kind="pin", mm=8.0, at=(0, 16), turn_deg=6, length=36),
        light=clean(camera, 92, 72),
        expected="off-series: two starts",
    )


def unified() -> Iterator[Shot]:
    camera = Camera(f35=25.8, height=200, focus_height=8, tilt_deg=(0.8, -0.5), aim=(2, 0))
    part = sender(
        "1/2-20 UNF", thread(ISO_60, 1.27, 12.62, 13), flats=19, material="steel", head=(15, 20)
    )
    yield Shot(
        name="p05-unf12-pin",
        quality="clean",
        camera=camera,
        development=MAIN,
        seed=205,
        parts=(Laid(fitting=part, at=(0, -8), heading_deg=-35),),
        scale=Reference(kind="pin", mm=6.0, at=(14, 18), turn_deg=-20, length=36),
        light=clean(camera, 84, 70),
    )
    camera = Camera(f35=26.3, height=225, focus_height=12, tilt_deg=(-3.0, 1.5))
    part = sender(
        "5/8-18 UNF",
        thread(ISO_60, INCH / 18, 15.74, 13),
        flats=22,
        material="steel",
        head=(17, 18),
    )
    yield Shot(
        name="p06-unf58-pin",
        quality="workshop",
        camera=camera,
        seed=206,
        development=Development(sharpen=0.8, gain=2, quality=80, plate=0.7),
        parts=(Laid(fitting=part, at=(-10, 4), heading_deg=130, shim_deg=-1.0),),
        scale=Reference(kind="pin", mm=10.0, at=(22, -2), turn_deg=80, length=40),
        light=Light(below=40, size=(300, 230), fall=0.2, turn_deg=4),
    )
    camera = Camera(f35=26.2, height=205, focus_height=5, tilt_deg=(-2, -2))
    part = sender(
        "7/16-20 UNF", thread(ISO_60, 1.27, 11.03, 12), flats=16, material="dead", head=(12, 16)
    )
    yield Shot(
        name="p07-unf716-inked-pin",
        quality="workshop",
        camera=camera,
        seed=207,
        development=Development(exif_f35=26, sharpen=0.7, gain=1.5, quality=84, plate=0.66),
        parts=(Laid(fitting=part, at=(-4, 6), heading_deg=190, shim_deg=-0.8),),
        scale=Reference(kind="pin", mm=6.0, at=(0, -14), turn_deg=-25, length=34),
        light=Light(below=0.8, size=(320, 240), fall=0.35),
    )


def whitworth() -> Iterator[Shot]:
    camera = Camera(f35=26.0, height=230, focus_height=9)
    part = sender("G 3/8", thread(WHITWORTH_55, INCH / 19, 16.56, 13), flats=22, head=(18, 16))
    yield Shot(
        name="p08-g38-jaws",
        quality="clean",
        camera=camera,
        development=MAIN,
        seed=208,
        parts=(Laid(fitting=part, at=(24, 2), heading_deg=85, shim_deg=-0.3),),
        scale=Reference(kind="jaws", mm=25.0, at=(-20, 0), turn_deg=3, thickness=3.0),
        light=clean(camera, 108, 80),
    )
    camera = Camera(f35=51.6, height=290, focus_height=10, tilt_deg=(0.3, 0.3), centre_px=(-8, 12))
    part = sender("G 1/2", thread(WHITWORTH_55, INCH / 14, 20.82, 14), flats=27, head=(22, 18))
    yield Shot(
        name="p09-g12-disc",
        quality="clean",
        camera=camera,
        seed=209,
        development=Development(exif_f35=52, sharpen=0.6, quality=86),
        parts=(Laid(fitting=part, at=(10, -4), heading_deg=65),),
        scale=Reference(kind="disc", mm=22.25, at=(-24, 8), thickness=1.7),
        light=clean(camera, 92, 72),
    )
    camera = Camera(f35=26.0, height=175, focus_height=6, tilt_deg=(-0.5, -0.5))
    part = sender(
        "3/8-16 BSW",
        thread(WHITWORTH_55, INCH / 16, 9.42, 15),
        flats=15,
        material="zinc",
        head=(11, 16),
    )
    # The reading is 0.02 mm high, as a caliper's may be: 0.2 % of so small a thread.
    yield Shot(
        name="p10-bsw38-major",
        quality="workshop",
        camera=camera,
        development=MAIN,
        seed=210,
        parts=(Laid(fitting=part, heading_deg=55, shim_deg=-0.2),),
        scale=Reference(kind="major", mm=9.44),
        light=clean(camera, 70, 56),
    )
    camera = Camera(f35=26.0, height=205, focus_height=8, tilt_deg=(0.4, -0.6))
    part = sender(
        "1/2-12 BSW",
        thread(WHITWORTH_55, INCH / 12, 12.624, 19),
        flats=19,
        material="steel",
        head=(14, 15),
    )
    yield Shot(
        name="p28-bsw12-major",
        quality="clean",
        camera=camera,
        development=MAIN,
        seed=228,
        parts=(Laid(fitting=part, heading_deg=-28, shim_deg=0.3),),
        scale=Reference(kind="major", mm=12.62),
        light=clean(camera, 84, 66),
    )
    camera = Camera(f35=52.2, height=262, focus_height=4)
    part = sender("0 BA", thread(BA_47, 1.0, 5.88, 11), flats=10.5, hexagon=5, head=(7, 10))
    yield Shot(
        name="p11-0ba-pin",
        quality="clean",
        camera=camera,
        seed=211,
        development=Development(exif_f35=52, quality=86),
        parts=(Laid(fitting=part, at=(3, -5), heading_deg=-28),),
        scale=Reference(kind="pin", mm=5.0, at=(0, 9), turn_deg=-8, length=24),
        light=clean(camera, 58, 44),
    )


def taper() -> Iterator[Shot]:
    camera = Camera(f35=26.2, height=245, focus_height=8, aim=(0, -16), tilt_deg=(-0.7, 0.4))
    part = sender("3/8-18 NPT", npt(18, 17.145, 12, 0.05), flats=20, head=(16, 16))
    yield Shot(
        name="p12-npt38-card",
        quality="clean",
        camera=camera,
        development=MAIN,
        seed=212,
        parts=(Laid(fitting=part, at=(5, 20), heading_deg=170, shim_deg=0.2),),
        scale=Reference(kind="card", at=(-3, -34), turn_deg=4),
        light=clean(camera, 120, 118),
    )
    camera = Camera(f35=25.7, height=210, focus_height=10, tilt_deg=(-0.4, 0.9))
    part = sender("1/2-14 NPT", npt(14, 21.336, 14, 0.08), flats=27, head=(22, 18))
    yield Shot(
        name="p13-npt12-pin",
        quality="clean",
        camera=camera,
        development=MAIN,
        seed=213,
        parts=(Laid(fitting=part, at=(-6, 6), heading_deg=205, shim_deg=0.2),),
        scale=Reference(kind="pin", mm=8.0, at=(8, -22), turn_deg=-12, length=40),
        light=clean(camera, 104, 84),
    )
    camera = Camera(f35=52.5, height=320, focus_height=9, tilt_deg=(0.5, 1.2))
    part = sender(
        "R 1/2", r_taper(14, 20.955, 8.2, 14, 0.05), flats=27, material="zinc", head=(22, 20)
    )
    yield Shot(
        name="p14-r12-pin",
        quality="clean",
        camera=camera,
        seed=214,
        development=Development(exif_f35=52, quality=86),
        parts=(Laid(fitting=part, at=(-4, 6), heading_deg=-15, shim_deg=-0.3),),
        scale=Reference(kind="pin", mm=10.0, at=(6, -22), turn_deg=10, length=44),
        light=clean(camera, 92, 76),
    )
    camera = Camera(f35=26.0, height=185, focus_height=5, tilt_deg=(1.5, 2.0))
    part = sender("1/8-27 NPT", npt(27, 10.287, 9, 0.04), flats=14, hexagon=7, head=(11, 12))
    yield Shot(
        name="p15-npt18-jaws",
        quality="workshop",
        camera=camera,
        seed=215,
        development=Development(exif_f35=26, sharpen=0.8, gain=3, quality=80),
        parts=(Laid(fitting=part, at=(22, 0), heading_deg=-95, shim_deg=0.8),),
        scale=Reference(kind="jaws", mm=15.0, at=(-12, 2), turn_deg=-4, thickness=2.5),
        light=Light(below=30, size=(260, 200), fall=0.2),
    )
    camera = Camera(f35=26.0, height=215, focus_height=9, tilt_deg=(0.2, -0.8))
    nipple = union(
        ("G 1/4", thread(WHITWORTH_55, INCH / 19, 13.07, 12)),
        ("1/4-18 NPT", npt(18, 13.716, 13, 0.05)),
        flats=19,
    )
    yield Shot(
        name="p16-nipple-disc",
        quality="clean",
        camera=camera,
        development=MAIN,
        seed=216,
        parts=(Laid(fitting=nipple, at=(6, -8), heading_deg=150, shim_deg=0.2),),
        scale=Reference(kind="disc", mm=20.0, at=(-14, 18), thickness=1.5),
        light=clean(camera, 96, 80),
    )


def sheets() -> Iterator[Shot]:
    camera = Camera(
        f35=26.3, height=205, focus_height=6, tilt_deg=(1.8, -1.2), centre_px=(12, -8), aim=(2, 1)
    )
    part = sender(
        "M14x1.5", thread(ISO_60, 1.5, 13.82, 12), flats=19, material="zinc", head=(15, 14)
    )
    yield Shot(
        name="p17-m14x1.5-sheet",
        quality="clean",
        camera=camera,
        development=MAIN,
        seed=217,
        parts=(Laid(fitting=part, at=(2, 2), heading_deg=25, shim_deg=0.3),),
        scale=Reference(kind="sheet"),
        light=clean(camera, 98, 68),
        bar_mm=99.6,
        film=film("part", at=(1, -1), turn_deg=3, printed=0.996),
    )
    camera = Camera(f35=25.6, height=230, focus_height=4, tilt_deg=(-3.4, 2.6), aim=(-4, 3))
    part = sender("R 1/4", r_taper(19, 13.157, 6.0, 11, 0.05), flats=17, head=(13, 14))
    yield Shot(
        name="p18-r14-sheet",
        quality="workshop",
        camera=camera,
        seed=218,
        development=Development(exif_f35=26, sharpen=0.7, gain=2, quality=84, k1=-0.004),
        parts=(Laid(fitting=part, at=(-3, 4), heading_deg=160, shim_deg=1.0),),
        scale=Reference(kind="sheet"),
        light=Light(below=60, size=(300, 240), fall=0.15),
        bar_mm=100.2,
        film=film("part", at=(-2, 3), turn_deg=-7, printed=1.002),
    )


def worn_and_many() -> Iterator[Shot]:
    camera = Camera(f35=26.0, height=180, focus_height=3, tilt_deg=(2.5, -3.0))
    nicks = (
        Nick(z=4.1, angle_deg=95, depth=0.35, radius=0.4),
        Nick(z=7.9, angle_deg=268, depth=0.3, radius=0.5),
    )
    part = sender(
        "M14x1.5",
        thread(ISO_60, 1.5, 13.66, 11, crest_cut=0.09, nicks=nicks),
        flats=19,
        material="zinc",
        head=(15, 16),
    )
    yield Shot(
        name="p19-m14x1.5-worn-disc",
        quality="workshop",
        camera=camera,
        seed=219,
        development=Development(
            exif_f35=26, sharpen=0.9, gain=2.5, denoise=True, quality=82, k1=-0.004
        ),
        parts=(Laid(fitting=part, at=(8, 2), heading_deg=-25, shim_deg=1.5),),
        scale=Reference(kind="disc", mm=23.25, at=(-22, -10), thickness=2.2),
        light=Light(below=1.0, size=(330, 250), fall=0.4),
        fibres=(Fibre(at=(0, 12), turn_deg=30), Fibre(at=(-6, 0), turn_deg=110, height=3)),
    )
    camera = Camera(f35=26.1, height=270, focus_height=7, tilt_deg=(0.4, -0.6))
    box = (
        (sender("M18x1.5", thread(ISO_60, 1.5, 17.82, 12), flats=24, head=(18, 10)), -38, 22, 20),
        (sender("1/8-27 NPT", npt(27, 10.287, 9, 0.03), flats=14, head=(11, 12)), 4, 26, -60),
        (
            sender(
                "G 1/4",
                thread(WHITWORTH_55, INCH / 19, 13.08, 11),
                flats=19,
                material="zinc",
                head=(14, 12),
            ),
            42,
            18,
            100,
        ),
        (
            sender(
                "3/8-24 UNF",
                thread(ISO_60, INCH / 24, 9.46, 12),
                flats=14,
                material="steel",
                head=(11, 12),
            ),
            -30,
            -22,
            150,
        ),
        (tail("R 3/8", r_taper(19, 16.662, 6.4, 12, 0.04), flats=19, bore=9), 22, -24, -10),
    )
    yield Shot(
        name="p20-box-pin",
        quality="box",
        camera=camera,
        development=MAIN,
        seed=220,
        parts=tuple(Laid(fitting=f, at=(x, y), heading_deg=a) for f, x, y, a in box),
        scale=Reference(kind="pin", mm=8.0, at=(-4, -2), turn_deg=4, length=30),
        light=clean(camera, 136, 100),
    )


def refused() -> Iterator[Shot]:
    pin = Reference(kind="pin", mm=8.0, at=(-8, 14), turn_deg=30, length=34)
    camera = Camera(f35=26.0, height=190, focus_height=5)
    joiner = tail(None, barbs(5, 4.5, 8, 0.8), flats=14, bore=10)
    yield Shot(
        name="p21-hose-pin",
        quality="refuse",
        camera=camera,
        development=MAIN,
        seed=221,
        parts=(Laid(fitting=joiner, at=(0, -6), heading_deg=15),),
        scale=Reference(kind="pin", mm=6.0, at=(0, 12), turn_deg=8, length=34),
        light=clean(camera, 90, 70),
        expected="no threaded part: hose barbs only",
    )
    camera = Camera(f35=26.0, height=190, focus_height=60, pupil=5)
    part = sender(
        "M12x1.5", thread(ISO_60, 1.5, 11.85, 11), flats=17, material="zinc", head=(14, 16)
    )
    yield Shot(
        name="p22-blurred",
        quality="refuse",
        camera=camera,
        seed=222,
        development=Development(exif_f35=26, motion_px=12, motion_deg=25, psf_px=2.5, quality=82),
        parts=(Laid(fitting=part, at=(2, -6), heading_deg=35),),
        scale=pin,
        light=clean(camera, 90, 70),
        expected="unreadable: blurred",
    )
    camera = Camera(f35=26.0, height=190, focus_height=6)
    part = sender("M14x1.5", thread(ISO_60, 1.5, 13.8, 12), flats=19, head=(15, 16))
    yield Shot(
        name="p23-cut",
        quality="refuse",
        camera=camera,
        development=MAIN,
        seed=223,
        parts=(Laid(fitting=part, at=(26, -6), heading_deg=187),),
        scale=Reference(kind="pin", mm=8.0, at=(-12, 14), turn_deg=5, length=34),
        light=clean(camera, 66, 60),
        expected="unreadable: cut by the edge of the light",
    )
    yield Shot(
        name="p24-over-exposed",
        quality="refuse",
        camera=camera,
        seed=224,
        development=Development(exif_f35=26, plate=2.6, quality=86),
        parts=(Laid(fitting=part, at=(2, -8), heading_deg=20),),
        scale=Reference(kind="pin", mm=8.0, at=(-4, 14), turn_deg=10, length=34),
        light=clean(camera, 84, 66),
        expected="unreadable: over-exposed",
    )


def short_and_small() -> Iterator[Shot]:
    camera = Camera(f35=26.2, height=230, focus_height=8, centre_px=(5, 3))
    part = sender("G 1/2", thread(WHITWORTH_55, INCH / 14, 20.8, 5.0), flats=27)
    yield Shot(
        name="p25-few-turns",
        quality="refuse",
        camera=camera,
        seed=912,
        development=Development(exif_f35=26, quality=88),
        parts=(Laid(fitting=part, at=(6, -4), heading_deg=-20, shim_deg=0.2),),
        scale=Reference(kind="pin", mm=10.0, at=(-26, 10), turn_deg=40),
        light=clean(camera, 100, 80),
        expected="unreadable: fewer than three turns",
    )
    camera = Camera(f35=26.2, height=170, focus_height=8, centre_px=(5, 3))
    part = sender(
        "M6x1", thread(ISO_60, 1.0, 5.90, 9), flats=10, material="zinc", head=(8, 10), hexagon=5
    )
    yield Shot(
        name="p26-m6-pin",
        quality="clean",
        camera=camera,
        seed=902,
        development=Development(exif_f35=26, quality=88),
        parts=(Laid(fitting=part, at=(6, -4), heading_deg=30, shim_deg=0.2),),
        scale=Reference(kind="pin", mm=5.0, at=(-14, 6), turn_deg=40),
        light=clean(camera, 60, 50),
    )
    camera = Camera(f35=26.2, height=210, focus_height=8, centre_px=(5, 3))
    part = sender("M18x1.5", thread(ISO_60, 1.5, 17.85, 5.3), flats=24, material="steel")
    yield Shot(
        name="p27-m18-short-pin",
        quality="clean",
        camera=camera,
        seed=913,
        development=Development(exif_f35=26, quality=88),
        parts=(Laid(fitting=part, at=(6, -4), heading_deg=110, shim_deg=0.2),),
        scale=Reference(kind="pin", mm=8.0, at=(-20, 8), turn_deg=40),
        light=clean(camera, 90, 75),
    )


def all_shots() -> dict[str, Shot]:
    """Return every photo of the catalogue by name."""
    groups = (metric, unified, whitworth, taper, sheets, worn_and_many, refused, short_and_small)
    return {shot.name: shot for group in groups for shot in group()}
