"""The budget of threads in a photo whose scale is a caliper's reading over a thread's crests.

The crests' width in the picture is what the reading is laid on: crests that are seen too far out
make every length of the photo too short by that share. The diameter over the crests that were read
is the reading, whatever the picture shows of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from pitchcam.records import BudgetLine
from pitchcam.thread.budget import crests, edges, fit
from pitchcam.thread.budget.geometry import LENGTHS, Geometry, Measured
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape

#: The line of what the picture leaves open of the crests that were read.
SOURCE = "crests that were read"
#: The input by whose name the picture's threads share the reading's own error.
READ = "reference"
#: The terms that move the crests of a thread wherever it lies in the picture.
_OF_CRESTS: tuple[Callable[[ThreadShape, Geometry], BudgetLine | None], ...] = (
    edges.edge_and_rim,
    edges.light_beside,
    edges.motion,
    edges.near_panel,
    fit.edge_noise,
    fit.form,
)
_OF_CRESTS_ALONE: tuple[Callable[[CrestShape, Geometry], BudgetLine | None], ...] = (
    crests.edges,
    crests.scatter,
    crests.form,
)
_ANYWHERE = Geometry(
    height_mm=0.0,
    u_scale=0.0,
    rise_mm=0.0,
    u_rise_mm=0.0,
    apart_mm=0.0,
    corner_share=0.0,
    corner_share_reference=0.0,
)


def u_crests_mm(shape: Measured) -> float:
    """Return what the picture leaves open of the diameter over a thread's crests, mm."""
    if isinstance(shape, CrestShape):
        lines = [term(shape, _ANYWHERE) for term in _OF_CRESTS_ALONE]
    else:
        lines = [term(shape, _ANYWHERE) for term in _OF_CRESTS]
    own = [line.contributions.get("major_mm", 0.0) for line in lines if line is not None]
    return float(np.linalg.norm(own))


def by_own_crests(
    lines: Sequence[BudgetLine], measured: Mapping[str, float]
) -> tuple[BudgetLine, ...]:
    """Return the budget of the thread whose crests were read.

    Parameters
    ----------
    lines
        Its budget as if its scale were another's.
    measured
        Its quantities.

    Notes
    -----
    What moves the crests alone makes all other lengths wrong by its share, by the other sign; what
    moves them together with flanks and roots leaves of those what they differ by.
    """
    major = measured.get("major_mm", 0.0)
    if major <= 0:
        return tuple(lines)
    ratios = {k: measured[k] / major for k in LENGTHS if k != "major_mm" and k in measured}
    out: list[BudgetLine] = []
    alone, of_pitch = 0.0, 0.0
    for line in lines:
        own = dict(line.contributions)
        moved = own.pop("major_mm", 0.0)
        if line.of_scale or moved == 0.0:
            out.append(line)
            continue
        # A line that moves the pitch by nothing but its crests is the scale's there.
        goes = [k for k in ratios if line.correlated and (k in own or k != "pitch_mm")]
        of_pitch += 0.0 if "pitch_mm" in goes else moved**2
        alone += 0.0 if line.correlated else moved**2
        own |= {k: own.get(k, 0.0) - ratios[k] * moved for k in goes}
        out.append(replace(line, contributions=own))
    u = {k: np.sqrt(of_pitch if k == "pitch_mm" else alone) for k in ratios}
    shares = {k: -float(ratio * u[k]) for k, ratio in ratios.items()}
    return (*out, BudgetLine(source=SOURCE, of_scale=True, contributions=shares))
