"""Render and develop: one process traces, several develop what it has traced."""

from __future__ import annotations

import json
import multiprocessing
import tarfile
import tempfile
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from pathlib import Path

import numpy as np

from samples.develop import write
from tests.fresh.draw import Fresh, fresh
from tests.fresh.phone import develop
from tests.fresh.truth import truth

#: Paths per pixel (a square), bounces, and the largest archive, bytes.
PATHS, DEPTH = 49, 7
ARCHIVE = 15_500_000


def light_of(shot: Fresh, paths: int = PATHS) -> np.ndarray:
    """Trace a photo's linear light."""
    from samples import trace

    return trace.photo(
        shot.scene(), samples=paths, seed=shot.seed % 100_000, depth=DEPTH, apart=True
    )


def finish(set_name: str, seed: int, index: int, light: Path, folder: Path) -> str:
    """Develop traced light into the photo and its truth; the light's file is removed."""
    import cv2

    cv2.setNumThreads(1)
    shot = fresh(set_name, seed, index)
    content = develop(np.load(light), shot.phone, shot.seed)
    light.unlink()
    write(folder / f"{shot.name}.jpg", content)
    text = json.dumps(truth(shot), indent=1) + "\n"
    write(folder / f"{shot.name}.json", text.encode())
    return shot.name


def render(
    jobs: Sequence[tuple[str, int, int]],
    folder: Path,
    *,
    processes: int,
    seconds: float = 1e9,
    paths: int = PATHS,
) -> list[str]:
    """Render photos (set, seed, index) into a folder; those that are there are left.

    ``seconds`` ends the tracing of further photos; what is traced is still developed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    start, done = time.monotonic(), []
    context = multiprocessing.get_context("spawn")
    scratch = Path("/dev/shm") if Path("/dev/shm").is_dir() else Path(tempfile.gettempdir())
    with (
        tempfile.TemporaryDirectory(dir=scratch) as room,
        ProcessPoolExecutor(processes, mp_context=context) as pool,
    ):
        waiting: list[Future[str]] = []
        for set_name, seed, index in jobs:
            if time.monotonic() - start > seconds:
                print("out of time", flush=True)
                break
            shot = fresh(set_name, seed, index)
            if (folder / f"{shot.name}.json").exists():
                continue
            t0 = time.monotonic()
            path = Path(room) / f"{shot.name}.npy"
            np.save(path, light_of(shot, paths).astype(np.float16))
            print(
                f"{shot.name}: {time.monotonic() - t0:.1f} s, "
                f"{time.monotonic() - start:.0f} s in all",
                flush=True,
            )
            waiting.append(pool.submit(finish, set_name, seed, index, path, folder))
            while sum(not w.done() for w in waiting) > 2 * processes:
                time.sleep(0.05)
        for w in waiting:
            try:
                done.append(w.result())
            except Exception as error:  # one photo must not lose the others
                print(f"not developed: {error!r}", flush=True)
    return done


def spread(
    jobs: Sequence[tuple[str, int, int]],
    folder: Path,
    *,
    tracers: int,
    processes: int,
    seconds: float = 1e9,
    paths: int = PATHS,
) -> int:
    """Render with several tracing processes at once: drawing and compiling leave a GPU idle."""
    context = multiprocessing.get_context("spawn")
    share = max(1, processes // tracers)
    workers = [
        context.Process(
            target=render,
            args=(jobs[k::tracers], folder),
            kwargs={"processes": share, "seconds": seconds, "paths": paths},
        )
        for k in range(tracers)
    ]
    for w in workers:
        w.start()
    for w in workers:
        w.join()
    return sum((folder / f"{fresh(*job).name}.json").exists() for job in jobs)


def pack(files: Iterable[Path], out: Path, limit: int = 4) -> list[Path]:
    """Pack photos with their truths into at most ``limit`` archives of less than ARCHIVE bytes.

    Returns the photos that did not fit.
    """
    out.mkdir(parents=True, exist_ok=True)
    bins: list[list[Path]] = [[] for _ in range(limit)]
    room = [float(ARCHIVE)] * limit
    left = []
    for photo in files:
        need = photo.stat().st_size + photo.with_suffix(".json").stat().st_size + 3000
        fits = [k for k in range(limit) if room[k] >= need]
        if not fits:
            left.append(photo)
            continue
        bins[fits[0]].append(photo)
        room[fits[0]] -= need
    for k, photos in enumerate(b for b in bins if b):
        with tarfile.open(out / f"photos{k}.tar", "w") as archive:
            for photo in photos:
                archive.add(photo, photo.name)
                archive.add(photo.with_suffix(".json"), photo.with_suffix(".json").name)
    return left
