"""The record: what was measured, searched and exported."""

from __future__ import annotations

import asyncio
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from pitchcam.page import calls, show
from pitchcam.page.web import get, page, setup_of
from pitchcam.records import EXIT_OF
from pitchcam.store.export import columns, csv_bytes, json_bytes
from pitchcam.store.store import Store

#: Rows on one page; a phone scrolls no farther.
_PER_PAGE = 40
STATUSES = tuple(EXIT_OF)


def _rows(request: Request) -> tuple[dict[str, Any], list[Any]]:
    from pitchcam.cli.log import rows_of

    asked = request.query_params
    filters: dict[str, Any] = {
        "name": asked.get("name") or None,
        "photo": asked.get("photo") or None,
        "status": asked.get("status") if asked.get("status") in STATUSES else None,
        "doubtful": bool(asked.get("doubtful")),
        "corrected": bool(asked.get("corrected")),
    }
    with Store(setup_of(request).record) as store:
        return filters, list(rows_of(store, filters))


async def record(request: Request) -> Response:
    """Search the record."""
    filters, rows = await asyncio.to_thread(_rows, request)
    number = request.query_params.get("page", "1")
    last = max(1, -(-len(rows) // _PER_PAGE))
    at = min(last, max(1, int(number) if number.isdigit() and len(number) < 9 else 1))
    return page(
        request,
        "record.html",
        filters=filters,
        statuses=STATUSES,
        total=len(rows),
        rows=rows[(at - 1) * _PER_PAGE : at * _PER_PAGE],
        at=at,
        last=last,
        marks=show.MARKS,
        designations=calls.designations(),
        query=_query(request),
    )


def _query(request: Request) -> str:
    """Return the search as it stands in the address, without the page."""
    from urllib.parse import urlencode

    return urlencode([(k, v) for k, v in request.query_params.multi_items() if v and k != "page"])


async def export(request: Request) -> Response:
    """Return what the search found, as CSV or JSON."""
    _, rows = await asyncio.to_thread(_rows, request)
    flat, kind = [row.flat() for row in rows], request.path_params["kind"]
    data = json_bytes(flat, columns()) if kind == "json" else csv_bytes(flat, columns())
    media = "application/json" if kind == "json" else "text/csv; charset=utf-8"
    name = "record.json" if kind == "json" else "record.csv"
    return Response(
        data, media_type=media, headers={"content-disposition": f'attachment; filename="{name}"'}
    )


ROUTES = [get("/record", record), get("/record/export.{kind}", export)]
