"""Where an edge truly lies: all that places an edge in the photo, by the laws of its light.

- Straight edges of a photo together: :mod:`~pitchcam.edges.straight` finds them (``lines``,
  ``arcs``) and fits them by one blur, panel and metal (``rims``); or each by a band of its own
  (``bands``); one that bends tells of the lens (``bend``).
- A thread, seen as a ``sight`` has it. Its flanks: ``flank_points`` takes them from the outline,
  ``section`` makes them one form (``unfold``, ``flank_fit``), ``flank_light`` traces what they
  mirror on that form as a ``helicoid``, ``flank_place`` places them all at once, and ``flanks``
  moves the points there. Its crests and roots: ``crests``, by the forms of ``tip_form``.
- Upright walls of flat references: ``walls``.
"""
