"""What became worse from one run to the next: names first, then errors, coverage and u."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.stats import wilcoxon

#: From the best outcome to the worst; a photo that must be refused is right when it is.
RANK = {"right": 0, "refused": 0, "open": 1, "none": 2, "extra": 3, "broken": 4, "wrong": 5}
#: Chance of calling errors of equal size grown: one false alarm in a hundred runs of six figures.
CHANCE = 0.01 / 6
#: A figure of a single photo is worse where its error has grown by more than this many of its u.
GROWN_U = 0.5


def worse(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    """Return one line for each thing that became worse on the photos of both runs."""
    before, after = _keyed(old["rows"]), _keyed(new["rows"])
    both = sorted(before.keys() & after.keys())
    out = []
    for key in both:
        was, now = before[key], after[key]
        if RANK[now["outcome"]] > RANK[was["outcome"]]:
            out.append(
                f"{key[1]}: {key[2]} was {was['outcome']} ({was['answer'][:60]}), "
                f"is {now['outcome']} ({now['answer'][:60]})"
            )
    out.sort(key=lambda line: "is wrong" not in line)
    pairs = [(before[k], after[k]) for k in both]
    for name in new["quantities"]:
        out += _quantity(name, pairs)
        was_q, now_q = old["quantities"].get(name), new["quantities"][name]
        if was_q and now_q["rms"] > now_q["rms_most"] and now_q["rms"] > was_q["rms"]:
            out.append(
                f"{name}: rms(error/u) {was_q['rms']:.2f} -> {now_q['rms']:.2f}, beyond "
                f"{now_q['rms_most']:.2f}"
            )
    return out


def _keyed(rows: list[dict[str, Any]]) -> dict[tuple[str, ...], dict[str, Any]]:
    out: dict[tuple[str, ...], dict[str, Any]] = {}
    for row in rows:
        key = (str(row["folder"]), str(row["photo"]), str(row["truth"]))
        while key in out:  # two threads of one name in a photo
            key = (*key, "again")
        out[key] = row
    return out


def _quantity(name: str, pairs: list[tuple[dict[str, Any], dict[str, Any]]]) -> list[str]:
    """Say whether the errors of photos that both runs read have grown, as a whole or one by far."""
    read = [(a, b) for a, b in pairs if name in a["errors"] and name in b["errors"]]
    out = []
    for was, now in read:
        grown = abs(now["errors"][name]) - abs(was["errors"][name])
        if grown > GROWN_U * was["u"][name] and abs(now["errors"][name]) > 2 * now["u"][name]:
            out.append(
                f"{now['photo']}: {now['truth']} {name} is off by "
                f"{now['errors'][name]:+.4g}, was {was['errors'][name]:+.4g}"
            )
    growth = np.array([abs(b["errors"][name]) - abs(a["errors"][name]) for a, b in read])
    moved = growth[growth != 0.0]
    if len(moved) >= 10 and wilcoxon(moved, alternative="greater").pvalue < CHANCE:
        out.append(f"{name}: errors have grown on {int((moved > 0).sum())} of {len(read)} threads")
    lost = sum(name in a["errors"] and name not in b["errors"] for a, b in pairs)
    gained = sum(name not in a["errors"] and name in b["errors"] for a, b in pairs)
    if lost > gained:
        out.append(f"{name}: read on {lost - gained} fewer threads")
    return out
