"""Naming by probability: a reading against the real parts of every series."""

from pitchcam.match.naming import Posterior, name_thread, posterior

__all__ = ["Posterior", "name_thread", "posterior"]
