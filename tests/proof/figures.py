"""The figures of a run: what the page shows and a later run is compared with."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.stats import beta, chi2, norm

from pitchcam import CORE_REVISION
from tests.fresh.table import (
    OUTCOMES,
    SHOWN,
    SPLITS,
    STATED_EDGES,
    Row,
    figures,
    first_names,
    threads,
)
from tests.gate import CHANCE, Band

FORMAT = "pitchcam.proof/1"
#: Shares of a normal distribution whose intervals are tried.
SHARES = (0.5, 0.6827, 0.8, 0.9, 0.95, 0.99)
#: Of the intervals that are given for a share that was counted.
CONFIDENCE = 0.95


def interval(hits: int, n: int) -> tuple[float, float]:
    """Return the interval of a share by Clopper and Pearson (Biometrika 26, 1934)."""
    tail = (1 - CONFIDENCE) / 2
    low = 0.0 if hits == 0 else float(beta.ppf(tail, hits, n - hits + 1))
    high = 1.0 if hits == n else float(beta.ppf(1 - tail, hits + 1, n - hits))
    return low, high


def document(rows: Sequence[Row]) -> dict[str, Any]:
    """Return everything that is kept of a run."""
    real = threads(rows)
    return {
        "format": FORMAT,
        "core_revision": CORE_REVISION,
        "folders": sorted({r["folder"] for r in rows}),
        "photos": len({(r["folder"], r["photo"]) for r in rows}),
        "threads": len(real),
        "outcomes": _counts(real),
        "refuse": _counts([r for r in rows if r["quality"] == "refuse"]),
        "wrong": [_short(r) for r in rows if r["outcome"] in ("wrong", "broken")],
        "quantities": {q: f for q in SHOWN if (f := quantity(real, q)) is not None},
        "calibration": calibration(rows),
        "refusal": refusal(real),
        "splits": {name: _split(real, name) for name in SPLITS},
        "rows": [_short(r) for r in rows],
    }


def _counts(rows: Sequence[Row]) -> dict[str, int]:
    return dict(sorted(Counter(r["outcome"] for r in rows).items()))


def _short(row: Row) -> dict[str, Any]:
    out = {k: row.get(k) for k in ("folder", "photo", "truth", "outcome", "probability")}
    out["answer"] = str(row.get("answer", ""))[:120]
    for k in ("errors", "u"):
        out[k] = {q: float(f"{v:.4g}") for q, v in row.get(k, {}).items()}
    return out


def quantity(rows: Sequence[Row], name: str) -> dict[str, Any] | None:
    """Return errors, their size in u, the band of a right budget, and coverage by share."""
    found = figures(rows, name)
    if found is None:
        return None
    z = sizes(rows, name)
    n = len(z)
    covered = []
    for share in SHARES:
        hits = int(np.sum(np.abs(z) <= norm.ppf((1 + share) / 2)))
        covered.append({"stated": share, "found": hits / n, "interval": interval(hits, n)})
    return {k: float(v) for k, v in found.items()} | {
        "n": n,
        "rms_most": Band(0.0).rms(n)[1],
        "coverage": covered,
        "rms_least": float(np.sqrt(chi2.ppf(CHANCE, n) / n)),
    }


def sizes(rows: Sequence[Row], name: str) -> np.ndarray:
    """Return the errors of a quantity in units of u."""
    pairs = [(r["errors"][name], r["u"][name]) for r in rows if name in r.get("errors", {})]
    e, u = np.array(pairs).reshape(-1, 2).T
    return np.asarray(e / np.maximum(u, 1e-12))


def calibration(rows: Sequence[Row]) -> list[dict[str, Any]]:
    """Return, by bin of the first name's stated probability, how often it was right."""
    known = first_names(rows)
    out = []
    for low, high in zip(STATED_EDGES[:-1], STATED_EDGES[1:], strict=True):
        group = [k for k in known if low <= k[0] < high]
        if group:
            hits = sum(k[1] for k in group)
            out.append(
                {
                    "from": low,
                    "to": min(high, 1.0),
                    "n": len(group),
                    "right": hits,
                    "stated": float(np.mean([k[0] for k in group])),
                    "interval": interval(hits, len(group)),
                }
            )
    return out


def refusal(rows: Sequence[Row]) -> dict[str, Any]:
    """Return what answers without a name cost and save: had the first name been taken.

    ``first_right`` are names that were held back though right, ``first_wrong`` wrong names that
    were held back, ``unread`` threads of which nothing was named at all.
    """
    held = [r for r in rows if r["outcome"] in ("open", "none") and r.get("candidates")]
    right = sum(max(r["candidates"], key=lambda c: c[1])[0] == r["truth"] for r in held)
    unread = sum(r["outcome"] in ("none", "broken") and not r.get("candidates") for r in rows)
    why = Counter(
        r["answer"].split(":")[0]
        for r in rows
        if r["outcome"] == "none" and not r.get("candidates")
    )
    return {
        "held": len(held),
        "first_right": right,
        "first_wrong": len(held) - right,
        "unread": unread,
        "why": dict(why.most_common()),
    }


def _split(rows: Sequence[Row], name: str) -> list[dict[str, Any]]:
    groups: dict[str, list[Row]] = {}
    for r in rows:
        if (value := SPLITS[name](r)) is not None:
            groups.setdefault(str(value), []).append(r)
    out = []
    for value, group in groups.items():
        line: dict[str, Any] = {"value": value, "n": len(group)}
        line |= {k: sum(r["outcome"] == k for r in group) for k in OUTCOMES}
        for q in ("pitch_mm", "major_mm", "angle_deg"):
            found = figures(group, q)
            line[f"rms {q}"] = None if found is None else float(found["rms"])
        out.append(line)
    return out
