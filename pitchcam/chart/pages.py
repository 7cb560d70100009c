"""Lays the chart out on pages: which rows and which pairs stand on which page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcam.chart.rows import ChartRow, chart_pairs
from pitchcam.match.confusable import Confusable
from pitchcam.series.families import load_families

#: Rows on a page that can be read from a metre, and the pairs that fit below them.
ROWS_PER_PAGE, PAIRS_PER_PAGE = 26, 8


@dataclass(frozen=True, kw_only=True, slots=True)
class Page:
    """One page: a title, its rows, and the pairs that touch them."""

    title: str
    seal: str
    rows: tuple[ChartRow, ...]
    pairs: tuple[Confusable, ...]


def paginate(rows: Sequence[ChartRow], per_page: int = ROWS_PER_PAGE) -> list[Page]:
    """Return pages of one family each; a family's rows are spread evenly over its pages.

    A pair stands on the page of either of its sizes, the nearest pairs first.
    """
    pairs = chart_pairs(rows)
    pages = []
    for family in dict.fromkeys(r.size.family for r in rows):
        mine = [r for r in rows if r.size.family == family]
        n = -(-len(mine) // per_page)
        step = -(-len(mine) // n)
        for k in range(n):
            part = tuple(mine[k * step : (k + 1) * step])
            names = {r.size.geometry for r in part}
            touching = [p for p in pairs if {p.first.geometry, p.second.geometry} & names]
            info = load_families()[family]
            number = f", {k + 1} of {n}" if n > 1 else ""
            title = f"{family}: {info.name}{number}"
            pages.append(
                Page(title=title, seal=info.seal, rows=part, pairs=tuple(touching[:PAIRS_PER_PAGE]))
            )
    return pages
