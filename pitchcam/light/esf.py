"""How the camera draws an edge: blur in linear light, the tone curve, then sharpening."""

from __future__ import annotations

import functools
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.light.pixels import USUAL_PX, fall

Values = NDArray[np.float64]
#: Single precision for pictures, double for profiles.
Light = TypeVar("Light", NDArray[np.float32], NDArray[np.float64])


@dataclass(frozen=True, kw_only=True)
class Spread:
    """How the camera draws a sharp edge.

    ``blur_px`` is the standard deviation of the lens's and sensor's blur, in linear light;
    ``gain`` and ``radius_px`` are those of the sharpening c + gain (c - blurred c) that the phone
    applies to coded values. ``u_blur_px``, ``u_gain`` and ``u_radius_px`` are the standard
    uncertainties.
    """

    blur_px: float
    gain: float
    radius_px: float
    u_blur_px: float
    u_gain: float = 0.3
    u_radius_px: float = 0.4


#: What phones do when nothing in the photo tells: a blur near one pixel after demosaicing and a
#: mild sharpening over 1-2 px (common practice, no source); u as wide as what is met.
DEFAULT_SPREAD = Spread(blur_px=USUAL_PX, gain=0.25, radius_px=1.6, u_blur_px=0.2)


def encode(light: Light) -> Light:
    """Code linear light 0..1 by the sRGB curve (IEC 61966-2-1); above 1 it clips."""
    # In place, since fresh memory for a picture costs more than what is computed in it.
    out: Light = np.clip(light, 0.0, 1.0)
    straight = out <= 0.0031308
    low = out[straight] * 12.92
    out **= 1 / 2.4
    out *= 1.055
    out -= 0.055
    out[straight] = low
    return out


def encode_slope(light: Values) -> Values:
    """Return the derivative of :func:`encode`; 0 where it clips."""
    inside = np.clip(light, 0.0031308, 1.0)
    slope = np.where(light <= 0.0031308, 12.92, 1.055 / 2.4 * inside ** (1 / 2.4 - 1))
    out: Values = np.where((light < 0) | (light > 1), 0.0, slope)
    return out


def decode(code: Light) -> Light:
    """Undo :func:`encode` for values 0..1 and a little beyond."""
    out: Light = np.maximum(code, 0.0)
    straight = out <= 0.04045
    low = out[straight] / 12.92
    out += 0.055
    out /= 1.055
    out **= 2.4
    out[straight] = low
    return out


def smoothing(step_px: float, radius_px: float, count: int) -> Values:
    """Return the (count, count) matrix that blurs an evenly sampled profile by a Gaussian."""
    i = np.arange(count)
    k = np.exp(-0.5 * ((i[:, None] - i[None, :]) * step_px / radius_px) ** 2)
    out: Values = k / k.sum(axis=1, keepdims=True)
    return out


#: Half loss angle of the mirrored light, radians: with it 1 - L a / (a + GRAZING) follows Fresnel's
#: formulas (both polarisations averaged) to 0.02 up to a = 0.16 for iron (n = 2.9, k = 3.1), with
#: L = 0.8, and alike for other metals with a smaller L. A panel well behind the part is mirrored
#: no further; beyond, metals reflect more than this says (by 0.16 at a = 0.5).
GRAZING = 0.12
_STEPS = 6


def reflected(angle: Values, loss: float | Values) -> Values:
    """Return the share of light that a metal mirrors at grazing angles (radians)."""
    out: Values = 1 - loss * angle / (angle + GRAZING)
    return out


def _falls(x: Values) -> Values:
    """Return the changes along the first axis, from the last one to nothing."""
    out = np.negative(x)
    out[:-1] += x[1:]
    return out


