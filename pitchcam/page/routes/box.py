"""The box: many photos at once, a table that fills, its sheets."""

from __future__ import annotations

import asyncio
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from pitchcam.page import bench_memory, boxes, calls, show, typed
from pitchcam.page.boxes import Box
from pitchcam.page.routes.photo import reference_fields
from pitchcam.page.web import get, missing, page, post, seen, setup_of, texts
from pitchcam.store.export import columns, csv_bytes
from pitchcam.store.store import Store


async def new_box(request: Request) -> Response:
    """Ask for the reference of all photos in the box."""
    return page(
        request,
        "box_new.html",
        reference=bench_memory.remembered(setup_of(request)),
        references=typed.REFERENCES,
    )


async def make(request: Request, form: dict[str, Any]) -> Response:
    """Make an empty box."""
    box = await asyncio.to_thread(boxes.new, setup_of(request), reference_fields(texts(form)))
    return seen(f"/box/{box.id}")


def _box(request: Request) -> Box:
    box = boxes.load(setup_of(request), request.path_params["box"])
    if box is None:
        raise missing("box", "Start a new one.")
    return box


def _values(request: Request, box: Box) -> dict[str, Any]:
    setup = setup_of(request)
    with Store(setup.record) as store:
        answer = boxes.answer(setup, store, box)
        kept = {line.row.photo for line in answer.lines}
    return {
        "box": box,
        "lines": answer.lines,
        "counts": boxes.counts(answer),
        "open": [name for name, _ in box.photos if name not in kept],
        "marks": show.MARKS,
    }


async def box_page(request: Request) -> Response:
    """Show a box: what goes in which bin, the doubtful first."""
    box = _box(request)
    values = await asyncio.to_thread(_values, request, box)
    return page(
        request,
        "box.html",
        **values,
        designations=calls.designations(),
        references={key: words for key, words, _ in typed.REFERENCES},
    )


async def table(request: Request) -> Response:
    """Return the table alone, for the page that fills it."""
    values = await asyncio.to_thread(_values, request, _box(request))
    return page(request, "box_table.html", **values)


async def sheet(request: Request) -> Response:
    """Return contact sheet or labels as PDF."""
    box, kind = _box(request), request.path_params["kind"]
    if kind not in ("contact-sheet", "labels"):
        raise missing("sheet")

    def make_sheet() -> bytes:
        setup = setup_of(request)
        with Store(setup.record) as store:
            return boxes.sheet(setup, store, box, kind)

    data = await asyncio.to_thread(make_sheet)
    return Response(data, media_type="application/pdf")


async def rows(request: Request) -> Response:
    """Return the box's table as ``batch`` writes it."""
    box = _box(request)

    def make_rows() -> bytes:
        setup = setup_of(request)
        with Store(setup.record) as store:
            lines = boxes.answer(setup, store, box).lines
        flat = [{"number": line.number, **line.row.flat()} for line in lines]
        return csv_bytes(flat, ["number", *columns()])

    data = await asyncio.to_thread(make_rows)
    return Response(
        data,
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": 'attachment; filename="box.csv"'},
    )


ROUTES = [
    get("/box", new_box),
    post("/box", make),
    get("/box/{box}", box_page),
    get("/box/{box}/table", table),
    get("/box/{box}/box.csv", rows),
    get("/box/{box}/{kind}.pdf", sheet),
]
