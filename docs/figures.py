"""Plots and tables of what was measured before: ``python docs/figures.py``.

Reads ``docs/data/envelope.json`` (``python -m tests.envelope``), ``trials.json`` (typed) and every
``docs/data/proof-*.json`` (``--proof NAME FILE`` keeps one of ``python -m tests.proof``), writes
``docs/pictures/envelope-*.svg`` and ``proof-*.svg``, ``docs/data/tables.json`` and the README's
table. Nothing is measured.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from tests.envelope.dials import DIALS, WITHIN, Dial, order  # noqa: E402
from tests.envelope.study import CARELESS, RANDOM, WORSE, at_random, on_curve  # noqa: E402
from tests.fresh.table import OUTCOMES, SHOWN  # noqa: E402
from tests.proof import plots  # noqa: E402
from tests.proof.figures import interval  # noqa: E402

DOCS = ROOT / "docs"
DATA, PICTURES = DOCS / "data", DOCS / "pictures"
Row = dict[str, Any]
Cells = list[list[str]]
NS = 'xmlns="http://www.w3.org/2000/svg"'
#: Threads of the study that only the angle tells from another size of pitch and diameter.
TWINS = {"3/8-16 BSW"}
#: What the README's table shows of the limits, with words.
LIMITS = {
    "px_per_pitch": ("pixels per pitch", "at least {0:g}"),
    "turns": ("turns of thread seen", "at least {0:g}"),
    "tilt_deg": ("camera out of square", "up to {1:g} degrees"),
    "incline_deg": ("part out of level", "up to {1:g} degrees"),
    "blur": ("defocus, sigma over pitch", "up to {1:g}"),
    "motion": ("motion over pitch", "up to {1:g}"),
    "level": ("light behind, of full scale", "{0:g} to {1:g}, never clipped"),
    "jpeg": ("JPEG quality", "at least {0:g}"),
}


def keep_svg(name: str, text: str) -> None:
    """Write an SVG file from the element that the page's plots are."""
    if NS not in text:
        text = text.replace("<svg", f"<svg {NS}", 1)
    (PICTURES / f"{name}.svg").write_text(text, encoding="utf-8")


def counts(rows: list[Row]) -> Counter[str]:
    """Return outcomes; a thread found besides the true one counts as no answer."""
    return Counter("none" if r["outcome"] == "extra" else r["outcome"] for r in rows)


def curve(dial: Dial, rows: list[Row]) -> str:
    """Shares of outcomes at each value of a dial, and below it the pitch's error and u."""
    at = on_curve(rows, dial.name)
    values = [v for v in order(dial) if v in at]
    figure, axes = plots.new(4.6, 3.6)
    figure.clear()
    top, low = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    for k, value in enumerate(values):
        told, n, below = counts(at[value]), len(at[value]), 0.0
        for key in OUTCOMES:
            colour, hatch = plots.OUTCOME_LOOK[key]
            top.bar(
                k,
                told[key] / n,
                bottom=below,
                color=colour,
                hatch=hatch,
                width=0.8,
                edgecolor="white",
                linewidth=0.5,
            )
            below += told[key] / n
    for key, words, mark, colour in (
        ("errors", "size of error", "o", plots.BLUE),
        ("u", "u", "_", plots.RED),
    ):
        y = [[100 * abs(r[key]["pitch_mm"]) for r in at[v] if "pitch_mm" in r[key]] for v in values]
        x = [k for k, found in enumerate(y) if found]
        low.plot(
            x,
            [float(np.median(found)) for found in y if found],
            mark,
            color=colour,
            markersize=11 if mark == "_" else 5,
            label=words,
            markeredgewidth=2,
        )
    top.set(ylabel="share", yticks=(0, 0.5, 1), ylim=(0, 1.001))
    low.set(
        xticks=range(len(values)),
        xticklabels=[f"{v:g}" for v in values],
        xlabel=dial.label,
        ylabel="pitch, %",
        ylim=(0, None),
    )
    low.set_ylim(0, 1.35 * low.get_ylim()[1])  # room for the legend above the points
    low.legend(frameon=False, fontsize=8, loc="upper left", ncols=2)
    for a in (top, low):
        a.spines[["top", "right"]].set_visible(False)
    return plots.svg(figure, f"Outcomes by {dial.label}")


def legend() -> str:
    """Return the outcomes' colours and hatches, once for all curves."""
    figure, axes = plots.new(6.4, 0.7)
    for key, words in OUTCOMES.items():
        colour, hatch = plots.OUTCOME_LOOK[key]
        axes.bar(0, 0, color=colour, hatch=hatch, edgecolor="white", label=words)
    axes.axis("off")
    axes.legend(loc="center", ncols=3, frameon=False, fontsize=10)
    return plots.svg(figure, "What the colours mean")


