"""Prints which threads are confused with which: ``python -m tests.confusion``.

Parts are drawn from the standards' limits, apart from the model that names them: diameters even
within their class, crests a little worn, included angle with 0.5 degree, lead with 0.1 % scatter,
taper threads early or late by up to their gauge tolerance. Every designation is a candidate;
designations of one geometry count as one.

(a) is a photo: u = 0.15 % in pitch, 0.05 mm in each diameter, 0.75 degree, 0.006 in taper.
(b) is caliper (0.03 mm, at the small end face) and gauge (0.5 %), with no angle.
"""

from __future__ import annotations

import argparse
import math
import time
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from scipy.stats import binom

from pitchcam.match.likelihood import log_likelihood
from pitchcam.match.naming import LISTED_EACH, LISTED_SHARE, NAMED, has_name, weigh
from pitchcam.match.population import population
from pitchcam.records import Gender, Quantity, ThreadReading
from pitchcam.series import ThreadSize, find, load_series

LEAD_SCATTER, ANGLE_SCATTER_DEG, WEAR_OF_PITCH = 0.001, 0.5, 0.02
USUAL_CLASS_SHARE = 0.8
PHOTO = {"pitch": 0.0015, "diameter": 0.05, "angle": 0.75, "taper": 0.006}
BENCH = {"pitch": 0.005, "diameter": 0.03}


@dataclass
class Row:
    size: ThreadSize
    n: int = 0
    named: int = 0
    top: int = 0
    wrong: int = 0
    listed: int = 0
    against: Counter[str] = field(default_factory=Counter)


def draw_part(size: ThreadSize, gender: Gender, rng: np.random.Generator) -> dict[str, float]:
    """Return one real part: pitch, diameters at its small end (inside: mouth), angle, taper."""
    classes = size.limits(gender)
    usual = rng.random() < USUAL_CLASS_SHARE or len(classes) == 1
    limits = classes[0 if usual else rng.integers(1, len(classes))]
    taper = size.taper * (1 + rng.uniform(-0.08, 0.17) if size.family.startswith("NPT") else 1.0)
    if size.taper:
        position = rng.uniform(-1, 1) * size.position_mm[gender == "internal"] * size.taper
        shift = position - (taper * (size.gauge_length_mm or 0) if gender == "external" else 0.0)
        cut = size.truncation_mm
        major = size.basic_major_mm + shift - rng.uniform(0, cut)
        minor = size.basic_minor_mm + shift + rng.uniform(0, cut)
        middle = size.basic_pitch_diameter_mm + shift
    else:
        major = rng.uniform(*limits.major_mm)
        middle = rng.uniform(*limits.pitch_diameter_mm)
        minor = rng.uniform(*limits.minor_mm)
    wear = rng.exponential(WEAR_OF_PITCH * size.pitch_mm)
    if gender == "external":
        major -= wear
    else:
        minor += wear
    return {
        "pitch": size.pitch_mm * (1 + LEAD_SCATTER * rng.standard_normal()),
        "major": major, "middle": middle, "minor": minor,
        "angle": size.angle_deg + ANGLE_SCATTER_DEG * rng.standard_normal(), "taper": taper,
    }  # fmt: skip


def photo(part: dict[str, float], gender: Gender, rng: np.random.Generator) -> ThreadReading:
    def read(value: float, u: float) -> Quantity:
        return Quantity(value=value + u * rng.standard_normal(), u=u)

    u = PHOTO
    return ThreadReading(
        gender=gender, pitch_mm=read(part["pitch"], u["pitch"] * part["pitch"]),
        major_mm=read(part["major"], u["diameter"]),
        pitch_diameter_mm=read(part["middle"], u["diameter"]),
        minor_mm=read(part["minor"], u["diameter"]), angle_deg=read(part["angle"], u["angle"]),
        taper=read(part["taper"], u["taper"]),
        diameter_station_mm=Quantity(value=0.0, u=0.1),
    )  # fmt: skip


def bench(part: dict[str, float], gender: Gender, rng: np.random.Generator) -> ThreadReading:
    u = BENCH
    pitch = part["pitch"] * (1 + u["pitch"] * rng.standard_normal())
    lead = part["major" if gender == "external" else "minor"]
    diameter = Quantity(value=lead + u["diameter"] * rng.standard_normal(), u=u["diameter"])
    return ThreadReading(
        gender=gender, pitch_mm=Quantity(value=pitch, u=u["pitch"] * pitch),
        major_mm=diameter if gender == "external" else None,
        minor_mm=diameter if gender == "internal" else None,
        diameter_station_mm=Quantity(value=0.0, u=0.2),
    )  # fmt: skip


def judge(row: Row, reading: ThreadReading, flat: bool) -> None:
    parts = population(reading.gender)
    fit = log_likelihood(reading, parts)
    plain = weigh(reading, parts, fit, {})
    after = plain if flat else weigh(reading, parts, fit, None)
    named = has_name(after, plain)
    names = [s.geometry for s in after.sizes]
    place = names.index(row.size.geometry)
    p = after.probability
    row.n += 1
    row.top += place == 0
    row.named += place == 0 and named
    row.wrong += place != 0 and named
    before = float(p[:place].sum())
    listed = before < LISTED_SHARE * (1 - after.off_series) or p[place] >= LISTED_EACH
    row.listed += bool(listed and after.off_series < NAMED)
    rival = 1 if place == 0 else 0
    if not (place == 0 and named):
        row.against[after.sizes[rival].designation] += 1


