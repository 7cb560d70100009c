"""Where the measurement ends: photos with one dial turned at a time, and what is answered.

The photos are made by something other than the measurement's own model: the shadow of a helicoid
as the union of its sections (``tests.drawn_photo``), developed as a phone does (``tests.fresh``),
and the path-traced samples made worse. ``python -m tests.envelope`` keeps the rows; the docs draw
their curves from what is kept.
"""
