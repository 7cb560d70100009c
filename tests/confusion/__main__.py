"""Prints which threads are confused with which: ``python -m tests.confusion``.

Parts are drawn from the standards' limits, apart from the model that names them
(:mod:`tests.confusion.parts`). Every designation is a candidate; designations of one geometry
count as one.

(a) is a photo: u = 0.15 % in pitch, 0.05 mm in each diameter, 0.75 degree, 0.006 in taper.
(b) is caliper (0.03 mm, at the small end face) and gauge (0.5 %), with no angle.

In (a) each row near 99 % named right is drawn again, more often, and set beside what an ideal judge
would reach who knows how the parts were drawn (:mod:`tests.confusion.ideal`).
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Sequence

from tests.confusion.parts import Way
from tests.confusion.study import CAREFUL, WANTED, Row, Study, rows

WAYS: dict[Way, str] = {"a": "(a) photo", "b": "(b) caliper and gauge, no angle"}
#: No row is to be given a wrong name more often than this.
WRONG = 0.001


def percent(share: float) -> str:
    return f"{100 * share:6.2f} %"


def overall(found: Sequence[Row]) -> list[tuple[str, str]]:
    """Return the figures over all rows, each row weighing the same."""

    def mean(name: str) -> float:
        return sum(float(getattr(r, name)) / r.n for r in found) / len(found)

    named, wrong = mean("named"), mean("wrong")
    return [
        ("parts drawn", f"{sum(r.n for r in found):6d}"),
        ("named right", percent(named)),
        ("wrong name", f"{100 * wrong:6.3f} %"),
        ("ambiguous", percent(1 - named - wrong)),
        ("truth comes first", percent(mean("top"))),
        ("truth listed", f"{100 * mean('listed'):6.3f} %"),
        ("worst row named right", percent(min(r.share for r in found))),
        ("worst row truth first", percent(min(r.top / r.n for r in found))),
        ("worst row wrong name", percent(max(r.wrong / r.n for r in found))),
        ("worst row truth listed", percent(min(r.listed / r.n for r in found))),
    ]


def line(row: Row) -> str:
    """Return one row in words."""
    rivals = ", ".join(f"{d} ({c})" for d, c in row.against.most_common(3))
    text = f"    {row.size.designation:18s} named right {percent(row.share)}"
    if row.ideal is not None:
        text += (
            f", at most {percent(row.ideal.named)} possible with these readings"
            f" (equal prior {percent(row.ideal.named_flat)})"
        )
    text += f"; first {percent(row.top / row.n)}; wrong {percent(row.wrong / row.n)}"
    if row.ideal is not None:
        text += f" (ideal {percent(row.ideal.wrong)})"
    return f"{text}; n {row.n}" + (f"; near: {rivals}" if rivals else "")


def listing(title: str, some: Sequence[Row]) -> None:
    print(f"  {title}: {len(some)}")
    for row in sorted(some, key=lambda r: r.share):
        print(line(row))


def show_bounds(found: Sequence[Row], more: int) -> None:
    """Print the rows under what is wanted, those that could not reach it apart from the rest."""
    under = [r for r in found if r.share < WANTED]
    could = [r for r in under if r.ideal is None or r.ideal.named >= WANTED]
    cannot = [r for r in under if r not in could]
    chance = math.sqrt(WANTED * (1 - WANTED) / more)
    print(
        f"  rows near the line: {more} parts each, chance moves a row by {100 * chance:.2f} "
        f"points (one standard deviation),\n  by 0.07 where n is {CAREFUL}; 'at most' is what an "
        "ideal judge reaches who knows how the parts were drawn (+- 0.07)"
    )
    print(f"  rows at 99 % and over: {len(found) - len(under)}")
    listing("rows under 99 % where these readings cannot carry 99 %", cannot)
    listing("rows under 99 % by no more than chance", [r for r in could if not r.surely_under])
    listing("rows under 99 % without excuse", [r for r in could if r.surely_under])


def show(title: str, found: Sequence[Row], worst: int, way: Way, more: int) -> None:
    print(f"\n{title}: {len(found)} sizes")
    for name, value in overall(found):
        print(f"  {name:24s}{value}")
    if way == "a":
        show_bounds(found, more)
    else:
        listing(
            f"the {worst} rows that stay open most", sorted(found, key=lambda r: r.share)[:worst]
        )
    wrong = [r for r in found if r.wrong > WRONG * r.n]
    listing("rows with a wrong name in more than 1 of 1000", wrong)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("-n", type=int, default=150, help="parts per size (150)")
    parser.add_argument("--more", type=int, default=4000, help="parts of rows drawn again (4000)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--worst", type=int, default=12, help="rows shown of (b) (12)")
    parser.add_argument("--flat", action="store_true", help="all sizes equally common")
    parser.add_argument("--only", choices=tuple(WAYS))
    parser.add_argument("--gender", choices=("external", "internal"))
    args = parser.parse_args()
    start = time.perf_counter()
    for way in [args.only] if args.only else WAYS:
        for gender in [args.gender] if args.gender else ("external", "internal"):
            study = Study(way=way, gender=gender, seed=args.seed, priors={} if args.flat else None)
            found = list(rows(study, args.n, args.more))
            show(f"{WAYS[way]}, {gender}", found, args.worst, way, args.more)
    print(
        f"\n{time.perf_counter() - start:.0f} s, prior "
        + ("flat" if args.flat else "of the catalogue")
    )


if __name__ == "__main__":
    main()
