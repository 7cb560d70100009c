"""The page's plots, as SVG; colours that colour-blind eyes tell apart, and marks besides."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from tests.fresh.table import OUTCOMES, SHOWN, Row

#: Okabe and Ito's palette (jfly.uni-koeln.de/color, from memory).
BLUE, AMBER, GREEN, RED, GREY, SKY, PINK = (
    "#0b4a7a",
    "#e69f00",
    "#009e73",
    "#c23b00",
    "#8a929b",
    "#56b4e9",
    "#cc79a7",
)
OUTCOME_LOOK = {
    "right": (BLUE, ""),
    "open": (SKY, "///"),
    "none": (GREY, ".."),
    "broken": (PINK, "xx"),
    "wrong": (RED, ""),
}
LINES = (
    (BLUE, "-", "o"),
    (AMBER, "--", "s"),
    (GREEN, "-.", "^"),
    (RED, ":", "D"),
    (PINK, "-", "v"),
    (SKY, "--", "P"),
)
STYLE = {
    "font.family": "sans-serif",
    "font.size": 10,
    "svg.fonttype": "none",
    "svg.hashsalt": "pitchcam",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": "#4b5663",
    "axes.axisbelow": True,
}


def svg(figure: Figure, words: str) -> str:
    """Return a figure as an SVG element with the words that say what it shows."""
    out = io.StringIO()
    with mpl.rc_context(STYLE):
        figure.savefig(out, format="svg", bbox_inches="tight", metadata={"Date": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    head = f'<svg role="img" aria-label="{words}" class="plot"'
    return text.replace("<svg", head, 1)


def new(width: float = 6.4, height: float = 4.0) -> tuple[Figure, Any]:
    """Return an empty figure of one panel, with light rules."""
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(width, height), layout="constrained")
        axes = figure.subplots()
    axes.grid(color="#d8d4ca", linewidth=0.6)
    return figure, axes


def calibration(bins: Sequence[Mapping[str, Any]]) -> str:
    """Stated probability of the first name against how often it was right, a slot for each bin."""
    figure, axes = new(6.0, 4.2)
    at = np.arange(len(bins))
    share = np.array([b["right"] / b["n"] for b in bins])
    low = np.maximum(share - [b["interval"][0] for b in bins], 0.0)
    high = np.maximum([b["interval"][1] for b in bins] - share, 0.0)
    axes.plot(
        at,
        [b["stated"] for b in bins],
        "_",
        color=RED,
        markersize=26,
        markeredgewidth=2.5,
        label="stated, on average",
    )
    axes.errorbar(
        at,
        share,
        yerr=[low, high],
        fmt="o",
        color=BLUE,
        capsize=4,
        label="was right, with its 95 % interval",
    )
    names = [f"{b['from']:g} to\n{b['to']:g}\nn = {b['n']}" for b in bins]
    axes.set(
        xticks=at,
        xticklabels=names,
        xlim=(-0.6, len(bins) - 0.4),
        ylim=(0, 1.05),
        xlabel="stated probability of the first name",
        ylabel="share",
    )
    axes.grid(axis="x", visible=False)
    axes.legend(loc="lower right", frameon=False)
    return svg(figure, "Stated probability against how often it was right")


def coverage(quantities: Mapping[str, Mapping[str, Any]]) -> str:
    """Share that an interval of u is to hold against the share that it held."""
    figure, axes = new(5.6, 4.6)
    axes.plot([0.45, 1], [0.45, 1], color=GREY, linestyle="--", linewidth=1, label="as stated")
    for (name, found), (colour, line, mark) in zip(quantities.items(), LINES, strict=False):
        c = found["coverage"]
        axes.plot(
            [p["stated"] for p in c],
            [p["found"] for p in c],
            color=colour,
            linestyle=line,
            marker=mark,
            markersize=5,
            label=SHOWN[name][0].split(",")[0],
        )
    axes.set(
        xlabel="share that the interval is to hold",
        ylabel="share that it held",
        xlim=(0.45, 1.01),
        ylim=(0.3, 1.02),
    )
    axes.legend(loc="lower right", frameon=False, fontsize=9)
    return svg(figure, "Coverage of the intervals, stated and found")


def in_u(quantities: Mapping[str, Mapping[str, Any]]) -> str:
    """rms(error/u) of each quantity beside the band of a right budget."""
    figure, axes = new(6.4, 3.0)
    names = list(quantities)
    for k, name in enumerate(names):
        q = quantities[name]
        beyond = q["rms"] > q["rms_most"]
        axes.plot(
            [q["rms_least"], q["rms_most"]],
            [k, k],
            color="#c9c4b8",
            linewidth=9,
            solid_capstyle="butt",
            zorder=1,
        )
        axes.plot(q["rms"], k, "D" if beyond else "o", color=RED if beyond else BLUE, zorder=3)
    axes.axvline(1.0, color=GREY, linestyle="--", linewidth=1)
    axes.set(
        yticks=range(len(names)),
        yticklabels=[SHOWN[n][0] for n in names],
        xlim=(0, None),
        xlabel="rms(error/u); bar: where a right u lies in 99 of 100 sets",
    )
    axes.invert_yaxis()
    return svg(figure, "rms of error over u by quantity")


def scatter(rows: Sequence[Row], name: str) -> str:
    """The size of every error against its u, both on a logarithmic scale."""
    text, factor, _ = SHOWN[name]
    pairs = [
        (r["u"][name], abs(r["errors"][name]), r["outcome"])
        for r in rows
        if name in r.get("errors", {})
    ]
    figure, axes = new(4.2, 3.4)
    u = np.array([p[0] for p in pairs]) * factor
    e = np.maximum(np.array([p[1] for p in pairs]) * factor, u.min() / 100)
    span = np.array([u.min() / 1.5, u.max() * 1.5])
    for k, line in ((1, "--"), (2, ":")):
        axes.plot(span, k * span, color=GREY, linestyle=line, linewidth=1, label=f"{k} u")
    axes.plot(u, e, "o", markersize=3.5, alpha=0.6, color=BLUE, markeredgewidth=0)
    wrong = [i for i, p in enumerate(pairs) if p[2] == "wrong"]
    axes.plot(u[wrong], e[wrong], "X", color=RED, markersize=8)
    axes.set(
        xscale="log",
        yscale="log",
        xlabel=f"u of {text}",
        ylabel="size of the error",
        xlim=tuple(span),
    )
    axes.legend(loc="upper left", frameon=False, fontsize=9)
    return svg(figure, f"Errors against u: {text}")


def outcome_bars(lines: Sequence[Mapping[str, Any]], words: str) -> str:
    """Shares of outcomes, one bar per group; each has ``value``, ``n`` and a count by outcome."""
    figure, axes = new(6.4, 0.9 + 0.34 * len(lines))
    for k, line in enumerate(lines):
        left = 0.0
        for key in OUTCOMES:
            share = 100 * line[key] / max(line["n"], 1)
            colour, hatch = OUTCOME_LOOK[key]
            axes.barh(
                k,
                share,
                left=left,
                color=colour,
                hatch=hatch,
                edgecolor="white",
                linewidth=0.5,
                height=0.78,
                label=OUTCOMES[key] if k == 0 else None,
            )
            left += share
    axes.set(
        yticks=range(len(lines)),
        yticklabels=[f"{x['value']} ({x['n']})" for x in lines],
        xlim=(0, 100),
        xlabel="% of the threads",
    )
    axes.invert_yaxis()
    axes.grid(axis="y", visible=False)
    figure.legend(
        *axes.get_legend_handles_labels(),
        loc="outside upper left",
        ncols=3,
        frameon=False,
        fontsize=9,
    )
    return svg(figure, words)
