"""Draw the docs' pictures from the samples, as the tool makes them: ``python docs/draw_docs.py``.

``tour``, ``guide`` and ``gallery`` may be named to draw one alone. Run from the repository root.
"""

from __future__ import annotations

import json
import sys
import tempfile
from contextlib import chdir
from pathlib import Path
from typing import Any

import cv2
import matplotlib as mpl
import numpy as np
import pypdfium2
from click.testing import CliRunner
from matplotlib.figure import Figure

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

import pitchcam  # noqa: E402
from pitchcam.cli import cli  # noqa: E402
from pitchcam.errors import PitchcamError  # noqa: E402
from pitchcam.objects.field import find_field  # noqa: E402
from pitchcam.photo import load_photo  # noqa: E402
from pitchcam.photo.linear import linear_table  # noqa: E402
from pitchcam.pipeline.scene import take_apart  # noqa: E402
from pitchcam.records import Measurement, ScaleSpec  # noqa: E402
from pitchcam.report.picture import annotate  # noqa: E402
from pitchcam.report.plots import drift_figure, profile_figure, spectrum_figure  # noqa: E402
from pitchcam.series import find  # noqa: E402

DOCS, SAMPLES = ROOT / "docs", ROOT / "samples"
PICTURES = DOCS / "pictures"
#: The photo of the tour, and its reference.
TOUR, TOUR_SCALE = SAMPLES / "p05-unf12-pin.jpg", ScaleSpec(source="pin", mm=6.0)
BLUE, RED, AMBER, GREY = "#0b4a7a", "#c23b00", "#e69f00", "#8a929b"
#: Colours of OpenCV, blue first.
CV_BLUE, CV_AMBER, CV_RED = (122, 74, 11), (0, 159, 230), (0, 59, 194)
WIDE_PX, JPEG = 900, 78

#: Sample, title, what is in the picture, and the reference if another than the true one is stated.
GALLERY = (
    (
        "p14-r12-pin",
        "A good photo: a taper thread",
        "Brass, panel well below, a pin beside it. Pitch, angle and taper together leave one name.",
        "",
    ),
    (
        "p12-npt38-card",
        "A bank card as reference",
        "The best scale there is: flat, and it shows how the camera leaned.",
        "",
    ),
    (
        "p10-bsw38-major",
        "No reference: the crests by caliper",
        "The caliper's reading over the crests is the scale, at the height of the thread.",
        "",
    ),
    (
        "p20-box-pin",
        "Several parts in one photo",
        "Each is named; the answer numbers them as the picture does.",
        "",
    ),
    (
        "p04-m16-two-start-pin",
        "A thread of no series",
        "Two starts: measured, and not named, since no series has it.",
        "",
    ),
    (
        "p19-m14x1.5-worn-disc",
        "Worn crests",
        "Wear takes crests alone: flanks and pitch still tell the name.",
        "",
    ),
    (
        "p06-unf58-pin",
        "Bright metal mirrors the panel",
        "Along its edges the part shines; the edge "
        "is placed by a model of the mirrored light, and u is wider.",
        "",
    ),
    (
        "p13-npt12-pin",
        "A pin that is not of the stated size",
        "It measures 8 mm, and 7 are stated: "
        "lengths are all wrong alike, and no thread fits but by another scale.",
        "--pin 7",
    ),
    ("p22-blurred", "Out of focus", "The roots are filled by blur: refused.", ""),
    (
        "p24-over-exposed",
        "Background clipped to white",
        "Clipped light has eaten the edges: refused.",
        "",
    ),
    ("p25-few-turns", "Too few turns", "Fewer than three turns do not tell a pitch: refused.", ""),
    ("p23-cut", "Cut by the frame", "What is out of the picture is not guessed: refused.", ""),
    (
        "p21-hose-pin",
        "No thread at all",
        "Barbs repeat as a thread does, but in step on both sides.",
        "",
    ),
)
#: Lines of an answer that the gallery shows.
SHOWN_LINES = 9


def keep(name: str, pixels: np.ndarray[Any, Any], width: int = WIDE_PX) -> None:
    """Write a picture, no wider than a page shows."""
    height = round(pixels.shape[0] * width / pixels.shape[1])
    small = cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA)
    cv2.imwrite(str(PICTURES / f"{name}.jpg"), small, [cv2.IMWRITE_JPEG_QUALITY, JPEG])


def keep_plot(name: str, figure: Figure | None) -> None:
    """Write a plot as SVG, without what changes from run to run."""
    assert figure is not None, name
    with mpl.rc_context({"svg.hashsalt": "pitchcam", "svg.fonttype": "none"}):
        figure.savefig(
            PICTURES / f"{name}.svg", format="svg", metadata={"Date": None}, bbox_inches="tight"
        )


