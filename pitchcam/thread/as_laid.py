"""A thread measured a second time, seen as it lies."""

from __future__ import annotations

from pitchcam.edges.sight import Sight
from pitchcam.thread.measure import ThreadShape, measure_thread

#: Looked at again as it lies, a thread's flanks scatter no more than before: where they scatter by
#: more than so many times as much, the fit went astray, off sound ridges to a run-out (judgement:
#: a tapered stud of four turns came to 1.9, others to 1.0).
MOST_WORSE = 1.5


def measure_as_laid(laid: ThreadShape, sight: Sight) -> ThreadShape:
    """Measure a thread again, seen as it lies; keep what was measured where the fit goes astray.

    Which points are straight, and where the light has its edges, goes with the pose.
    """
    again = measure_thread(sight, laid.section.winding.starts)
    astray = again.section.fit.rms_mm > MOST_WORSE * laid.section.fit.rms_mm
    return laid if astray else again
