"""Metals at random: base colours and roughness by eye, each part a little different."""

from __future__ import annotations

from typing import Any

import numpy as np

#: Base colour of reflection and roughness. Brass and chromium by their optical constants (see
#: samples.scene); the others' tints and all roughness are chosen by eye.
METALS: dict[str, tuple[str, tuple[float, float, float], float]] = {
    "brass": ("brass", (0.92, 0.92, 0.92), 0.13),
    "steel": ("Cr", (0.9, 0.9, 0.9), 0.10),
    "dull": ("Cr", (0.62, 0.61, 0.60), 0.30),
    "stainless": ("Cr", (0.97, 0.97, 0.96), 0.15),
    "zinc": ("Al", (0.72, 0.74, 0.78), 0.20),
    "yellow zinc": ("Al", (0.74, 0.62, 0.32), 0.20),
    "nickel": ("Cr", (0.97, 0.91, 0.82), 0.08),
}
BRASS = {
    "eta": {"type": "rgb", "value": [0.444, 0.527, 1.094]},
    "k": {"type": "rgb", "value": [3.695, 2.765, 1.829]},
}
NAMES = (*METALS, "black oxide")


def metal(name: str, rng: np.random.Generator) -> dict[str, Any]:
    """Return the renderer's description: colour varied by 10 %, roughness by 0.8 to 1.25."""
    rough = float(rng.uniform(0.8, 1.25))
    tint = rng.uniform(0.9, 1.1) * rng.normal(1.0, 0.015, 3)
    if name == "black oxide":
        dark = {"type": "rgb", "value": (0.03 * tint).tolist()}
        return {
            "type": "roughplastic",
            "alpha": 0.3 * rough,
            "int_ior": 1.4,
            "diffuse_reflectance": dark,
        }
    of, colour, alpha = METALS[name]
    shine = {"type": "rgb", "value": np.minimum(np.array(colour) * tint, 1.0).tolist()}
    out: dict[str, Any] = {
        "type": "roughconductor",
        "alpha": alpha * rough,
        "specular_reflectance": shine,
    }
    return out | (BRASS if of == "brass" else {"material": of})


def plastic(rng: np.random.Generator) -> dict[str, Any]:
    """Return a card's printed surface, any colour from dark to light."""
    value = float(np.exp(rng.uniform(np.log(0.02), np.log(0.5)))) * rng.uniform(0.4, 1.0, 3)
    return {
        "type": "roughplastic",
        "alpha": float(rng.uniform(0.1, 0.25)),
        "diffuse_reflectance": {"type": "rgb", "value": value.tolist()},
    }
