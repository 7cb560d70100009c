"""Threaded regions along an axis, and the fit of pitch, profile and taper."""
