"""Lays the chart out on pages: which rows and which pairs stand on which page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pitchcam.chart.rows import TAPPED_AS, ChartRow, chart_pairs
from pitchcam.frozen import dataclass
from pitchcam.match.confusable import Confusable
from pitchcam.series.families import load_families

#: Pairs listed on a page, the nearest first.
PAIRS_PER_PAGE = 8
#: A block's title and heads take the room of this many rows.
TITLE_ROWS = 3


@dataclass(frozen=True, kw_only=True, slots=True)
class Block:
    """Rows of one family, with its name and how it seals."""

    title: str
    seal: str
    rows: tuple[ChartRow, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Page:
    """One page: its blocks, and the easily confused pairs that touch their rows."""

    blocks: tuple[Block, ...]
    pairs: tuple[Confusable, ...]

    @property
    def rows(self) -> tuple[ChartRow, ...]:
        """All rows of the page."""
        return tuple(r for s in self.blocks for r in s.rows)


def paginate(
    rows: Sequence[ChartRow], per_page: int, pairs_per_page: int = PAIRS_PER_PAGE
) -> list[Page]:
    """Return pages that hold ``per_page`` rows each, block titles counted as rows.

    A family too long for a page is spread evenly over several; short ones share a page.
    """
    pages: list[list[Block]] = []
    used = per_page
    for family in dict.fromkeys(r.size.family for r in rows):
        for block in _blocks([r for r in rows if r.size.family == family], family, per_page):
            need = len(block.rows) + TITLE_ROWS
            if used + need > per_page:
                pages.append([])
                used = 0
            pages[-1].append(block)
            used += need
    pairs = chart_pairs(rows)
    return [_page(blocks, pairs, pairs_per_page) for blocks in pages]


def family_block(rows: Sequence[ChartRow], family: str) -> Block:
    """Return the rows of one family under its name and how it seals."""
    info, tapped = load_families()[family], TAPPED_AS.get(family)
    seal = info.seal + (f" Drills are for {tapped}." if tapped else "")
    return Block(title=f"{family}: {info.name}", seal=seal, rows=tuple(rows))


def _blocks(rows: list[ChartRow], family: str, per_page: int) -> list[Block]:
    whole = family_block(rows, family)
    n = -(-len(rows) // (per_page - TITLE_ROWS))
    step = -(-len(rows) // n)
    return [
        replace(
            whole,
            title=whole.title + (f", {k + 1} of {n}" if n > 1 else ""),
            rows=whole.rows[k * step : (k + 1) * step],
        )
        for k in range(n)
    ]


def _page(blocks: list[Block], pairs: Sequence[Confusable], most: int) -> Page:
    names = {r.size.geometry for s in blocks for r in s.rows}
    touching = [p for p in pairs if {p.first.geometry, p.second.geometry} & names]
    return Page(blocks=tuple(blocks), pairs=tuple(touching[:most]))
