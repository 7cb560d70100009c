"""``python -m pitchcam``: the command line."""

from __future__ import annotations

from pitchcam.start import main

main()
