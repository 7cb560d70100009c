"""One tap to an answer: the photo comes in, the steps stream out, the answer stands."""

from __future__ import annotations

import asyncio
from typing import Any

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from pitchcam.errors import InputError
from pitchcam.page import bench_memory, boxes, photos, typed
from pitchcam.page.recent import recent_answers
from pitchcam.page.runs import Run, Runs
from pitchcam.page.web import (
    get,
    missing,
    page,
    post,
    reply,
    seen,
    session_of,
    setup_of,
    texts,
    wants_json,
)

REFERENCE_FIELDS = ("source", "size", "reference_height", "axis_height", "cast", "shrinkage")


def runs_of(request: Request) -> Runs:
    """Return the server's runs."""
    runs: Runs = request.app.state.runs
    return runs


async def home(request: Request) -> Response:
    """Show the button, the bench's reference and what was measured last."""
    setup = setup_of(request)
    return page(
        request,
        "home.html",
        reference=bench_memory.remembered(setup),
        references=typed.REFERENCES,
        recent=await asyncio.to_thread(recent_answers, setup),
    )


async def guide(request: Request) -> Response:
    """Show what a good photo looks like, and what spoils one."""
    return page(request, "guide.html")


async def take(request: Request, form: dict[str, Any]) -> Response:
    """Take a photo in, keep it, and start measuring it."""
    setup, fields = setup_of(request), texts(form)
    upload = form.get("photo")
    if not isinstance(upload, UploadFile):
        raise InputError("no photo came with the form;", "choose one first")
    box = None
    if fields.get("box"):
        box = boxes.load(setup, fields["box"])
        if box is None:
            raise missing("box", "Start a new one.")
    wanted = reference_fields(fields if box is None else box.typed)
    settings = typed.settings(wanted)
    if fields.get("remember"):
        bench_memory.remember(setup, wanted)
    async with request.app.state.upload_slots:  # each holds a whole photo in memory
        photo = await asyncio.to_thread(photos.keep, setup, await upload.read(), upload.filename)
    if box is not None:
        async with request.app.state.box_lock:
            kept = await asyncio.to_thread(boxes.add, setup, box.id, photo.name, photo.sha256)
        if kept is None:
            raise InputError(f"a box holds {boxes.MOST} photos;", "start another")
    return started(request, runs_of(request).start(session_of(request), photo, settings))


def reference_fields(fields: typed.Typed) -> dict[str, str]:
    """Return the fields of a form that state how a photo is measured."""
    return {name: fields[name] for name in REFERENCE_FIELDS if fields.get(name)}


def started(request: Request, run: Run) -> Response:
    """Answer that a run has begun: its address for a script, its page for a person."""
    if wants_json(request):
        return reply(
            "run",
            {
                "run": f"/runs/{run.id}",
                "events": f"/runs/{run.id}/events",
                "answer": f"/answers/{run.record}",
            },
            201,
        )
    return seen(f"/runs/{run.id}")


def _run(request: Request) -> Run:
    run = runs_of(request).find(request.path_params["run"], session_of(request))
    if run is None:
        raise missing("measurement", "Look in the record, or send the photo again.")
    return run


async def progress(request: Request) -> Response:
    """Show the steps; without a script the page loads itself again until the answer is there."""
    run = _run(request)
    last = run.events[-1] if run.events else ("step", {"text": "waiting"})
    if last[0] == "done":
        return seen(last[1]["address"])
    return page(request, "run.html", run=run, last=last)


async def events(request: Request) -> Response:
    """Stream the steps as server-sent events."""
    run = _run(request)
    after = request.headers.get("last-event-id", "0")
    stream = run.listen(int(after) if after.isdigit() else 0)
    return StreamingResponse(stream, media_type="text/event-stream")


async def remember(request: Request, form: dict[str, Any]) -> Response:
    """Keep the bench's own reference."""
    bench_memory.remember(setup_of(request), texts(form))
    if wants_json(request):
        return reply("kept", {"kept": True})
    return seen("/")


ROUTES = [
    get("/", home),
    get("/guide", guide),
    post("/photos", take),
    get("/runs/{run}", progress),
    get("/runs/{run}/events", events),
    post("/reference", remember),
]