def dial_table(rows: list[Row]) -> Cells:
    """Say for each dial how far every name is right, where doubt begins, and wrong names.

    Of threads that pitch and diameter tell; the last column is the twin by angle.
    """
    out = [
        [
            "dial",
            "all named right to",
            "first open or refused at",
            "twin open or refused at",
            "named wrongly",
            "photos",
        ]
    ]
    for dial in DIALS.values():
        at = on_curve(rows, dial.name)
        values = [v for v in order(dial) if v in at]
        plain, good = first_doubt(at, values, twins=False), []
        for value in values:
            if value == plain:
                break
            good.append(value)
        twin = first_doubt(at, values, twins=True)
        every = [r for v in values for r in at[v]]
        last = "-" if not good else f"{good[-1]:g}"
        if good and dial.name in ("level", "distortion"):  # better neither way
            last = f"{good[0]:g} to {last}"
        out.append(
            [
                dial.label,
                last,
                *("-" if v is None else f"{v:g}" for v in (plain, twin)),
                str(counts(every)["wrong"]),
                str(len(every)),
            ]
        )
    return out


def first_doubt(at: dict[float, list[Row]], values: list[float], *, twins: bool) -> float | None:
    """Return the first value, from good to bad, at which a name is not given or not right."""
    for value in values:
        told = counts([r for r in at[value] if (r["truth"] in TWINS) == twins])
        if told.keys() - {"right"}:
            return value
    return None


def pooled(rows: list[Row], part: str, *, twins: bool | None = None) -> Row:
    """Return the outcomes of photos whose dials were drawn at random.

    ``twins`` takes those of threads alone that only the angle tells from another, or the others.
    """
    group = [
        r
        for r in rows
        if r["study"]["part"] == part
        and r["truth"] != "(no thread)"
        and twins in (None, r["truth"] in TWINS)
    ]
    told = counts(group)
    return {
        "n": len(group),
        "named": told["right"] + told["wrong"],
        **{k: told[k] for k in OUTCOMES},
    }


def least(hits: int, n: int) -> str:
    """Return a share in percent with its lower limit."""
    low = 100 * interval(hits, n)[0] if n else 0.0
    return f"{100 * hits / max(n, 1):.1f} %, at least {low:.1f} % with 95 % confidence"


def said_within(rows: list[Row]) -> str:
    """Return the sentences about the photos within the limits."""
    plain, twin = pooled(rows, "within", twins=False), pooled(rows, "within", twins=True)
    wrong = plain["wrong"] + twin["wrong"]
    return (
        f"Photos with every dial drawn at random within these limits, all at once. Of {plain['n']} "
        f"of threads that pitch and diameter tell, {plain['right']} were named right "
        f"({least(plain['right'], plain['n'])}). Of {twin['n']} of 3/8-16 BSW, which its angle "
        f"alone tells from 3/8-16 UNC, {twin['right']} were named and {twin['open']} left open "
        f"with both listed. Named wrongly: {wrong}."
    )


def said_careless(rows: list[Row]) -> str:
    """Return the sentences about careless photos, and about those that are bad in every way."""
    some, every = pooled(rows, "careless"), pooled(rows, "any")
    return (
        f"Of {some['n']} careless photos, three dials anywhere and the others within the limits, "
        f"{some['right']} were named right, {some['open']} left open, {some['none']} refused or "
        f"not read, {some['wrong']} named wrongly, of {some['named']} names. Of {every['n']} "
        f"with every dial anywhere at once, {every['none']} were refused or not read, "
        f"{every['right']} named right, {every['open']} left open, {every['wrong']} named wrongly."
    )


def wrong_table(rows: list[Row]) -> Cells:
    """Return every wrong name of the study, with what was read and which dials were far off."""
    out = [["truth", "named", "stated", "pitch off by", "beyond the limits"]]
    for r in rows:
        if r["outcome"] == "wrong":
            pitch = [f"{100 * e['pitch_mm']:+.1f} %" for e in (r["errors"], r["u"])]
            out.append(
                [
                    r["truth"],
                    r["answer"],
                    f"{100 * r['probability']:.1f} %",
                    f"{pitch[0]} (u {pitch[1][1:]})",
                    far_off(r["study"]),
                ]
            )
    return out


def far_off(study: Row) -> str:
    """Say which dials of a photo lie beyond the limits; of one drawn for a dial, that."""
    if study["part"] not in RANDOM:
        return f"{DIALS[study['dial']].label}: {study['value']:.2g}"
    setting = at_random(study["part"], study["number"])
    far = {
        n: getattr(setting, n)
        for n, (low, high) in WITHIN.items()
        if not low <= getattr(setting, n) <= high
    }
    if len(far) > CARELESS:
        return "nearly all"
    return ", ".join(f"{DIALS[n].label}: {v:.2g}" for n, v in far.items())


