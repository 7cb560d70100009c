"""A thread that hidden flanks leave open: its candidates' forms are held against its outline."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import numpy as np

from pitchcam.records import ThreadReading, Verdict
from pitchcam.series import find
from pitchcam.series.ridges import ridge_shares
from pitchcam.thread.aslant.weigh import weigh_forms
from pitchcam.thread.crest_lines import CrestShape


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
