"""What the metal of a part mirrors, as far as it is known."""

from __future__ import annotations

from dataclasses import replace

from pitchcam.frozen import dataclass


@dataclass(frozen=True, kw_only=True)
class Known:
    """A number, its standard uncertainty, and where both come from."""

    value: float
    u: float
    source: str


@dataclass(frozen=True, kw_only=True)
class Metal:
    """A part's surface: each estimator takes one as prior and returns it better known.

    ``loss`` is that of :func:`pitchcam.light.esf.reflected`, ``roughness`` sqrt 2 times the
    standard deviation of its facets' slopes, with a relative u, ``share`` that of the light that is
    mirrored at all.
    """

    loss: Known
    roughness: Known
    share: Known

    def elsewhere(self, u_loss: float, u_roughness: float, u_share: float) -> Metal:
        """Return what it tells of another place on the same part, where it may differ so far."""
        return Metal(
            loss=replace(self.loss, u=u_loss),
            roughness=replace(self.roughness, u=u_roughness),
            share=replace(self.share, u=u_share),
        )


#: A part of which nothing has been seen yet.
UNSEEN = Metal(
    loss=Known(
        value=0.5,
        u=0.2,
        source="Fresnel's formulas: zinc and aluminium 0.4, brass in blue 0.6, iron 0.75-0.8",
    ),
    roughness=Known(
        value=0.12,
        u=0.05 / 0.12,
        source="turned, rolled and plated surfaces (common practice, no source)",
    ),
    share=Known(value=0.9, u=0.2, source="near nothing for a blackened or dirty part (judgement)"),
)
