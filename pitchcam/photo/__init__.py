"""Opening photos: the only place that reads image files.

Only :mod:`pitchcam.photo.load` touches the disk; the other modules take bytes or arrays.
"""

from pitchcam.files import MAX_MEGAPIXELS, MOST_BYTES
from pitchcam.photo.linear import light_planes, linear_table
from pitchcam.photo.load import load_photo
from pitchcam.photo.record import Photo

__all__ = ["MAX_MEGAPIXELS", "MOST_BYTES", "Photo", "light_planes", "linear_table", "load_photo"]
