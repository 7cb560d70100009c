"""The live view, and the tablet that is the light panel."""

from __future__ import annotations

import re
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pitchcam.errors import InputError
from pitchcam.framing import HINTS
from pitchcam.page import bench_calls, bench_memory, typed
from pitchcam.page.guard import RefusedRequestError
from pitchcam.page.measuring import Frame
from pitchcam.page.web import get, page, post, reply, seen, session_of, setup_of, texts
from pitchcam.page.workers import BusyError, LostError

#: A frame of 1000 px has 60 kB.
_FRAME_BYTES = 600_000
#: A frame that takes longer is of no use to a hand that moves.
_FRAME_S = 2.0
_STREAM = re.compile(r"[A-Za-z0-9]{8,40}\Z")


async def live(request: Request) -> Response:
    """Show the live view, with the plain camera button where the browser gives no camera."""
    return page(
        request,
        "live.html",
        reference=bench_memory.remembered(setup_of(request)),
        references=typed.REFERENCES,
        hints=HINTS,
    )


async def frame(request: Request) -> Response:
    """Say what is to be changed in a small frame."""
    if not request.app.state.access.allows_change(
        session_of(request), request.headers.get("x-token", "")
    ):
        raise RefusedRequestError(403, "This page is too old. Load it again.")
    stream = request.query_params.get("stream", "")
    data = await request.body()
    if len(data) > _FRAME_BYTES or not _STREAM.match(stream):
        raise InputError("the frame is no small picture;", "load the page again")
    spec = typed.scale(dict(request.query_params))
    task = Frame(jpeg=data, stream=f"{session_of(request)}/{stream}", scale=spec)
    try:
        seen_now = await request.app.state.eyes.run(
            session_of(request), task, lambda text: None, _FRAME_S
        )
    except BusyError:
        return _refused("busy", 503)
    except LostError:
        return _refused("the frame cannot be read", 422)
    return reply("frame", seen_now)


def _refused(message: str, status: int) -> Response:
    return reply("refusal", {"message": message, "advice": ""}, status)


async def panel(request: Request) -> Response:
    """Show the light panel with the marker sheet, for a tablet or laptop that lies flat."""
    return page(request, "panel.html", sheet=bench_calls.marker_cells("part"))


async def keep_panel(request: Request, form: dict[str, Any]) -> Response:
    """Keep what the caliper read on the panel's bar, as the bench's reference."""
    bar = texts(form).get("size", "")
    if typed.length(bar) is None:
        raise InputError("the bar needs its length;", "measure it on the glass with the caliper")
    bench_memory.remember(setup_of(request), {"source": "sheet", "size": bar})
    return seen("/panel")


ROUTES = [
    get("/live", live),
    Route("/live/frame", frame, methods=["POST"]),
    get("/panel", panel),
    post("/panel", keep_panel),
]
