"""Figures of two runs beside each other: what became slower than their noise."""

from __future__ import annotations

import statistics
from collections.abc import Mapping
from dataclasses import asdict, dataclass

#: Least difference that is called one, as a share: another build of a library moves as much.
LEAST = 0.05
#: How many times the noise of both medians together a difference has to be.
TIMES = 3.0
#: Standard deviation of a normal distribution over the median of its absolute deviations.
_MAD = 1.4826


@dataclass(frozen=True, kw_only=True)
class Row:
    """One figure: the median of its runs, and the standard uncertainty of that median.

    ``low`` and ``high`` are the least and the largest run.
    """

    ratio: float
    noise: float
    low: float
    high: float
    runs: int

    def as_json(self) -> dict[str, float]:
        """Return it as it is stored, with four digits."""
        return {k: float(f"{v:.4g}") if k != "runs" else v for k, v in asdict(self).items()}


def row_of(ratios: list[float]) -> Row:
    """Return the figure that several runs come to.

    A run may be disturbed by others at work on the machine, so that its noise is taken from the
    median of the deviations; the median of n runs is known 1.25 / sqrt n times as well as one.
    """
    middle = statistics.median(ratios)
    deviation = _MAD * statistics.median(abs(r - middle) for r in ratios)
    return Row(
        ratio=middle,
        noise=1.25 * deviation / len(ratios) ** 0.5,
        low=min(ratios),
        high=max(ratios),
        runs=len(ratios),
    )


def change(now: Row, before: Row) -> tuple[float, float]:
    """Return a figure's change as a share of the stored one, and how large noise may make it."""
    noise = TIMES * (now.noise**2 + before.noise**2) ** 0.5 / before.ratio
    return now.ratio / before.ratio - 1, max(noise, LEAST)


def slower(now: Mapping[str, Row], before: Mapping[str, Row]) -> list[str]:
    """Return a line for each figure that rose by more than noise explains."""
    lines = []
    for name, row in now.items():
        if name not in before:
            continue
        by, noise = change(row, before[name])
        if name.startswith("gain"):
            by = -by
        if by > noise:
            lines.append(
                f"WORSE by {100 * by:.0f} % (noise {100 * noise:.0f} %): {name}, "
                f"{before[name].ratio:.2f} -> {row.ratio:.2f}"
            )
    return lines


def table(now: Mapping[str, Row], before: Mapping[str, Row], aims: Mapping[str, str]) -> str:
    """Return the figures as lines: now, spread, as stored, the change and its noise, the aim."""
    wide = max(map(len, now), default=0)
    lines = [f"{'':{wide}}    now   least-largest   stored   change (noise)   aim"]
    for name, row in now.items():
        line = f"{name:{wide}} {row.ratio:6.2f} {row.low:7.2f} -{row.high:6.2f}"
        if name in before:
            by, noise = change(row, before[name])
            line += f"  {before[name].ratio:6.2f}  {100 * by:+5.0f} % ({100 * noise:2.0f} %)"
        else:
            line += f"  {'':6}  {'':14}"
        lines.append(f"{line}   {aims.get(name, '')}")
    return "\n".join(lines)
