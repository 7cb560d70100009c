"""What runs inside a worker process: one photo measured, and what the page shows of it drawn."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import signal
import warnings
from collections.abc import Callable, Mapping
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from pitchcam.batch.settings import Job, Settings
from pitchcam.batch.worker import measure_job, use_one_thread
from pitchcam.errors import InputError, PitchcamError
from pitchcam.files import write_whole
from pitchcam.frozen import dataclass
from pitchcam.page.plots import plot_data, plots_read
from pitchcam.records import Measurement, ScaleSpec, ThreadResult, json_text
from pitchcam.records.formats import document
from pitchcam.store.entries import Outcome

#: Longer side of the picture that the page shows: twice a phone's screen, so that it can be
#: looked into, in half a megabyte.
PICTURE_PX = 2000
_JPEG_QUALITY = 82
#: A polyline with more points than this is no finer on any screen.
_MOST_POINTS = 600

Say = Callable[[str], None]


@dataclass(frozen=True, kw_only=True)
class Task:
    """A photo to measure; ``view`` is the folder for what is drawn of it.

    ``lenses`` is the file of what was learnt of phones' lenses, None where it is left off.
    """

    job: Job
    view: Path
    megapixels: float
    lenses: Path | None = None


@dataclass(frozen=True, kw_only=True)
class Frame:
    """A small picture of the live view, JPEG bytes; ``stream`` tells cameras apart."""

    jpeg: bytes
    stream: str
    scale: ScaleSpec


@dataclass(frozen=True, kw_only=True)
class Plots:
    """The plots of an answer that is there: drawn when somebody looks at them."""

    view: Path
    document: Mapping[str, Any]


def serve_tasks(pipe: Connection, memory_bytes: int) -> None:
    """Measure what comes through the pipe until it closes, which it also does with the server."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _limit_memory(memory_bytes)
    _be_silent()
    use_one_thread()
    warnings.simplefilter("ignore")  # a library's remark on one photo is nothing for the terminal
    _load_libraries()
    memory: dict[str, Any] = {}
    pipe.send(("ready", None))
    while True:
        try:
            task: Task | Frame | Plots = pipe.recv()
        except (EOFError, OSError):
            return
        answer: Any
        if isinstance(task, Frame):
            answer = look(task, memory)
        elif isinstance(task, Plots):
            answer = draw_plots(task)
        else:
            answer = measure(task, lambda text: pipe.send(("step", text)))
        try:
            pipe.send(("done", answer))
        except OSError:
            return


def measure(task: Task, say: Say) -> Outcome:
    """Measure one photo, draw its view, and return the outcome that the record keeps."""

    def identify(path: Path, settings: Settings) -> dict[str, Any]:
        import pitchcam

        check_pixels(path, task.megapixels)
        from pitchcam.camera.lenses import Lenses

        measurement = pitchcam.identify(
            path,
            settings.scale,
            cast=settings.cast,
            shrinkage=settings.shrinkage,
            progress=say,
            lenses=None if task.lenses is None else Lenses(path=task.lenses),
        )
        say("drawing the picture")
        with contextlib.suppress(OSError, ValueError):  # no picture, but still an answer
            write_view(measurement, path, task.view)
        whole: dict[str, Any] = measurement.to_json()
        return whole

    outcome = measure_job(task.job, identify)
    if outcome.status == "refused":
        with contextlib.suppress(Exception):  # the reason is told without a picture too
            task.view.mkdir(exist_ok=True)
            width, height = _write_picture(task.job.path, task.view / "photo.jpg")
            _write_view(task.view, {"width": width, "height": height, "threads": []})
    return outcome


def draw_plots(task: Plots) -> bool:
    """Draw the plots of each thread beside its view; say whether they are there."""
    from pitchcam.report.page import plots_of
    from pitchcam.report.plots import svg_uri

    try:
        kept = json.loads((task.view / "plots.json").read_text(encoding="utf-8"))
        for part in Measurement.from_json(task.document).parts:
            for number, thread in enumerate(part.threads, 1):
                drawn = plots_read(kept["threads"].get(f"{part.id}-{number}"))
                for title, figure in plots_of(replace(thread, plots=drawn)):
                    name = plot_file(part.id, number, title)
                    data = base64.b64decode(svg_uri(figure).partition(",")[2])
                    write_whole(task.view / name, data)
    except (OSError, ValueError, KeyError, PitchcamError):
        return False
    return True


def check_pixels(path: Path, most_megapixels: float) -> None:
    """Refuse a picture by its header, before memory is spent on it.

    Raises
    ------
    InputError
        If the header says more pixels than allowed; a header that cannot be read is left to the
        reader of photos, which says what is wrong with it.
    """
    from PIL import Image

    try:
        with warnings.catch_warnings(), Image.open(path, formats=("JPEG", "PNG", "TIFF")) as image:
            width, height = image.size
    except Image.DecompressionBombError:
        width, height = 10**6, 10**6
    except Exception:
        return
    if width * height > most_megapixels * 1e6:
        raise InputError(
            f"the photo has more than {most_megapixels:g} megapixels;",
            "send it at the camera's normal size",
        )