def samples_table(rows: list[Row]) -> Cells:
    """Return outcomes of samples made worse, by what was done to them."""
    out = [["made worse by", "", "right", "open", "none", "wrong"]]
    words = {
        "blur": "blur, sigma in px",
        "noise": "noise, codes",
        "jpeg": "JPEG quality",
        "size": "size, share",
    }
    for dial, values in WORSE.items():
        for value in values:
            group = [
                r
                for r in rows
                if r["study"]["part"] == "samples"
                and r["study"]["dial"] == dial
                and r["study"]["value"] == value
            ]
            told = counts(group)
            if group:
                out.append(
                    [
                        words[dial],
                        f"{value:g}",
                        *(str(told[k]) for k in ("right", "open", "none", "wrong")),
                    ]
                )
    return out


def limits_table() -> Cells:
    """Return the README's table of limits."""
    out = [["what", "limit"]]
    for name, (words, how) in LIMITS.items():
        out.append([words, how.format(*WITHIN[name])])
    return out


def envelope() -> dict[str, Any]:
    """Draw the curves; return the tables."""
    rows = json.loads((DATA / "envelope.json").read_text(encoding="utf-8"))["rows"]
    for dial in DIALS.values():
        keep_svg(f"envelope-{dial.name}", curve(dial, rows))
    keep_svg("envelope-legend", legend())
    return {
        "envelope-dials": dial_table(rows),
        "envelope-limits": limits_table(),
        "envelope-within": said_within(rows),
        "envelope-careless": said_careless(rows),
        "envelope-wrong": wrong_table(rows),
        "envelope-samples": samples_table(rows),
    }


def proof(name: str, doc: Row) -> dict[str, Any]:
    """Draw one run's plots; return its tables."""
    keep_svg(f"proof-{name}-calibration", plots.calibration(doc["calibration"]))
    keep_svg(f"proof-{name}-coverage", plots.coverage(doc["quantities"]))
    keep_svg(f"proof-{name}-u", plots.in_u(doc["quantities"]))
    told = doc["outcomes"]
    outcomes = [["of the threads that are to be named", "number", "share"]]
    for key, words in OUTCOMES.items():
        n = told.get(key, 0)
        outcomes.append([words, str(n), f"{100 * n / doc['threads']:.1f} %"])
    lines = [["quantity", "n", "median error", "95 % within", "1.96 u holds", "rms(error/u)"]]
    for q, f in doc["quantities"].items():
        words, factor, digits = SHOWN[q]
        lines.append(
            [
                words,
                str(f["n"]),
                f"{factor * f['median']:.{digits}f}",
                f"{factor * f['p95']:.{digits}f}",
                f"{100 * f['inside']:.0f} %",
                f"{f['rms']:.2f}",
            ]
        )
    held, refuse = doc["refusal"], doc["refuse"]
    said = (
        f"{doc['photos']} photos, {doc['threads']} threads. Of {held['held']} left open, the "
        f"most probable name was right for {held['first_right']} and wrong for "
        f"{held['first_wrong']}: that is what refusal costs and saves. {held['unread']} were "
        f"not read. Where no name may be given, none was on "
        f"{refuse.get('refused', 0) + refuse.get('right', 0)} of {sum(refuse.values())}."
    )
    wrong = "; ".join(f"{w['photo']}: {w['truth']} as {w['answer']}" for w in doc["wrong"])
    return {
        f"proof-{name}-outcomes": outcomes,
        f"proof-{name}-quantities": lines,
        f"proof-{name}-said": said,
        f"proof-{name}-wrong": f"Named wrongly: {wrong or 'none'}.",
    }


def readme(tables: dict[str, Any]) -> None:
    """Put the limits, and what was found within them, where the README shows them."""
    file = ROOT / "README.md"
    text = file.read_text(encoding="utf-8")
    cells = tables["envelope-limits"]
    lines = [f"| {' | '.join(line)} |" for line in cells]
    lines.insert(1, "|---" * len(cells[0]) + "|")
    body = "\n".join([*lines, "", tables["envelope-within"], "", tables["envelope-careless"]])
    text, found = re.subn(
        r"<!-- envelope -->\n.*?<!-- /envelope -->",
        lambda _: f"<!-- envelope -->\n{body}\n<!-- /envelope -->",
        text,
        flags=re.DOTALL,
    )
    assert found == 1
    file.write_text(text, encoding="utf-8")


def main() -> None:
    """Write everything."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--proof", nargs=2, action="append", default=[], metavar=("NAME", "FILE"))
    for name, file in parser.parse_args().proof:
        doc = json.loads(Path(file).read_text(encoding="utf-8"))
        doc.pop("rows"), doc.pop("splits")
        (DATA / f"proof-{name}.json").write_text(json.dumps(doc, indent=1) + "\n", "utf-8")
    tables = envelope() | json.loads((DATA / "trials.json").read_text(encoding="utf-8"))
    for file in sorted(DATA.glob("proof-*.json")):
        name = file.stem.removeprefix("proof-")
        tables |= proof(name, json.loads(file.read_text(encoding="utf-8")))
    text = json.dumps(tables, indent=1, ensure_ascii=False) + "\n"
    (DATA / "tables.json").write_text(text, encoding="utf-8")
    readme(tables)


if __name__ == "__main__":
    main()