def edge_light(
    across: Values,
    blur: float | Values,
    position: Values,
    radius: Values,
    angle: Values,
    loss: float,
    soft: float,
    polish: float = 1.0,
) -> tuple[Values, Values]:
    """Return the fall 1 -> 0 of the light across edges with a mirrored rim, before coding.

    With it come its changes by the blur, the angle, the loss, the softness, the polish and the
    position, in this order along a first axis.

    Parameters
    ----------
    across
        Positions across the edge, pixels, positive outward, (m,).
    blur
        Standard deviation of the blur, pixels, a number or (n, 1).
    position
        Where the true edges lie, (n, 1) or a number, as the next two.
    radius
        The surface's radius of curvature in the viewing direction, pixels; 0: no rim.
    angle
        Grazing angle up to which the panel is mirrored, radians.
    loss
        L of :func:`reflected`.
    soft
        Softness (standard deviation) of the rim's inner border, as a share of its width.
    polish
        Share of the light that is mirrored where a smooth surface would; the rest is scattered
        past the panel.

    Notes
    -----
    The mirrored light falls with the depth x = r (1 - cos a) inside the edge. It is drawn as a
    stair of a few steps, each blurred, the last of them down to the part's own darkness.
    """
    # Steps at even angles: near the edge, where the light falls fastest, they lie closest.
    dimensions = np.broadcast(across, position).ndim
    share = (np.arange(_STEPS + 1.0) / _STEPS).reshape(-1, *(1,) * dimensions)
    at = angle * share
    # At the edge itself, at each step, and past the last of them.
    drop = -_falls(reflected(at, loss))
    by_angle = _falls(loss * GRAZING * share / (at + GRAZING) ** 2)
    by_loss = _falls(at / (at + GRAZING))
    middle = np.minimum(share + 0.5 / _STEPS, 1.0)
    depth = radius * (1 - np.cos(angle * middle))
    deeper = radius * np.sin(angle * middle) * middle
    spread = np.where(share < 1, blur, np.hypot(blur, soft * depth))
    off = (position - depth - across) / spread
    dark, bell, narrower = fall(off, spread)
    bell, narrower = drop * bell / spread, drop * narrower / spread
    bare, bare_bell, bare_narrower = fall((position - across) / blur, blur)

    whole = np.sum(drop * dark, axis=0)
    seen: Values = 1 - polish * whole - (1 - polish) * bare
    last = narrower[-1] / spread[-1]
    slopes = np.stack(
        [
            polish * (np.sum(narrower[:-1], axis=0) + last * blur)
            + (1 - polish) * bare_narrower / blur,
            polish
            * (
                np.sum(bell * deeper - by_angle * dark, axis=0)
                + last * soft**2 * depth[-1] * deeper[-1]
            ),
            -polish * np.sum(by_loss * dark, axis=0),
            polish * last * soft * depth[-1] ** 2,
            bare - whole,
            -polish * np.sum(bell, axis=0) - (1 - polish) * bare_bell / blur,
        ]
    )
    return seen, slopes


#: Degree of the polynomial that undoes sharpening: off by 1e-5 for a gain of 0.3, 1e-3 for 1.5.
_DEGREE = 4


@functools.lru_cache(maxsize=8)
def _inverse(gain: float) -> tuple[float, ...]:
    """Return the polynomial of what smooths that undoes sharpening by a gain."""
    inverse = np.polynomial.Chebyshev.interpolate(
        lambda smooth: 1 / (1 + gain * (1 - smooth)), _DEGREE, domain=[0, 1]
    )
    return tuple(inverse.convert(kind=np.polynomial.Polynomial).coef.real.tolist())


def unsharpen(light: NDArray[np.float32], background: float, spread: Spread) -> NDArray[np.float32]:
    """Undo the phone's sharpening of an image of relative light, (h, w).

    The filter c + g (c - G c) raises every frequency by 1 + g (1 - G(f)) >= 1, so dividing by it
    is stable and lowers noise. It was applied to coded values, and is undone there.
    """
    if spread.gain < 0.01:
        return light
    # Single precision is a thousandth of a coded step, and takes half the time.
    code = encode(np.multiply(light, background, dtype=np.float32))
    # 1 / (1 + g (1 - G)) as a polynomial of G, which is a blur and lies within 0..1: a few blurs
    # cost a third of two Fourier transforms.
    *lower, highest = _inverse(spread.gain)
    plain: NDArray[np.float32] = highest * code
    for factor in lower[::-1]:
        cv2.GaussianBlur(plain, (0, 0), spread.radius_px, dst=plain)
        cv2.scaleAdd(code, factor, plain, dst=plain)
    return np.divide(decode(plain), background, dtype=np.float32)
