"""pitchcam: names an unmarked screw thread from a backlit phone photo, and finds what joins it.

The public calls are imported on first use, so that ``import pitchcam`` stays fast.

>>> import pitchcam
>>> "identify" in dir(pitchcam)
True
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from pitchcam.version import __version__

if TYPE_CHECKING:
    from pitchcam.errors import (
        InputError,
        PitchcamError,
        ReadingError,
        RefusedError,
        UnreadableError,
        UsageError,
    )
    from pitchcam.flags import FLAGS
    from pitchcam.joining.mating.ends import parse_end
    from pitchcam.joining.mating.mate import mate
    from pitchcam.match.by_hand import name_readings
    from pitchcam.match.naming import name_thread
    from pitchcam.match.readings import Typed
    from pitchcam.photo import Photo, load_photo
    from pitchcam.pipeline.answer import identify
    from pitchcam.records import (
        Flag,
        Measurement,
        Quantity,
        ScaleSpec,
        ThreadReading,
        ThreadResult,
        Verdict,
    )
    from pitchcam.report import annotate, report_html, text
    from pitchcam.series import ThreadSize, find, load_series
    from pitchcam.several import identify_several

#: Revision of the measuring core: all stages from photo to pipeline, and the series' tables.
#: Raise it with every change there that can change a figure, a name or a warning of any photo: a
#: record then measures its photos anew instead of giving answers of the older core.
CORE_REVISION = 132

#: What a program needs -> the module that has it.
_PUBLIC = {
    # Photo in, document out.
    "identify": "pitchcam.pipeline.answer",
    "identify_several": "pitchcam.several",
    "load_photo": "pitchcam.photo",
    "Photo": "pitchcam.photo",
    "ScaleSpec": "pitchcam.records",
    "Measurement": "pitchcam.records",
    "ThreadResult": "pitchcam.records",
    "ThreadReading": "pitchcam.records",
    "Verdict": "pitchcam.records",
    "Quantity": "pitchcam.records",
    "Flag": "pitchcam.records",
    "FLAGS": "pitchcam.flags",
    # The same in words and pictures.
    "text": "pitchcam.report",
    "annotate": "pitchcam.report",
    "report_html": "pitchcam.report",
    # Names without a photo; the series; what seals in what.
    "Typed": "pitchcam.match.readings",
    "name_readings": "pitchcam.match.by_hand",
    "name_thread": "pitchcam.match.naming",
    "find": "pitchcam.series",
    "load_series": "pitchcam.series",
    "ThreadSize": "pitchcam.series",
    "parse_end": "pitchcam.joining.mating.ends",
    "mate": "pitchcam.joining.mating.mate",
    # Every error that is raised on purpose is a PitchcamError.
    "PitchcamError": "pitchcam.errors",
    "UsageError": "pitchcam.errors",
    "InputError": "pitchcam.errors",
    "UnreadableError": "pitchcam.errors",
    "ReadingError": "pitchcam.errors",
    "RefusedError": "pitchcam.errors",
}

__all__ = [
    "CORE_REVISION",
    "FLAGS",
    "Flag",
    "InputError",
    "Measurement",
    "Photo",
    "PitchcamError",
    "Quantity",
    "ReadingError",
    "RefusedError",
    "ScaleSpec",
    "ThreadReading",
    "ThreadResult",
    "ThreadSize",
    "Typed",
    "UnreadableError",
    "UsageError",
    "Verdict",
    "__version__",
    "annotate",
    "find",
    "identify",
    "identify_several",
    "load_photo",
    "load_series",
    "mate",
    "name_readings",
    "name_thread",
    "parse_end",
    "report_html",
    "text",
]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        module = importlib.import_module(_PUBLIC[name])
        # Kept, because importing a submodule of the same name would take its place.
        value = globals()[name] = getattr(module, name)
        return value
    raise AttributeError(f"module 'pitchcam' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
