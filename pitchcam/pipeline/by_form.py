"""A thread whose name is not sure: its candidates' forms are held against its outline."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import numpy as np

from pitchcam.records import ThreadReading, Verdict
from pitchcam.series import find
from pitchcam.series.ridges import ridge_shares
from pitchcam.thread.aslant.weigh import weigh_forms
from pitchcam.thread.crest_lines import CrestShape

#: Names less probable than this are held against the outline: flanks of a few pixels, or seen in
#: part, tell less of the form than the whole of it does.
SURE = 0.99


def hangs_on_form(verdict: Verdict) -> bool:
    """Whether a thread has no name yet, or none so sure that its outline could not undo it."""
    named = verdict.status == "named" and (verdict.probability or 0.0) < SURE
    return named or verdict.status == "ambiguous"


def by_form(
    reading: ThreadReading, shape: CrestShape, u_slope_rad: float, verdict: Verdict
) -> ThreadReading:
    """Return the reading with how likely the candidates' forms are, where they differ.

    An outline that determines no form leaves the reading as it is.
    """
    sizes = [find(c.designation) for c in verdict.candidates]
    names = sorted({name for size in sizes for name in ridge_shares(size)})
    if len(names) > 1:
        with suppress(np.linalg.LinAlgError):
            return replace(reading, forms=weigh_forms(shape, u_slope_rad, names))
    return reading
