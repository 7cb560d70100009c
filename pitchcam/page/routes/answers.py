"""The answer: in large type, with the picture, its plots, another reference, a correction."""

from __future__ import annotations

import asyncio
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import FileResponse, Response

from pitchcam.page import calls, photos, show, typed
from pitchcam.page.guard import DRAWING_POLICY
from pitchcam.page.measuring import Plots
from pitchcam.page.routes.photo import reference_fields, runs_of, started
from pitchcam.page.setup import Setup
from pitchcam.page.web import (
    get,
    json_reply,
    missing,
    page,
    post,
    seen,
    session_of,
    setup_of,
    texts,
)
from pitchcam.store.entries import Correction, Entry
from pitchcam.store.store import Store

_ID = re.compile(r"[0-9a-f]{10}\Z")
_PLOT = re.compile(r"plot-\d{1,3}-\d{1,2}-\d\.svg\Z")
_MOST_TOGETHER = 8


def entry_of(setup: Setup, entry_id: str) -> Entry:
    """Return one record.

    Raises
    ------
    PitchcamError
        If there is none.
    """
    if _ID.match(entry_id):
        with Store(setup.record) as store:
            entry = store.entry(entry_id)
            if entry is not None:
                return entry
    raise missing("answer")


def _stored(setup: Setup, entry_id: str) -> tuple[Entry, str, tuple[Correction, ...]]:
    entry = entry_of(setup, entry_id)
    with Store(setup.record) as store:
        return entry, store.settings_text(entry.settings_key), store.corrections(entry_id)


def view_folder(setup: Setup, entry_id: str) -> Path:
    """Return the folder of what was drawn of an answer; the id is checked by then."""
    return setup.views / entry_id


async def answer(request: Request) -> Response:
    """Show one answer."""
    setup, entry_id = setup_of(request), request.path_params["answer"]
    entry, settings, corrections = await asyncio.to_thread(_stored, setup, entry_id)
    view = show.view_of(view_folder(setup, entry.id))
    outcome = entry.outcome
    shown = await asyncio.to_thread(show.threads, entry, view)
    return page(
        request,
        "answer.html",
        entry=entry,
        threads=shown,
        view=view,
        marks=show.MARKS,
        reason=outcome,
        warnings=(outcome.document or {}).get("warnings", []),
        scale=show.scale_line(entry),
        corrections=corrections,
        reference=typed.reference_of(settings),
        references=typed.REFERENCES,
        again=photos.find(setup, entry.sha256, entry.name) is not None,
    )


async def document(request: Request) -> Response:
    """Return the measurement as the contract has it."""
    entry = await asyncio.to_thread(entry_of, setup_of(request), request.path_params["answer"])
    return json_reply(entry.contract())


async def again(request: Request, form: dict[str, Any]) -> Response:
    """Measure the same photo with another reference; no upload is needed."""
    setup, fields = setup_of(request), reference_fields(texts(form))
    entry = await asyncio.to_thread(entry_of, setup, request.path_params["answer"])
    photo = photos.find(setup, entry.sha256, entry.name)
    if photo is None:
        raise missing("photo any more", "Send it again.")
    run = runs_of(request).start(session_of(request), photo, typed.settings(fields))
    return started(request, run)


async def correct(request: Request, form: dict[str, Any]) -> Response:
    """Add what a person says a thread is in fact, with who and why."""
    from pitchcam.cli.log import check_listed

    fields, setup = texts(form), setup_of(request)
    thread = fields.get("thread", "")

    def write() -> str:
        entry = entry_of(setup, thread.split("-")[0])
        said = fields.get("designation", "").strip()
        if not fields.get("unlisted"):
            check_listed(said)
        with Store(setup.record) as store:
            store.correct(
                thread,
                said,
                who=fields.get("who", ""),
                why=fields.get("why", ""),
                now=datetime.now(UTC),
            )
        return entry.id

    entry_id = await asyncio.to_thread(write)
    back = fields.get("back", "")
    return seen(back if re.match(r"/box/[\w-]+\Z", back) else f"/answers/{entry_id}")


