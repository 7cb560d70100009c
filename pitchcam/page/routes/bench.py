"""The bench: every page here is one command of the command line, with an address to share."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response

from pitchcam.errors import InputError, PitchcamError
from pitchcam.page import bench_calls, calls
from pitchcam.page.typed import Typed
from pitchcam.page.web import get, page, plain_words, post, seen, setup_of, texts
from pitchcam.records import Measurement
from pitchcam.report.words import figure_rows
from pitchcam.units import percent

_PDF = "application/pdf"
_ASKED = {
    "lookup": ("diameter", "bore", "gauge", "angle"),
    "series": (),
    "mate": ("male", "female"),
    "adapt": ("port", "part"),
    "join": ("port", "part"),
}


def _typed(request: Request) -> dict[str, str]:
    return {k: v for k, v in request.query_params.items() if v.strip()}


async def _answered(
    request: Request, name: str, ask: Callable[[Typed], Any], **values: Any
) -> Response:
    """Return a page with its form and, where something was asked, its answer or what was wrong."""
    typed = _typed(request)
    answer, error = None, None
    needed = _ASKED[name]
    if not needed or any(typed.get(field) for field in needed):
        try:
            answer = await asyncio.to_thread(ask, typed)
        except PitchcamError as failed:
            error = {
                "message": plain_words(request, failed.message),
                "advice": plain_words(request, failed.advice),
            }
    return page(
        request,
        f"{name}.html",
        200 if error is None else 422,
        typed=typed,
        answer=answer,
        error=error,
        **values,
    )


async def bench(request: Request) -> Response:
    """Show what the bench offers."""
    return page(request, "bench.html")


async def lookup(request: Request) -> Response:
    """Name a thread from readings."""

    def ask(typed: Typed) -> dict[str, Any]:
        found = calls.lookup(typed)
        thread = Measurement.from_json(found["document"]).parts[0].threads[0]
        verdict = thread.verdict
        seals = (
            []
            if verdict.designation is None
            else calls.seal_lines(verdict.designation, thread.reading.gender)
        )
        return found | {
            "rows": figure_rows(thread),
            "verdict": verdict,
            "seals": seals,
            "percent": percent,
            "gender": thread.reading.gender,
        }

    return await _answered(request, "lookup", ask, forms=calls.FORMS)


async def series(request: Request) -> Response:
    """List the sizes of the series."""
    return await _answered(request, "series", calls.sizes, families=calls.families())


async def size(request: Request) -> Response:
    """Show one designation in full."""
    name = request.query_params.get("name", "")
    found = await asyncio.to_thread(calls.size, name)
    return page(request, "size.html", **found)


async def drawing(request: Request) -> Response:
    """Return a designation's profile as ``series --drawing`` writes it."""
    from pitchcam.page.guard import DRAWING_POLICY

    found = await asyncio.to_thread(calls.size, request.query_params.get("name", ""))
    return Response(
        found["drawing"],
        media_type="image/svg+xml",
        headers={"content-security-policy": DRAWING_POLICY},
    )


def _chosen(request: Request) -> dict[str, Any]:
    asked = request.query_params
    which = asked.get("sizes", "bench")
    return {"chosen": asked.getlist("series")[:12], "which": which}


async def chart(request: Request) -> Response:
    """Show the tapping chart."""
    chosen = _chosen(request)
    pages = await asyncio.to_thread(lambda: calls.chart(**chosen))
    return page(
        request,
        "chart.html",
        pages=pages,
        families=calls.families(),
        **chosen,
        **calls.chart_helpers(),
        query=request.url.query,
        selections=calls.CHART_SIZES,
    )


async def chart_file(request: Request) -> Response:
    """Return the chart as the command writes it."""
    kind = request.path_params["kind"]
    if kind not in ("pdf", "csv"):
        raise InputError("The chart is a PDF or a CSV file.", "Choose one of them.", code="missing")
    paper = request.query_params.get("paper", "a4")
    if paper not in ("a4", "letter", "a3", "a2"):
        raise InputError("There is no such paper.", "Choose A4, letter, A3 or A2.")
    chosen = _chosen(request)
    data = await asyncio.to_thread(
        lambda: calls.chart_file(suffix=f".{kind}", paper=paper, **chosen)
    )
    return Response(data, media_type=_PDF if kind == "pdf" else "text/csv; charset=utf-8")


async def mate(request: Request) -> Response:
    """Say whether this male seals in that female."""
    return await _answered(
        request, "mate", lambda t: calls.mate(t.get("male", ""), t.get("female", ""))
    )


async def adapt(request: Request) -> Response:
    """Find what joins a part to a port, from stock."""
    record = setup_of(request).record
    return await _answered(
        request,
        "adapt",
        lambda typed: calls.adapt(typed, record),
        limits=calls.LIMITS,
        services=calls.services(),
    )


async def join(request: Request) -> Response:
    """Show the work sheet of an adapter made from two donors."""
    record = setup_of(request).record
    return await _answered(
        request,
        "join",
        lambda typed: calls.join(typed, record),
        limits=calls.LIMITS,
        services=calls.services(),
        query=request.url.query,
    )


async def work_sheet(request: Request) -> Response:
    """Return the work sheet's PDF."""
    typed, record = _typed(request), setup_of(request).record

    def make() -> bytes:
        return calls.work_sheet(calls.join(typed, record), date.today())

    return Response(await asyncio.to_thread(make), media_type=_PDF)


async def stock(request: Request) -> Response:
    """Show the stock."""
    record = setup_of(request).record
    rows = await asyncio.to_thread(bench_calls.stock, record)
    return page(request, "stock.html", rows=rows, said=request.query_params.get("said", "")[:200])


async def stock_file(request: Request) -> Response:
    """Return the stock's sheet."""
    data = await asyncio.to_thread(bench_calls.stock_file, setup_of(request).record)
    headers = {"content-disposition": 'attachment; filename="stock.csv"'}
    return Response(data, media_type="text/csv; charset=utf-8", headers=headers)


async def take_stock(request: Request, form: dict[str, Any]) -> Response:
    """Take a stock sheet in, whole or not at all."""
    upload, who = form.get("sheet"), str(form.get("who") or "").strip()
    if not isinstance(upload, UploadFile) or not who:
        raise InputError("a stock sheet needs its file, and who counted.", "Fill in both.")
    data = await upload.read()
    now = datetime.now().astimezone()
    await asyncio.to_thread(bench_calls.take_stock, setup_of(request).record, data, who, now)
    return seen("/stock")


async def move_stock(request: Request, form: dict[str, Any]) -> Response:
    """Take pieces out, or put them back."""
    now = datetime.now().astimezone()
    await asyncio.to_thread(bench_calls.move_stock, setup_of(request).record, texts(form), now)
    return seen("/stock")


async def marker_sheet(request: Request) -> Response:
    """Return the marker sheet's PDF."""
    asked = request.query_params
    data = await asyncio.to_thread(
        bench_calls.marker_sheet, asked.get("size", "part"), asked.get("page", "a4")
    )
    return Response(data, media_type=_PDF)


ROUTES = [
    get("/bench", bench),
    get("/lookup", lookup),
    get("/series", series),
    get("/size", size),
    get("/size/profile.svg", drawing),
    get("/chart", chart),
    get("/chart.{kind}", chart_file),
    get("/mate", mate),
    get("/adapt", adapt),
    get("/join", join),
    get("/join/work-sheet.pdf", work_sheet),
    get("/stock", stock),
    get("/stock/sheet.csv", stock_file),
    post("/stock", take_stock),
    post("/stock/move", move_stock),
    get("/marker-sheet.pdf", marker_sheet),
]
