"""The tables of an accuracy study: outcomes, errors against u, splits, stated against right."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

Row = dict[str, Any]
#: Shown name, factor and digits of each quantity.
SHOWN = {
    "pitch_mm": ("pitch, %", 100.0, 3),
    "major_mm": ("major, mm", 1.0, 3),
    "minor_mm": ("minor, mm", 1.0, 3),
    "pitch_diameter_mm": ("pitch dia., mm", 1.0, 3),
    "angle_deg": ("angle, deg", 1.0, 2),
    "taper": ("taper", 1.0, 4),
}
OUTCOMES = {
    "right": "named right",
    "open": "left open, truth listed",
    "none": "no answer or false reason",
    "broken": "broken off",
    "wrong": "named wrongly",
}
#: Bins of stated probability.
STATED_EDGES = (0.0, 0.5, 0.8, 0.95, 0.99, 0.999, 1.0000001)
#: Relative errors beyond are another fault than the scale's.
FAULT = 0.02
#: Half the width that holds half of a normal distribution.
HALF = 0.6745


def threads(rows: Sequence[Row]) -> list[Row]:
    """Return the rows of threads that a good answer names."""
    return [r for r in rows if r["quality"] != "refuse" and r["truth"] != "(no thread)"]


def grid(lines: Sequence[Sequence[str]]) -> str:
    """Return lines of cells in columns."""
    widths = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    return "\n".join(
        "  ".join(
            c.ljust(w) if i == 0 else c.rjust(w)
            for i, (c, w) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    )


def outcome_cells(rows: Sequence[Row]) -> list[list[str]]:
    """Return the cells of the table of outcomes per set."""
    real = threads(rows)
    sets = sorted({r["set"] for r in real})
    groups = {s: [r for r in real if r["set"] == s] for s in sets} | {"all": real}
    lines = [
        ["per thread", *(f"{s} ({len({r['photo'] for r in g})} photos)" for s, g in groups.items())]
    ]
    for key, text in OUTCOMES.items():
        cells = []
        for group in groups.values():
            n = sum(r["outcome"] == key for r in group)
            cells.append(f"{n} of {len(group)} = {100 * n / max(len(group), 1):.0f} %")
        lines.append([text, *cells])
    return lines


def outcomes(rows: Sequence[Row]) -> str:
    """Return the table of outcomes per set, and the names where none may be."""
    extra = sum(r["outcome"] == "extra" for r in rows)
    sure = [r for r in rows if r["outcome"] == "wrong" and (r.get("probability") or 0) >= 0.99]
    refuse = [r for r in rows if r["quality"] == "refuse"]
    ok = sum(r["outcome"] in ("refused", "right") for r in refuse)
    return (
        grid(outcome_cells(rows)) + f"\nthreads found that are none, or found again: {extra}; "
        f"wrong names stated at 0.99 or more: {len(sure)}; "
        f"no false name where none may be: {ok} of {len(refuse)}"
    )


def figures(rows: Sequence[Row], name: str) -> dict[str, float] | None:
    """Return median and 95 % of the error, share within 1.96 u, rms and width of error over u."""
    pairs = [(r["errors"][name], r["u"][name]) for r in rows if name in r.get("errors", {})]
    if not pairs:
        return None
    e, u = np.abs(np.array(pairs)).T
    z = e / np.maximum(u, 1e-12)
    return {
        "n": len(e),
        "median": float(np.median(e)),
        "p95": float(np.quantile(e, 0.95)),
        "inside": float(np.mean(z <= 1.96)),
        "rms": float(np.sqrt(np.mean(z**2))),
        "wide": HALF / max(float(np.median(z)), 1e-9),
    }


def quantity_cells(rows: Sequence[Row]) -> list[list[str]]:
    """Return the cells of the table of errors per quantity."""
    lines = [
        ["quantity", "n", "median", "95 % within", "1.96 u holds", "rms(error/u)", "u too wide by"]
    ]
    for name, (text, factor, digits) in SHOWN.items():
        f = figures(threads(rows), name)
        if f is not None:
            lines.append(
                [
                    text,
                    str(f["n"]),
                    f"{factor * f['median']:.{digits}f}",
                    f"{factor * f['p95']:.{digits}f}",
                    f"{100 * f['inside']:.0f} %",
                    f"{f['rms']:.2f}",
                    f"{f['wide']:.1f}",
                ]
            )
    return lines


def quantities(rows: Sequence[Row]) -> str:
    """Return the table of errors per quantity."""
    return grid(quantity_cells(rows))


def _bin(key: str, edges: Sequence[float]) -> Callable[[Row], str | None]:
    def of(row: Row) -> str | None:
        value = row.get(key)
        if value is None:
            return None
        k = int(np.searchsorted(edges, abs(value), side="right"))
        low = "0" if k == 0 else f"{edges[k - 1]:g}"
        return f"{low}-{edges[k]:g}" if k < len(edges) else f"{low}-"

    return of


SPLITS: dict[str, Callable[[Row], str | None]] = {
    "series": lambda r: r.get("series"),
    "reference": lambda r: r["reference"],
    "metal": lambda r: r.get("material"),
    "tilt, deg": _bin("tilt_deg", (0.5, 1, 2, 3)),
    "panel behind, mm": _bin("panel_mm", (5, 60, 100, 150, 200)),
    "inclination, deg": _bin("incline_deg", (1, 4, 7)),
    "part": lambda r: r.get("kind"),
    "form": lambda r: r.get("form"),
    "px per pitch": _bin("px_per_pitch", (20, 30, 45, 70)),
    "turns": _bin("turns", (5, 7, 10)),
    "blur, px": _bin("blur_px", (0.6, 0.9, 1.4, 2.5)),
    "worn": lambda r: "worn" if r.get("worn_mm") else "new",
}


def _order(value: str) -> tuple[float, str]:
    number = re.match(r"[0-9.]+", value)
    return (float(number[0]) if number else 0.0, value)


def split_cells(rows: Sequence[Row], name: str) -> list[list[str]]:
    """Return the cells of outcomes, pitch, major and angle by one of SPLITS."""
    real = threads(rows)
    values = sorted({v for r in real if (v := SPLITS[name](r)) is not None}, key=_order)
    head = [name, "n", "right", "open", "none", "broken", "wrong"]
    for text in ("pitch", "major", "angle"):
        head += [f"{text} med.", "95 %", "in 1.96u", "rms z"]
    lines = [head]
    for value in values:
        group = [r for r in real if SPLITS[name](r) == value]
        line = [
            str(value),
            str(len(group)),
            *(str(sum(r["outcome"] == k for r in group)) for k in OUTCOMES),
        ]
        for quantity in ("pitch_mm", "major_mm", "angle_deg"):
            f, (_, factor, digits) = figures(group, quantity), SHOWN[quantity]
            line += (
                ["-"] * 4
                if f is None
                else [
                    f"{factor * f['median']:.{digits}f}",
                    f"{factor * f['p95']:.{digits}f}",
                    f"{100 * f['inside']:.0f} %",
                    f"{f['rms']:.2f}",
                ]
            )
        lines.append(line)
    return lines


def split(rows: Sequence[Row], name: str) -> str:
    """Return outcomes, pitch, major and angle by one of SPLITS."""
    return grid(split_cells(rows, name))


def first_names(rows: Sequence[Row]) -> list[tuple[float, bool, str]]:
    """Return stated probability of each first name, whether it is right, and the outcome."""
    known = []
    for r in rows:
        p, right = r.get("probability"), r["outcome"] == "right"
        if r["outcome"] == "open" and r.get("candidates"):
            first = max(r["candidates"], key=lambda c: c[1])
            p, right = first[1], first[0] == r["truth"]
        if p is not None and r["outcome"] in ("right", "open", "wrong", "none"):
            known.append((p, right, r["outcome"]))
    return known


def common_cells(rows: Sequence[Row]) -> list[list[str]]:
    """Return the cells of the scale's error that a thread's pitch and major diameter share.

    Both are lengths of one scale: the mean product of their relative errors is its mean square, and
    whatever errs in one alone leaves it. Errors count up to FAULT.
    """
    groups: dict[str, list[tuple[float, float]]] = {}
    for r in threads(rows):
        e = r.get("errors", {})
        if "pitch_mm" in e and "major_mm" in e:
            both = (e["pitch_mm"], e["major_mm"] / r["major_mm"])
            groups.setdefault(r["reference"], []).append(both)
    lines = [["reference", "n", "pitch rms, %", "major rms, %", "scale of both, %"]]
    every = [pair for group in groups.values() for pair in group]
    for name, group in [*sorted(groups.items()), ("all", every)]:
        pitch, major = np.clip(np.array(group).reshape(-1, 2).T, -FAULT, FAULT)
        rms = [float(np.sqrt(np.mean(x**2))) if len(x) else 0.0 for x in (pitch, major)]
        cells = (f"{100 * x:.3f}" for x in (*rms, common_scale(pitch, major)))
        lines.append([name, str(len(group)), *cells])
    return lines


def common_scale(pitch: Sequence[float], major: Sequence[float]) -> float:
    """Return the rms of what two relative errors, each up to FAULT, share; signed as it is."""
    if not len(pitch):
        return 0.0
    mean = float(np.mean(np.prod(np.clip([pitch, major], -FAULT, FAULT), axis=0)))
    return float(np.sign(mean) * np.sqrt(abs(mean)))


def stated_cells(rows: Sequence[Row]) -> list[list[str]]:
    """Return the cells of stated probability against how often it was right."""
    edges = STATED_EDGES
    known = first_names(rows)
    lines = [["stated", "n", "mean stated", "share right", "named", "named right"]]
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        group = [k for k in known if low <= k[0] < high]
        if group:
            named = [k for k in group if k[2] in ("right", "wrong")]
            lines.append(
                [
                    f"{low:g} to {min(high, 1):g}",
                    str(len(group)),
                    f"{np.mean([k[0] for k in group]):.3f}",
                    f"{np.mean([k[1] for k in group]):.3f}",
                    str(len(named)),
                    str(sum(k[1] for k in named)),
                ]
            )
    return lines


def stated(rows: Sequence[Row]) -> str:
    """Return stated probability of the first name against how often it was right."""
    return grid(stated_cells(rows))


def reasons(rows: Sequence[Row]) -> str:
    """Return how often each reason stands for a missing answer."""
    counts: dict[str, int] = {}
    for r in threads(rows):
        if r["outcome"] in ("none", "broken"):
            key = r["answer"].split(":")[0] if r["outcome"] == "none" else r["answer"]
            if r.get("status") in ("ambiguous", "off-series"):
                key = f"{r['status']}, truth not listed"
            counts[key] = counts.get(key, 0) + 1
    return "\n".join(f"{n:4d}  {k}" for k, n in sorted(counts.items(), key=lambda c: -c[1]))


def worst(rows: Sequence[Row], count: int = 15) -> str:
    """Return wrong names, breaks, and the largest errors over u."""
    lines = [
        f"{r['photo']}: {r['truth']} -> {r['answer'][:90]} ({r['outcome']}, "
        f"p {r.get('probability')})"
        for r in rows
        if r["outcome"] in ("wrong", "broken", "extra")
    ]
    found = [
        (abs(r["errors"][q] / max(r["u"][q], 1e-12)), q, r)
        for r in threads(rows)
        for q in r.get("errors", {})
    ]
    for z, q, r in sorted(found, key=lambda f: -f[0])[:count]:
        text, factor, digits = SHOWN[q]
        lines.append(
            f"{r['photo']}: {r['truth']} {text} {factor * r['errors'][q]:+.{digits}f}, "
            f"{z:.1f} u ({r['reference']}, {r.get('kind')}, {r.get('material')}, "
            f"incline {r.get('incline_deg') or 0:.1f}, tilt {r.get('tilt_deg') or 0:.1f}, "
            f"panel {r.get('panel_mm') or 0:.0f})"
        )
    return "\n".join(lines)


def report(rows: Sequence[Row], splits: bool = True) -> str:
    """Return everything as text."""
    parts = [outcomes(rows), quantities(rows)]
    level = [r for r in rows if r["set"] in ("good", "twins", "clean")]
    if level and len(level) < len(rows):
        parts.append("clean photos alone:\n" + quantities(level))
    if splits:
        parts += [split(rows, name) for name in SPLITS]
    parts += [
        "scale that pitch and major diameter share:\n" + grid(common_cells(rows)),
        "stated against right:\n" + stated(rows),
        "no answer because:\n" + reasons(rows),
        "worst:\n" + worst(rows),
    ]
    return "\n\n".join(parts)