async def picture(request: Request) -> Response:
    """Return the photo as the page shows it, made anew from its pixels."""
    setup, entry_id = setup_of(request), request.path_params["answer"]
    path = view_folder(setup, entry_id) / "photo.jpg"
    if _ID.match(entry_id) and path.exists():
        return FileResponse(path, media_type="image/jpeg", headers=_KEEP)
    raise missing("picture")


async def small_picture(request: Request) -> Response:
    """Return the small picture of a part; 0 is the whole photo."""
    setup, entry_id = setup_of(request), request.path_params["answer"]

    def read() -> bytes | None:
        with Store(setup.record) as store:
            return store.thumbnail(entry_id, request.path_params["part"])

    jpeg = await asyncio.to_thread(read)
    if jpeg is None:
        raise missing("picture")
    return Response(jpeg, media_type="image/jpeg", headers=_KEEP)


async def plot(request: Request) -> Response:
    """Return a plot, drawn when first asked for."""
    setup, entry_id = setup_of(request), request.path_params["answer"]
    name = request.path_params["plot"]
    entry = await asyncio.to_thread(entry_of, setup, entry_id)
    folder = view_folder(setup, entry.id)
    if not _PLOT.match(name):
        raise missing("plot")
    if not (folder / name).exists() and entry.outcome.document is not None:
        task = Plots(view=folder, document=entry.outcome.document)
        limit = setup.limits.photo_s
        async with request.app.state.plot_lock:  # three plots asked for at once are drawn once
            if not (folder / name).exists():
                await request.app.state.workers.run(
                    session_of(request), task, lambda text: None, limit
                )
    if not (folder / name).exists():
        raise missing("plot")
    headers = {**_KEEP, "content-security-policy": DRAWING_POLICY}
    return FileResponse(folder / name, media_type="image/svg+xml", headers=headers)


async def together(request: Request) -> Response:
    """Show several photos of one part side by side, with their agreement."""
    setup = setup_of(request)
    ids = list(dict.fromkeys(request.query_params.getlist("id")))[:_MOST_TOGETHER]

    def read() -> tuple[list[Any], Any]:
        out, stored = [], []
        for entry_id in ids:
            entry, settings, _ = _stored(setup, entry_id)
            stored.append((entry, settings))
            found = show.threads(entry, None)
            parts = (entry.outcome.document or {"parts": []})["parts"]
            threads = [t for part in parts for t in part["threads"]]
            out.append((entry, found[0] if found else None, threads[0] if threads else None))
        return out, calls.one_part(stored)

    rows, joined = await asyncio.to_thread(read)
    adjusted = None if joined is None else joined.outcome.measurement
    with_thread = [row for row in rows if row[1] is not None]
    documents = [row[2] for row in with_thread]
    names = {row[1].name for row in with_thread if row[1].status == "named"}
    return page(
        request,
        "together.html",
        rows=rows,
        names=sorted(names),
        marks=show.MARKS,
        agreement=show.agreement([row[1] for row in with_thread], documents),
        columns=[row[0] for row in with_thread],
        joined=[] if adjusted is None else show.threads(joined, None),
        left_out=[] if adjusted is None else [p for p in adjusted.photos if p.left_out],
        told=[] if adjusted is None else adjusted.warnings,
        total=len(rows),
        same=len({row[0].sha256 for row in rows}) == 1,
    )


_KEEP = {"cache-control": "private, max-age=86400"}

ROUTES = [
    get("/answers/{answer}", answer),
    get("/answers/{answer}/measurement.json", document),
    post("/answers/{answer}/again", again),
    post("/record", correct),
    get("/answers/{answer}/photo.jpg", picture),
    get("/answers/{answer}/part/{part:int}.jpg", small_picture),
    get("/answers/{answer}/{plot}", plot),
    get("/together", together),
]
