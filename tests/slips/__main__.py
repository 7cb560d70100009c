"""Prints how often slipped readings get a wrong name: ``python -m tests.slips``.

Every row has at least 5,000 readings (``--number``) of parts drawn from the standards' limits,
over all families, with fixed seeds; sizes whose leaf no usual set holds are left out. The caliper
is anywhere on the useful thread. Sizes are drawn alike, or as often as the table of priors says
that they are met.

In the rows of leaf and wear a reading may fall on another thread's and then fools anyone: beside
each stands an ideal judge who knows how the readings were drawn (:mod:`tests.slips.judge`).
"""

from __future__ import annotations

import argparse
import sys
import time

from tests.slips.study import ROWS, Count, common_sizes, run


def line(count: Count) -> str:
    """Return one row in words."""
    text = (
        f"{count.title:52s} {count.n:6d}  named {100 * count.named / count.n:5.1f} %  "
        f"wrong {100 * count.wrong / count.n:6.3f} %  at 0.99 {count.sure_wrong:3d}"
    )
    if count.stated is not None:
        text += f" (stated {count.stated:4.1f})"
    if count.judge is not None:
        j = count.judge
        text += (
            f"  judge: named {100 * j.named / count.n:5.1f} %  "
            f"wrong {100 * j.wrong / count.n:6.3f} %  "
            f"wrong by ours alone {j.ours_alone}, by the judge alone {j.judge_alone}"
        )
    return text


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--number", type=int, default=5000, help="readings a row, at least")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    start = time.monotonic()
    for row in ROWS:
        count = run(row, args.number, args.seed)
        print(line(count), flush=True)
        worst = ", ".join(f"{pair} ({n})" for pair, n in count.pairs.most_common(4))
        if worst:
            print(f"      wrong: {worst}")
    shares = common_sizes(args.seed)
    named = sum(share >= 0.5 for share in shares.values())
    print(
        f"common sizes by caliper, leaf and --form: {named} of {len(shares)} named in most "
        f"readings; {100 * sum(shares.values()) / len(shares):.1f} % of all readings"
    )
    never = [f"{name} {100 * share:.0f} %" for name, share in shares.items() if share < 0.5]
    print(f"      open: {', '.join(never)}")
    print(f"{time.monotonic() - start:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
