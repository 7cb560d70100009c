"""Which errors of one photo come again in the next: what an average cannot take away.

A line of a budget stands for an input that is not known exactly. Where another photo has the same
input (the same pin, the same lens, the same metal), both err together, and no number of photos
helps; what is new with each photo (noise, how the phone was held) averages. ``lasting`` is the
share of a line's variance that comes again, ``owner`` what has to be the same for that.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from pitchcam.frozen import dataclass
from pitchcam.reference_kinds import U_CALIPER_MM, U_PIN_MM

Owner = Literal["photo", "camera", "reference", "part"]


@dataclass(frozen=True, kw_only=True)
class Sharing:
    """Whose error a budget line is, and how much of its variance comes again while that is there.

    ``followed`` says that how the input works is known from the geometry (a focal length through
    the rise over the reference), so that photos in which it works differently tell of the input
    itself. Otherwise only the error's size is known: then the smaller of two errors is common to
    both, and nothing is gained by playing one against the other.

    ``turns`` says that the input has a direction along the part, and turns with it.
    """

    owner: Owner
    lasting: float
    followed: bool = False
    turns: bool = False


#: A lens that focuses moves, and a stabilised one shifts: its focal length repeats to this share
#: from photo to photo (common practice, no source: 1 to 2 %).
U_FOCAL_AGAIN = 0.01

#: By the source of a budget's line. Measured on drawn black parts (24 parts, three photos each) are
#: the height of the axis, 0.61 +- 0.05, rim along the thread, -0.03 +- 0.13, and edge and rim, 0.87
#: +- 0.03. The others are judgement: all of it where the same surface under the same light is
#: modelled again, half where a photo's own evidence and a lasting assumption go into it alike.
SHARING: dict[str, Sharing] = {
    # How much of it is the object's size goes with the object: see reference_again.
    "scale of the reference": Sharing(owner="reference", lasting=1.0),
    # The radius that the part rests on is its own; the pose is what this photo shows of it.
    "height of the axis": Sharing(owner="part", lasting=0.6),
    # See U_FOCAL_AGAIN: what repeats is set by the line's own size.
    "focal length": Sharing(owner="camera", lasting=0.9, followed=True),
    # Every photo is cropped anew.
    "principal point along": Sharing(owner="photo", lasting=0.0),
    "principal point across": Sharing(owner="photo", lasting=0.0),
    "principal point along, either way": Sharing(owner="photo", lasting=0.0),
    "principal point across, either way": Sharing(owner="photo", lasting=0.0),
    # A hand holds the phone anew.
    "tilt of the camera": Sharing(owner="photo", lasting=0.0),
    # One lens bends alike, but the part lies elsewhere in the picture.
    "lens distortion": Sharing(owner="camera", lasting=0.5),
    # Another exposure is another one.
    "rows of the picture": Sharing(owner="photo", lasting=0.0),
    "inclination of the part": Sharing(owner="part", lasting=0.5, turns=True),
    # Metal and panel.
    "edge and rim": Sharing(owner="part", lasting=0.9),
    # Edges and form of the same crests, and this photo's noise.
    "crests that were read": Sharing(owner="part", lasting=0.8),
    # Fitted anew to each photo's own light.
    "light beside the part": Sharing(owner="photo", lasting=0.0),
    # But for the taper, see TAPER_AGAIN.
    "rim along the thread": Sharing(owner="part", lasting=0.1),
    "ridges at the ends": Sharing(owner="part", lasting=1.0),
    "bent flanks": Sharing(owner="part", lasting=1.0),
    # Which crest is a taper's first is judged anew in each photo.
    "place on the taper": Sharing(owner="photo", lasting=0.0),
    "motion along the thread": Sharing(owner="photo", lasting=0.0),
    "panel close behind the part": Sharing(owner="part", lasting=1.0),
    "light on the flanks": Sharing(owner="part", lasting=1.0),
    # The part's own roots, under the blur of this photo.
    "blur in the roots": Sharing(owner="part", lasting=0.5),
    "view along the thread": Sharing(owner="part", lasting=1.0),
    "edge noise": Sharing(owner="photo", lasting=0.0),
    # Crests, roots and roughness of this part.
    "form of the model": Sharing(owner="part", lasting=1.0),
}
#: A term that nobody filed here is taken to come again whole.
UNFILED = Sharing(owner="part", lasting=1.0)

#: What of a reference's own scale comes again whole with the same object, its size: standard
#: uncertainty in mm, for a disc relative (what its rim leaves, that of its module).
U_SIZE_MM = {"pin": U_PIN_MM, "jaws": U_CALIPER_MM}
U_DISC = 0.0004
#: Of what is left, how a photo shows the object's edges, the share that comes again with it: the
#: metal and the panel are the same, place, heading and tilt are not (judgement: black pins drawn
#: in 48 photos of 16 parts had -0.02 +- 0.11 of it in common, but mirror nothing).
EDGES_AGAIN = 0.2
#: Of a reference's whole variance, the share that comes again with any object of the kind, for how
#: such edges mirror and are placed: any two pins, discs or jaws of 560 rendered threads had 0.00
#: to 0.06 +- 0.03 of the pitch's error in common, and under one lamp it will be more. All cards are
#: of one size; a reading by caliper is one for all.
ANY_OBJECT = {"pin": 0.1, "disc": 0.1, "jaws": 0.1, "card": 0.7, "major": 0.0, "sheet": 0.5}
#: The share with the same object, of those whose size is not one number here (judgement).
SAME_OBJECT = {"card": 0.7, "major": 1.0, "sheet": 1.0}
#: Of the taper's share in how flanks' edges differ along the thread, what comes again: the light
#: along a thread, which its body screens at one end, is its own (judgement by one rendered part of
#: 24, whose flanks read 0.005 to 0.009 too steep from either end in three photos, all alike). The
#: pitch has hardly any of it in common, see below.
TAPER_AGAIN = 1.0
#: Of the angle's noise, the share that is no noise: what the model of mirrored light leaves in the
#: flanks of a metal under a panel. Any two of 727 rendered threads, of other metals, phones and
#: panels, have 0.34 +- 0.02 of the angle's error in u in common (``python -m tests.several
#: --kinds``), of this line about as much; of black parts, drawn, -0.03 +- 0.10.
ANGLE_AGAIN = 0.3


def reference_again(source: str, stated_mm: float | None, u_scale: float) -> tuple[float, float]:
    """Return what of a reference's variance comes again: with the same object, with any such.

    Parameters
    ----------
    source, stated_mm
        The kind of reference and its size.
    u_scale
        Relative standard uncertainty of the scale that it gives.
    """
    any_such = ANY_OBJECT.get(source, 0.0)
    if source in SAME_OBJECT:
        return SAME_OBJECT[source], any_such
    size = U_DISC if source == "disc" else U_SIZE_MM.get(source, np.inf) / (stated_mm or 1.0)
    if not np.isfinite(size):
        return 1.0, any_such  # a kind that nobody filed here
    whole = min((size / u_scale) ** 2, 1.0) if u_scale > 0 else 1.0
    return max(whole + EDGES_AGAIN * (1.0 - whole), any_such), any_such


def sharing_of(line_source: str, focal_share: float | None) -> Sharing:
    """Return how a budget's line comes again.

    Parameters
    ----------
    line_source
        The line's ``source``.
    focal_share
        Relative standard uncertainty of the focal length, None where not known.
    """
    filed = SHARING.get(line_source, UNFILED)
    if line_source == "focal length" and focal_share:
        again = max(0.0, 1.0 - (U_FOCAL_AGAIN / focal_share) ** 2)
        return Sharing(owner="camera", lasting=again, followed=True)
    return filed
