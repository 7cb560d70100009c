"""Where an edge truly lies.

Straight edges of a photo together: :mod:`~pitchcam.edges.straight` finds them (``lines``, ``arcs``)
and fits them by one blur, panel and metal (``rims``), or each by a band of its own (``bands``).
Flanks of a thread: ``flank_light`` traces what they mirror on a ``helicoid``, ``flank_place``
places them all at once. Crests and roots, and the walls of flat references, are fitted where
their form is known, in ``thread.crests``, ``scale.disc`` and ``scale.jaws``, by the laws of
:mod:`pitchcam.light`.
"""
