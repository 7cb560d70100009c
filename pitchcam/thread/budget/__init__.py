"""The uncertainty budget of one thread (JCGM 100): its terms, their contributions and correlation.

A term is a function of the measured shape and its place that returns a :class:`BudgetLine`, or
None where it does not apply; :data:`TERMS` lists them, and a new one is a function and its row. A
line's contributions are the sensitivity coefficients times the standard uncertainty of the term's
input, with their signs: within one correlated term the quantities move together. What the budget
leaves out: a part that is bent, out of round or not a thread of one pitch; a reference that is not
what was stated.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from pitchcam.frozen import replace
from pitchcam.records import BudgetLine
from pitchcam.thread.budget import crests, edges, fit, pose, rows, scale
from pitchcam.thread.budget.combine import combined, relative_u_scale
from pitchcam.thread.budget.geometry import Geometry, Measured, quantity, values
from pitchcam.thread.budget.read import by_own_crests
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape

Term = Callable[[ThreadShape, Geometry], BudgetLine | None]

SCALE_TERMS: tuple[Callable[[Measured, Geometry], BudgetLine | None], ...] = (
    scale.reference,
    scale.axis_height,
    scale.focal_length,
    scale.principal_along,
    scale.principal_across,
    scale.principal_along_either,
    scale.principal_across_either,
    scale.tilt,
    scale.distortion,
)
#: All terms, those of the scale first, in the order in which a budget is shown.
TERMS: tuple[Term, ...] = (
    *SCALE_TERMS,
    pose.inclination,
    rows.moved_rows,
    edges.edge_and_rim,
    edges.light_beside,
    edges.rim_along,
    edges.end_ridges,
    edges.slanted_view,
    edges.blurred_roots,
    edges.bent_flanks,
    edges.flank_light,
    edges.motion,
    edges.near_panel,
    fit.edge_noise,
    fit.form,
)


#: Those of a thread whose grooves are hidden.
CREST_TERMS: tuple[Callable[[CrestShape, Geometry], BudgetLine | None], ...] = (
    *SCALE_TERMS,
    crests.inclination,
    rows.moved_rows,
    crests.edges,
    crests.flank_light,
    crests.bent_flanks,
    crests.scatter,
    crests.form,
)


def budget(shape: Measured, geometry: Geometry) -> tuple[BudgetLine, ...]:
    """Return the lines of a thread's budget, those of the scale first."""
    if isinstance(shape, CrestShape):
        lines = [term(shape, geometry) for term in CREST_TERMS]
    else:
        lines = [term(shape, geometry) for term in TERMS]
    measured = values(shape)
    own = tuple(_of_measured(line, measured) for line in lines if line is not None)
    return by_own_crests(own, measured) if geometry.read_crests else own


def _of_measured(line: BudgetLine, measured: Mapping[str, float]) -> BudgetLine:
    """Leave out what is contributed to quantities that were not measured."""
    own = {k: u for k, u in line.contributions.items() if k in measured}
    return replace(line, contributions=own)


__all__ = [
    "CREST_TERMS",
    "TERMS",
    "Geometry",
    "budget",
    "combined",
    "quantity",
    "relative_u_scale",
    "values",
]
