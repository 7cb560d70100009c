"""What a photo's light and camera leave in doubt."""

from __future__ import annotations

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.rims import Rims
from pitchcam.flags import flag
from pitchcam.objects.field import Field
from pitchcam.records import Flag

#: Bands of flickering light fainter than this are evened out and not told: nothing moves by them.
TOLD_SWING = 0.15


def scene_flags(rims: Rims, field: Field, camera: Camera) -> list[Flag]:
    """Return the doubts about the light and the camera, whatever the parts are."""
    flags = []
    widest = float(rims.rims_px.max()) if len(rims.rims_px) else 0.0
    if widest > 2.5:
        flags.append(
            flag("rim", f"parts mirror the light over {widest:.0f} pixels along their edges")
        )
    if rims.spread.gain > 0.55:
        flags.append(flag("halo"))
    if camera.tilt_deg > 2.5:
        flags.append(flag("tilt", f"the camera was tilted by about {camera.tilt_deg:.0f} degrees"))
    if field.clipped_share > 0.1:
        flags.append(
            flag("over-exposed", f"{100 * field.clipped_share:.0f} % of the background is clipped")
        )
    flicker = field.backdrop.flicker
    if flicker is not None and flicker.swing > TOLD_SWING:
        flags.append(
            flag(
                "flicker",
                f"the light flickers: bands {100 * flicker.swing:.0f} % darker than the brightest "
                "light lie across the picture and were evened out",
            )
        )
    stain = field.backdrop.stain
    if stain is not None:
        flags.append(
            flag(
                "stained",
                f"soft areas up to {100 * (1 - stain.darkest):.0f} % darker lie on the light and "
                "were evened out",
            )
        )
    return flags
