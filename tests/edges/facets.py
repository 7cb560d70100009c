"""Light off a rough cylinder seen edge-on over a lit panel, summed over its facets.

Slopes of the facets follow Beckmann's distribution, facets that hide one another Smith's shadowing
(the rational approximation by Walter and others, 2007; from memory), and each mirrors by Fresnel's
formulas, here for chromium (n = 3.1, k = 3.3; from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
CHROMIUM = (3.1, 3.3)
#: Light beside the panel, and nodes of the sum over slopes, each way.
BESIDE, NODES = 0.08, 41


def fresnel(cosine: Values) -> Values:
    """Return the reflectance of chromium, both polarisations averaged."""
    n, k = CHROMIUM
    sine2 = 1 - cosine**2
    first = n * n - k * k - sine2
    both = np.sqrt(first**2 + 4 * n * n * k * k)
    a = np.sqrt((both + first) / 2)
    s = (both + cosine**2 - 2 * a * cosine) / (both + cosine**2 + 2 * a * cosine)
    up, down = cosine**2 * both + sine2**2, 2 * a * cosine * sine2
    out: Values = s * (1 + (up - down) / (up + down)) / 2
    return out


def unhidden(cosine: Values, slopes: float) -> Values:
    """Return the share of facets that a ray at an angle to the normal meets unhidden."""
    x = cosine / (slopes * np.sqrt(np.maximum(1 - cosine**2, 1e-18)))
    share = (3.535 * x + 2.181 * x * x) / (1 + 2.276 * x + 2.577 * x * x)
    out: Values = np.where(x < 1.6, share, 1.0)
    return out


def mirrored(grazing: Values, slopes: float, reach: float) -> Values:
    """Return the light at grazing angles (n,) rad; the panel's is 1.

    ``reach`` is the tangent up to which the panel is lit beside the edge; the view is from above.
    """
    node, weight = np.polynomial.hermite.hermgauss(NODES)
    along, across = np.meshgrid(slopes * node, slopes * node)
    out = []
    for a in np.maximum(grazing, 1e-4):
        normal, tangent = np.array([np.cos(a), 0, np.sin(a)]), np.array([-np.sin(a), 0, np.cos(a)])
        facet = normal - along[..., None] * tangent - across[..., None] * np.array([0, 1.0, 0])
        facet /= np.linalg.norm(facet, axis=-1, keepdims=True)
        seen = facet[..., 2]
        ray = 2 * seen[..., None] * facet - np.array([0, 0, 1.0])
        leaves, down = ray @ normal, -ray[..., 2]
        lit = (down > 0) & (np.abs(ray[..., :2]) < reach * down[..., None]).all(axis=-1)
        met = np.where((seen > 0) & (leaves > 0), seen / (facet @ normal) / np.sin(a), 0.0)
        met *= unhidden(np.sin(a), slopes) * unhidden(np.maximum(leaves, 1e-9), slopes)
        light = fresnel(np.clip(seen, 1e-6, 1.0)) * np.where(lit, 1.0, BESIDE)
        out.append(float((np.outer(weight, weight) / np.pi * met * light).sum()))
    return np.array(out)


def across(x: Values, radius: float, slopes: float, reach: float) -> Values:
    """Return the light over places (m,) across an edge at 0, positive outward, in pixels."""
    angle = np.arccos(np.clip(1 + np.minimum(x, 0.0) / radius, -1.0, 1.0))
    nodes = float(angle.max()) * np.linspace(0.0, 1.0, 80) ** 2
    out: Values = np.where(x > 0, 1.0, np.interp(angle, nodes, mirrored(nodes, slopes, reach)))
    return out
