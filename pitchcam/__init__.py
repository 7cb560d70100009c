"""pitchcam: names an unmarked screw thread from a backlit phone photo, and finds what joins it.

The public calls are imported on first use, so that ``import pitchcam`` stays fast.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

#: Revision of the measuring core: all stages from photo to pipeline, and the series' tables.
#: Raise it with every change there that can change a figure, a name or a warning of any photo: a
#: record then measures its photos anew instead of giving answers of the older core.
CORE_REVISION = 8

_PUBLIC = {
    "identify": "pitchcam.pipeline.answer",
}

__all__ = ["CORE_REVISION", "__version__", *_PUBLIC]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        module = importlib.import_module(_PUBLIC[name])
        # Kept, because importing a submodule of the same name would take its place.
        value = globals()[name] = getattr(module, name)
        return value
    raise AttributeError(f"module 'pitchcam' has no attribute {name!r}")
