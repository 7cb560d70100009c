"""The page: one HTML file with everything in it, wrong names first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from tests.fresh.table import (
    SHOWN,
    SPLITS,
    Row,
    outcome_cells,
    quantity_cells,
    split_cells,
    stated_cells,
    threads,
    worst,
)
from tests.proof import plots

STYLE = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0; font: 1rem/1.5 system-ui, "DejaVu Sans", Arial, sans-serif; color: #16202b;
  background: #f6f4ef; }
header { background: #12324c; color: #fff; border-bottom: 4px solid #f0a30a; padding: 1rem; }
header h1 { margin: 0 0 .25rem; font-size: 1.5rem; line-height: 1.2; }
header p { margin: 0; }
main { max-width: 70rem; margin: 0 auto; padding: 0 1rem 3rem; }
h2 { font-size: 1.2rem; margin: 2.2rem 0 .5rem; border-top: 1px solid #c9c4b8; padding-top: .8rem; }
h3 { font-size: 1.02rem; margin: 1.4rem 0 .3rem; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; font-size: .9rem; font-variant-numeric: tabular-nums; }
th, td { padding: .2rem .6rem; text-align: right; border-bottom: 1px solid #ddd8cc;
  white-space: nowrap; }
th:first-child, td:first-child { text-align: left; padding-left: 0; }
th { border-bottom: 2px solid #6b7480; vertical-align: bottom; }
.say td { white-space: normal; text-align: left; }
.plots { display: flex; flex-wrap: wrap; gap: 1rem; align-items: flex-start; }
.plots > * { min-width: 0; max-width: 100%; }
.plots figure { margin: 0; flex: 1 1 20rem; max-width: 36rem; }
svg.plot { max-width: 100%; height: auto; background: #fff; border: 1px solid #ddd8cc; }
.good, .bad { border-left: 6px solid #0b4a7a; background: #fff; padding: .6rem .9rem; }
.bad { border-color: #a83a00; background: #fdebe2; }
details summary { cursor: pointer; padding: .6rem 0; font-weight: 600; }
.note { color: #4b5663; max-width: 46rem; }
"""


def page(
    title: str, rows: Sequence[Row], doc: Mapping[str, Any], told: Sequence[str] | None
) -> str:
    """Return the whole page; ``told`` is what became worse, None where nothing is compared."""
    parts = [
        _wrong(doc),
        *([_compared(told)] if told is not None else []),
        _names(rows, doc),
        _quantities(rows, doc),
        _splits(rows, doc),
        f'<h2>Largest errors</h2><div class="scroll"><pre>{escape(worst(rows))}</pre></div>',
    ]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body><header>"
        f"<h1>{escape(title)}</h1><p>{doc['photos']} photos, {doc['threads']} threads that are to "
        f"be named, from {escape(', '.join(doc['folders']))}; core revision "
        f"{doc['core_revision']}.</p></header><main>{''.join(parts)}</main></body></html>\n"
    )


def table(cells: Sequence[Sequence[str]], kind: str = "") -> str:
    """Return lines of cells as a table; the first line is its head."""
    head, *lines = [[escape(str(c)) for c in line] for line in cells]
    body = "".join(f"<tr>{''.join(f'<td>{c}</td>' for c in line)}</tr>" for line in lines)
    top = "".join(f"<th>{c}</th>" for c in head)
    return (
        f'<div class="scroll"><table class="{kind}"><thead><tr>{top}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _wrong(doc: Mapping[str, Any]) -> str:
    lines = [["photo", "truth", "what was said", "stated"]]
    for r in doc["wrong"]:
        chance = "" if r["probability"] is None else f"{100 * r['probability']:.1f} %"
        lines.append([r["photo"], r["truth"], f"{r['outcome']}: {r['answer']}", chance])
    if len(lines) == 1:
        most = 1 - (1 - 0.95) ** (1 / max(doc["threads"], 1))
        said = (
            f'<p class="good">None of {doc["threads"]}. With 95 % confidence fewer than '
            f"{100 * most:.1f} % of such threads are named wrongly.</p>"
        )
    else:
        said = f'<p class="bad">{len(lines) - 1}.</p>{table(lines, "say")}'
    return f"<h2>Named wrongly, or broken off</h2>{said}"


def _compared(told: Sequence[str]) -> str:
    if not told:
        return '<h2>Against the earlier run</h2><p class="good">Nothing is worse.</p>'
    items = "".join(f"<li>{escape(line)}</li>" for line in told)
    return f'<h2>Against the earlier run</h2><div class="bad"><ul>{items}</ul></div>'


def _names(rows: Sequence[Row], doc: Mapping[str, Any]) -> str:
    held = doc["refusal"]
    why = ", ".join(f"{n} {k}" for k, n in held["why"].items()) or "none"
    refuse = doc["refuse"]
    right = refuse.get("refused", 0) + refuse.get("right", 0)
    must = sum(refuse.values())
    said = (
        f"<p>Answers without a name, what they cost and what they save: of {held['held']} "
        f"threads left open the most probable name was right for {held['first_right']} and "
        f"wrong for {held['first_wrong']}. {held['unread']} were not read ({escape(why)})."
    )
    said += f" Where no name may be given, none was on {right} of {must}.</p>" if must else "</p>"
    return (
        f"<h2>Names</h2>{table(outcome_cells(rows))}{said}"
        "<h3>Stated probability against how often it was right</h3>"
        f'<div class="plots"><figure>{plots.calibration(doc["calibration"])}</figure>'
        f"<div>{table(stated_cells(rows))}</div></div>"
    )


def _quantities(rows: Sequence[Row], doc: Mapping[str, Any]) -> str:
    real = threads(rows)
    found = doc["quantities"]
    scatters = "".join(f"<figure>{plots.scatter(real, q)}</figure>" for q in found)
    return (
        f"<h2>Errors against u</h2>{table(quantity_cells(rows))}"
        '<p class="note">u is right where rms(error/u) is near 1 and 1.96 u holds 95 %; below, u '
        "is too wide, above, too narrow. Pitch errors are shares of the pitch.</p>"
        f'<div class="plots"><figure>{plots.in_u(found)}</figure>'
        f"<figure>{plots.coverage(found)}</figure></div>"
        f'<details><summary>Every error against its u</summary><div class="plots">{scatters}'
        "</div></details>"
    )


def _splits(rows: Sequence[Row], doc: Mapping[str, Any]) -> str:
    parts = []
    for name in SPLITS:
        cells = split_cells(rows, name)
        if len(cells) < 2:
            continue
        by_value = {line["value"]: line for line in doc["splits"][name]}
        lines = [by_value[c[0]] for c in cells[1:]]
        bars = plots.outcome_bars(lines, f"Outcomes by {name}")
        parts.append(
            f'<h3>{escape(name)}</h3><div class="plots"><figure>{bars}</figure></div>'
            f"<details><summary>Figures</summary>{table(cells)}</details>"
        )
    kept = ", ".join(SHOWN[q][0].split(",")[0] for q in ("pitch_mm", "major_mm", "angle_deg"))
    return f'<h2>By what differs</h2><p class="note">Figures are of {kept}.</p>{"".join(parts)}'