def study(way: str, gender: Gender, n: int, seed: int, flat: bool = False) -> list[Row]:
    """Return one row per geometry of one gender, each of ``n`` parts, twins left out."""
    rows, seen = [], set()
    for k, size in enumerate(load_series()):
        if gender not in size.genders or not size.limits(gender) or size.geometry in seen:
            continue
        seen.add(size.geometry)
        rng = np.random.default_rng([seed, k])
        row = Row(size=size)
        for _ in range(n):
            part = draw_part(size, gender, rng)
            reading = photo(part, gender, rng) if way == "a" else bench(part, gender, rng)
            judge(row, reading, flat)
        rows.append(row)
    return rows


def limit(size: ThreadSize, rival: str, way: str, gender: Gender) -> float:
    """Return the share that the reading's own information allows to name against one rival.

    For two equally likely normal classes d' apart, the log of their odds is normal with mean d'^2/2
    and deviation d': it clears odds of 19 to 1 (0.95) with probability Phi(d'/2 - ln 19 / d').
    """
    rng = np.random.default_rng(0)
    keys = ("pitch", "major", "middle", "minor", "angle", "taper")
    drawn = []
    for one in (size, find(rival)):
        parts = [draw_part(one, gender, rng) for _ in range(300)]
        drawn.append(np.array([[p[k] for k in keys] for p in parts]))
    u = PHOTO if way == "a" else {**BENCH, "angle": np.inf, "taper": np.inf}
    lead = 1 if gender == "external" else 3
    d = [u["diameter"] if way == "a" or i == lead else np.inf for i in (1, 2, 3)]
    read = np.array([u["pitch"] * size.pitch_mm, *d, u["angle"], u["taper"]])
    spread = (drawn[0].var(axis=0) + drawn[1].var(axis=0)) / 2
    gap = (drawn[0].mean(axis=0) - drawn[1].mean(axis=0)) ** 2
    distance = math.sqrt(float((gap / (spread + read**2)).sum()))
    odds = math.log(NAMED / (1 - NAMED))
    return 0.5 * math.erfc(-(distance / 2 - odds / max(distance, 1e-9)) / math.sqrt(2))


def surely_under(hits: int, n: int, share: float = 0.99) -> bool:
    """Return whether a row of true ``share`` would show so few hits once in a thousand studies."""
    return float(binom.cdf(hits, n, share)) < 0.001


def summary(rows: list[Row]) -> dict[str, float]:
    n = sum(r.n for r in rows)
    return {
        "parts": n,
        "named right": sum(r.named for r in rows) / n,
        "wrong name": sum(r.wrong for r in rows) / n,
        "first": sum(r.top for r in rows) / n,
        "ambiguous": 1 - sum(r.named + r.wrong for r in rows) / n,
        "truth listed": sum(r.listed for r in rows) / n,
        "worst row named": min(r.named / r.n for r in rows),
        "worst row first": min(r.top / r.n for r in rows),
        "rows under 99 % named": sum(r.named < 0.99 * r.n for r in rows),
        "  beyond chance": sum(surely_under(r.named, r.n) for r in rows),
        "rows under 99 % first": sum(r.top < 0.99 * r.n for r in rows),
        "  of them beyond chance": sum(surely_under(r.top, r.n) for r in rows),
    }


def show(title: str, rows: list[Row], worst: int, way: str, gender: Gender) -> None:
    print(f"\n{title}: {len(rows)} sizes")
    for name, value in summary(rows).items():
        print(f"  {name:24s}{value:g}" if name == "parts" or ("under" in name or "chance" in name)
              else f"  {name:24s}{100 * value:.3f} %")  # fmt: skip
    print(f"  worst {worst} rows in %: named / first / wrong / listed; the most that the\n"
          "  reading itself allows to name against the first rival; taken for or near")  # fmt: skip
    for r in sorted(rows, key=lambda r: (r.named, r.top))[:worst]:
        rivals = ", ".join(f"{d} {c}" for d, c in r.against.most_common(3))
        most = limit(r.size, r.against.most_common(1)[0][0], way, gender) if r.against else 1.0
        figures = (r.named / r.n, r.top / r.n, r.wrong / r.n, r.listed / r.n, most)
        shares = " ".join(f"{100 * x:6.1f}" for x in figures)
        print(f"    {r.size.designation:18s}{shares}   {rivals}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("-n", type=int, default=100, help="parts per size (100)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--worst", type=int, default=12, help="rows shown (12)")
    parser.add_argument("--flat", action="store_true", help="all sizes equally common")
    parser.add_argument("--only", choices=("a", "b"))
    parser.add_argument("--gender", choices=("external", "internal"))
    args = parser.parse_args()
    start = time.perf_counter()
    ways = {"a": "(a) photo", "b": "(b) caliper and gauge, no angle"}
    for way in [args.only] if args.only else list(ways):
        for gender in [args.gender] if args.gender else ("external", "internal"):
            rows = study(way, gender, args.n, args.seed, args.flat)
            show(f"{ways[way]}, {gender}", rows, args.worst, way, gender)
    print(f"\n{time.perf_counter() - start:.0f} s, prior "
          + ("flat" if args.flat else "of the catalogue"))  # fmt: skip


if __name__ == "__main__":
    main()
