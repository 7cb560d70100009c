"""The standard thread series: sizes, limits, uses, drills."""

from pitchcam.series.catalogue import find, load_series, load_uses, same_geometry
from pitchcam.series.records import Limits, ThreadSize, Use

__all__ = ["Limits", "ThreadSize", "Use", "find", "load_series", "load_uses", "same_geometry"]