def look(frame: Frame, memory: dict[str, Any]) -> dict[str, Any]:
    """Return what the live view says of a small frame."""
    from pitchcam.framing import look_at

    before = memory.get(frame.stream)
    seen = look_at(frame.jpeg, frame.scale, before)
    memory.clear()  # one camera at a time is remembered: its last frame
    memory[frame.stream] = seen.light
    return {"hints": list(seen.hints), "ready": seen.ready, "box": seen.box}


def _limit_memory(memory_bytes: int) -> None:
    """Cap this process's address space, where the system has such a limit."""
    try:
        import resource
    except ImportError:  # not on Windows
        return
    for limit, value in ((resource.RLIMIT_AS, memory_bytes), (resource.RLIMIT_CORE, 0)):
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(limit, (value, value))


def _be_silent() -> None:
    """Keep off the terminal what decoders print about a broken file; answers go by the pipe."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
    os.close(nowhere)


def _load_libraries() -> None:
    """Import what every photo needs, while nobody waits."""
    import pitchcam.pipeline.answer
    import pitchcam.report.page
    import pitchcam.series

    pitchcam.series.load_series()


def write_view(measurement: Measurement, path: Path, folder: Path) -> None:
    """Write picture, plots and what is drawn over the picture; the list of them last."""
    folder.mkdir(exist_ok=True)
    _write_picture(path, folder / "photo.jpg")
    found = [(p.id, n, t) for p in measurement.parts for n, t in enumerate(p.threads, 1)]
    kept = {f"{part}-{number}": plot_data(thread) for part, number, thread in found}
    write_whole(folder / "plots.json", json_text(document("plots", {"threads": kept})).encode())
    photo, scale = measurement.photo, measurement.scale
    _write_view(
        folder,
        {
            "width": None if photo is None else photo.width_px,
            "height": None if photo is None else photo.height_px,
            "reference": [] if scale is None else _points(scale.outline_px),
            "parts": [_points(part.outline_px) for part in measurement.parts],
            "threads": [_thread_view(*row) for row in found],
        },
    )


#: The report's plots: profile, spectrum, spacing.
_PLOTS = ("Profile over one pitch", "Spectrum of the outline", "Spacing along the thread")


def plot_file(part: int, number: int, title: str) -> str:
    """Return the name of the file that a plot is drawn to."""
    return f"plot-{part}-{number}-{_PLOTS.index(title) + 1}.svg"


def _write_view(folder: Path, keys: dict[str, Any]) -> None:
    write_whole(folder / "view.json", json_text(document("view", keys)).encode())


def _thread_view(part: int, number: int, thread: ThreadResult) -> dict[str, Any]:
    from pitchcam.report.page import budget_table

    drawn = thread.plots
    has_pitch = thread.reading.pitch_mm is not None
    titles = (
        []
        if drawn is None
        else [
            title
            for title, data in zip(_PLOTS, (drawn.folded, drawn.spectrum, drawn.drift), strict=True)
            if len(data[0]) > 1 and (has_pitch or data is not drawn.spectrum)
        ]
    )
    return {
        "part": part,
        "number": number,
        "budget": budget_table(thread),
        "plots": [{"title": t, "file": plot_file(part, number, t)} for t in titles],
        "axis": _points((thread.span_px or ()) if drawn is None else drawn.axis_px),
        "edges": [] if drawn is None else [_points(edge) for edge in drawn.edges_px],
        "crests": [] if drawn is None else _points(drawn.crests_px),
        "flanks": [] if drawn is None else [_points(line) for line in drawn.flanks_px],
    }


def _points(points: Any) -> list[list[float]]:
    step = max(1, len(points) // _MOST_POINTS)
    return [[round(float(x), 1), round(float(y), 1)] for x, y in points[::step]]


def _write_picture(path: Path, target: Path) -> tuple[int, int]:
    """Write the picture that the page shows, upright and made anew from the pixels."""
    import cv2

    image, size = _decoded(path)
    scale = PICTURE_PX / max(image.shape[:2])
    if scale < 1:
        small = (round(image.shape[1] * scale), round(image.shape[0] * scale))
        image = cv2.resize(image, small, interpolation=cv2.INTER_AREA)
    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    if not done:
        raise ValueError("the picture cannot be encoded")
    write_whole(target, data.tobytes())
    return size


def _decoded(path: Path) -> tuple[Any, tuple[int, int]]:
    """Return 8-bit pixels to show, and width and height of the photo itself."""
    import cv2
    import numpy as np
    from PIL import Image

    from pitchcam.photo import load_photo

    with path.open("rb") as handle:
        jpeg = handle.read(2) == b"\xff\xd8"
    if jpeg:
        with Image.open(path) as header:
            plain, size = header.mode in ("RGB", "L"), header.size
        half = cv2.imread(str(path), cv2.IMREAD_REDUCED_COLOR_2) if plain else None
        # Half a JPEG costs a quarter of the decoding; a photo that small is decoded whole.
        if half is not None and max(half.shape[:2]) >= PICTURE_PX:
            upright = (half.shape[1] > half.shape[0]) == (size[0] > size[1])
            return half, size if upright else (size[1], size[0])
    photo = load_photo(path)
    pixels = photo.pixels
    if pixels.dtype == np.uint16:
        pixels = (pixels >> 8).astype(np.uint8)
    return pixels, (photo.width_px, photo.height_px)
