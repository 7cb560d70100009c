"""``python -m tests.adjustment WHAT``: tables of what the adjustment and its parts give."""

from __future__ import annotations

import argparse
import warnings
from pathlib import Path

from tests.adjustment import bound, freedom, pipes, spoken, whole


def _against_bounds(what: str, photos: int) -> None:
    """Print errors in mm beside both bounds, of every size or of every form."""
    if what == "forms":
        print(f"{'form':<16}{whole.HEAD}")
        for form in bound.FORMS:
            cells = [whole.whole_cell(px, 8, photos, form) for px in bound.PX_PER_PITCH if px >= 20]
            for name in whole.QUANTITIES:
                print(f"{form:<16}{whole.line(cells, name)}", flush=True)
        return
    print(whole.HEAD)
    cells = []
    for px in bound.PX_PER_PITCH:
        for turns in bound.TURNS:
            cells.append(whole.whole_cell(px, turns, photos))
            for name in whole.QUANTITIES:
                print(whole.line(cells[-1:], name), flush=True)
    for title, of in (
        ("every size", cells),
        ("from 20 px and 8 turns", [c for c in cells if c.px_per_pitch >= 20 and c.turns >= 8]),
    ):
        print(title)
        for name in whole.QUANTITIES:
            print(whole.line(of, name))


def main() -> None:
    """Draw, measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.adjustment", description=__doc__)
    what = parser.add_subparsers(dest="what", required=True)
    one = what.add_parser("bound", help="scatter and bias of the pitch beside the least possible")
    one.add_argument("--photos", type=int, default=8, help="of each size")
    what.add_parser("freedom", help="the angle's bound with forms, blur and mirrored light free")
    every = what.add_parser(
        "whole", help="errors in mm, every input off as the budget says, beside both bounds"
    )
    every.add_argument("--photos", type=int, default=8, help="of each size")
    forms = what.add_parser("forms", help="the same for every form: sizes of 8 turns together")
    forms.add_argument("--photos", type=int, default=4, help="of each size")
    two = what.add_parser("pipes", help="pipe threads with a twin: how many are named")
    two.add_argument("--count", type=int, default=200)
    two.add_argument("--seed", type=int, default=1)
    told = what.add_parser("spoken", help="photos of several threads, before and after they tell")
    told.add_argument("folders", nargs="+", type=Path)
    given = parser.parse_args()
    warnings.simplefilter("ignore")
    if given.what == "spoken":
        print(spoken.table(list(spoken.rows(given.folders))))
        return
    if given.what == "pipes":
        print(pipes.table(list(pipes.rows(given.count, given.seed))))
        return
    if given.what == "freedom":
        print(freedom.table(bound.PX_PER_PITCH))
        return
    if given.what in ("whole", "forms"):
        print(whole.LEGEND)
        _against_bounds(given.what, given.photos)
        return
    print(bound.HEAD)
    for px in bound.PX_PER_PITCH:
        for turns in bound.TURNS:
            found = bound.cell(px, turns, given.photos)
            said = f"{px:>8.0f}{turns:>7d}   not measured" if found is None else bound.line(found)
            print(said, flush=True)


if __name__ == "__main__":
    main()
