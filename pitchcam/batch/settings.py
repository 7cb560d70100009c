"""What a photo is measured with, and the key that says whether two measurements are the same."""

from __future__ import annotations

import hashlib
from dataclasses import asdict
from functools import cached_property
from pathlib import Path
from typing import Any

from pitchcam import CORE_REVISION
from pitchcam.files import read_whole
from pitchcam.frozen import dataclass
from pitchcam.records import Quantity, ScaleSpec, json_text

#: A profile has a kilobyte.
MOST_PROFILE_BYTES = 1_000_000
#: A maker states a compound's shrinkage to a tenth of a percent, and it grows with the cast's age
#: by as much (common practice, no source).
U_SHRINKAGE = 0.001


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Everything beside the photo itself that the result depends on."""

    scale: ScaleSpec
    cast: bool = False
    shrinkage_percent: float | None = None

    @property
    def shrinkage(self) -> Quantity | None:
        """The stated shrinkage of the cast's compound, with its uncertainty."""
        if self.shrinkage_percent is None:
            return None
        return Quantity(value=self.shrinkage_percent / 100.0, u=U_SHRINKAGE)

    @cached_property
    def text(self) -> str:
        """The settings as one line of JSON.

        The measuring core's revision is in it, so that results of two cores stay apart; a camera
        profile goes in by its content, so that a new profile under an old name measures anew.

        Raises
        ------
        InputError
            If the camera profile cannot be read.
        """
        scale: dict[str, Any] = asdict(self.scale)
        if self.scale.camera_profile is not None:
            scale["camera_profile"] = _file_digest(Path(self.scale.camera_profile))
        return json_text(
            {
                "cast": self.cast,
                "shrinkage_percent": self.shrinkage_percent,
                "scale": scale,
                "core": CORE_REVISION,
            },
            sort_keys=True,
        )

    @cached_property
    def key(self) -> str:
        """Hex SHA-256 of :attr:`text`."""
        return hashlib.sha256(self.text.encode()).hexdigest()


@dataclass(frozen=True, kw_only=True)
class Job:
    """One photo to measure: where it is, how it is shown, what its bytes are."""

    path: Path
    name: str
    sha256: str
    settings: Settings
    part_label: str = ""
    camera_label: str = ""

    @property
    def key(self) -> tuple[str, str]:
        """The pair under which the record keeps the result."""
        return self.sha256, self.settings.key


def _file_digest(path: Path) -> str:
    data = read_whole(path, MOST_PROFILE_BYTES, advice="name the camera's profile")
    return hashlib.sha256(data).hexdigest()