def around(photo: np.ndarray[Any, Any], points: np.ndarray[Any, Any], margin: float = 0.15):
    """Return the cut-out that holds points, and its top left corner."""
    low, high = points.min(axis=0), points.max(axis=0)
    grow = margin * float(max(high - low))
    x0, y0 = np.maximum(np.floor(low - grow), 0).astype(int)
    x1, y1 = np.ceil(high + grow).astype(int)
    return photo[y0:y1, x0:x1].copy(), np.array([x0, y0])


def lit(photo: Path) -> np.ndarray[Any, Any]:
    """Return a photo cut to its lit window, with some of the dark around it."""
    pixels = cv2.imread(str(photo))
    window = find_field(load_photo(photo).pixels).window_px
    return around(pixels, window, 0.08)[0]


def plot(width: float = 7.2, height: float = 3.4) -> tuple[Figure, Any]:
    """Return a figure of one panel in the docs' look."""
    figure = Figure(figsize=(width, height), layout="constrained")
    axes = figure.subplots()
    axes.grid(color="#e4e2de")
    axes.spines[["top", "right"]].set_visible(False)
    return figure, axes


def tour() -> None:
    """Draw one photo stage by stage."""
    photo = load_photo(TOUR)
    scene = take_apart(photo, TOUR_SCALE, lambda _: None)
    told = pitchcam.identify(TOUR, TOUR_SCALE)
    pixels = cv2.imread(str(TOUR))
    window = around(pixels, scene.field.window_px, 0.08)
    keep("tour-photo", window[0])
    found = pixels.copy()
    cv2.polylines(found, [np.int32(np.round(scene.field.window_px))], True, CV_AMBER, 10)
    for blob in scene.field.blobs:
        x0, y0, x1, y1 = blob.box_px
        cv2.rectangle(found, (x0, y0), (x1, y1), CV_BLUE, 7)
    if told.scale is not None and told.scale.outline_px:
        outline = np.int32(np.round(told.scale.outline_px))
        cv2.polylines(found, [outline], True, CV_RED, 7)
    keep("tour-objects", around(found, scene.field.window_px, 0.08)[0])
    thread = told.parts[0].threads[0]
    assert thread.plots is not None
    edges = [np.array(e) for e in thread.plots.edges_px]
    cut, corner = around(pixels, np.concatenate(edges))
    for edge in edges:
        cv2.polylines(
            cut, [np.int32(np.round((edge - corner) * 16))], False, CV_AMBER, 2, cv2.LINE_AA, 4
        )
    for crest in thread.plots.crests_px:
        centre = np.round((np.array(crest) - corner) * 16).astype(int)
        cv2.circle(cut, tuple(int(c) for c in centre), 60, CV_RED, 2, cv2.LINE_AA, 4)
    for a, b in thread.plots.flanks_px:
        ends = np.round((np.array([a, b]) - corner) * 16).astype(np.int32)
        cv2.polylines(cut, [ends], False, CV_BLUE, 2, cv2.LINE_AA, 4)
    keep("tour-outline", cut)
    keep_plot("tour-edge", _edge(pixels, thread.plots.flanks_px[len(thread.plots.flanks_px) // 2]))
    keep_plot("tour-spectrum", spectrum_figure(thread))
    assert thread.verdict.designation is not None
    keep_plot("tour-profile", profile_figure(thread, find(thread.verdict.designation)))
    keep_plot("tour-drift", drift_figure(thread))
    keep_plot("tour-budget", _budget(told))
    keep("tour-answer", annotate(told, photo))


def _edge(pixels: np.ndarray[Any, Any], flank: Any) -> Figure:
    """Light across the middle of a flank's fitted line, as coded and as light."""
    ends = np.array(flank, float)
    middle, along = ends.mean(axis=0), ends[1] - ends[0]
    normal = np.array([-along[1], along[0]]) / np.hypot(*along)
    steps = np.arange(-9, 9.01, 0.25)
    at = (middle + steps[:, None] * normal).astype(np.float32)
    codes = cv2.remap(pixels[..., 1].astype(np.float32), at[:, 0], at[:, 1], cv2.INTER_LINEAR)
    codes = codes.ravel() / 255
    if codes[0] > codes[-1]:
        steps, codes = -steps[::-1], codes[::-1]
    light = np.interp(codes * 255, np.arange(256), linear_table(pixels.dtype))
    figure, axes = plot()
    axes.plot(steps, codes, color=GREY, linestyle="--", label="as the file codes it")
    axes.plot(
        steps,
        light / light.max() * codes.max(),
        color=BLUE,
        marker="o",
        markersize=3,
        label="as light, to the same level",
    )
    axes.axhline(
        (light.min() / light.max() + 1) / 2 * codes.max(),
        color=AMBER,
        linewidth=1,
        linestyle=":",
        label="half way between part and panel",
    )
    axes.axvline(0, color=RED, linewidth=1, label="the flank that was fitted")
    axes.set(xlabel="pixels across the edge", ylabel="share of full scale")
    axes.legend(frameon=False)
    return figure


def _budget(told: Measurement) -> Figure:
    """Draw what each term contributes to pitch and pitch diameter, as shares of their u."""
    thread = told.parts[0].threads[0]
    names = ("pitch_mm", "pitch_diameter_mm", "angle_deg")
    total = {n: getattr(thread.reading, n).u for n in names}
    figure, axes = plot(7.2, 4.2)
    at = np.arange(len(thread.budget))
    for k, (name, colour) in enumerate(zip(names, (BLUE, AMBER, RED), strict=True)):
        share = [100 * (b.contributions.get(name, 0.0) / total[name]) ** 2 for b in thread.budget]
        axes.barh(
            at + (k - 1) * 0.27,
            share,
            0.25,
            color=colour,
            label=name.split("_")[0] if name != "pitch_diameter_mm" else "pitch diameter",
        )
    axes.set(
        yticks=at,
        yticklabels=[b.source for b in thread.budget],
        xlabel="share of the squared uncertainty, %",
    )
    axes.invert_yaxis()
    axes.legend(frameon=False)
    return figure


def page_of(pdf: Path, name: str, width: int = WIDE_PX, number: int = 0) -> None:
    """Keep one page of a PDF as a picture."""
    document = pypdfium2.PdfDocument(pdf)
    image = np.asarray(document[number].render(scale=2).to_pil().convert("RGB"))
    keep(name, image[..., ::-1], width)


def guide() -> None:
    """Draw what the guides show: photos, answers, papers."""
    photo = SAMPLES / "p13-npt12-pin.jpg"
    keep("first-photo", lit(photo), 640)
    told = pitchcam.identify(photo, ScaleSpec(source="pin", mm=8.0))
    keep("first-answer", annotate(told, load_photo(photo)))
    sender = SAMPLES / "p15-npt18-jaws.jpg"
    told = pitchcam.identify(sender, ScaleSpec(source="jaws", mm=15.0))
    keep("guide-answer", annotate(told, load_photo(sender)))
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        (Path("bench.csv")).write_bytes((SAMPLES / "stock" / "bench.csv").read_bytes())
        (Path("photos")).mkdir()
        for name in ("p13-npt12-pin", "p20-box-pin", "p27-m18-short-pin", "p23-cut"):
            (Path("photos") / f"{name}.jpg").write_bytes((SAMPLES / f"{name}.jpg").read_bytes())
        for call in (
            "stock import bench.csv --who bench",
            "join --port M22x1.5 --part M10x1 --service oil -o adapter.pdf",
            "sheet -o marker-sheet.pdf --paper a4",
            "chart -o wall.pdf --paper a3",
            "batch photos --pin 8",
        ):
            CliRunner().invoke(cli, call.split(), catch_exceptions=False)
        page_of(Path("adapter.pdf"), "work-sheet")
        page_of(Path("marker-sheet.pdf"), "marker-sheet", 420)
        page_of(Path("wall.pdf"), "wall-chart", 820)
        page_of(Path("box/contact-sheet.pdf"), "contact-sheet", 720)


def gallery() -> None:
    """Keep every photo of the gallery, small, with what is said of it."""
    kept = []
    for name, title, about, stated in GALLERY:
        photo = SAMPLES / f"{name}.jpg"
        scale = json.loads(photo.with_suffix(".json").read_text(encoding="utf-8"))["scale"]
        size = f" {scale['mm']:g}" if scale["source"] != "card" else ""
        options = stated or f"--{scale['source']}{size}"
        keep(name, lit(photo), 480)
        call = f"pitchcam identify samples/{name}.jpg {options}"
        kept.append(
            {
                "name": name,
                "title": title,
                "about": about,
                "call": call,
                "said": said(photo, options),
            }
        )
    text = json.dumps(kept, indent=1, ensure_ascii=False) + "\n"
    (DOCS / "data" / "gallery.json").write_text(text, encoding="utf-8")


def said(photo: Path, options: str) -> str:
    """Return the first lines of the answer, or the refusal."""
    done = CliRunner().invoke(cli, ["identify", str(photo), *options.split()])
    if isinstance(done.exception, PitchcamError):
        return f"pitchcam: {done.exception}"
    lines = [line for line in done.stdout.splitlines() if line.strip()]
    assert lines, (photo, options, done.stderr)
    more = ["..."] if len(lines) > SHOWN_LINES else []
    return "\n".join([*(line[:150] for line in lines[:SHOWN_LINES]), *more])


def main() -> None:
    """Draw what is named, or everything."""
    PICTURES.mkdir(exist_ok=True)
    (DOCS / "data").mkdir(exist_ok=True)
    todo = {"tour": tour, "guide": guide, "gallery": gallery}
    for name in sys.argv[1:] or todo:
        todo[name]()


if __name__ == "__main__":
    main()
