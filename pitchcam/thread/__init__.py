"""Threads: pitch, profile and taper, how a part lies, and the uncertainty budget."""
