"""What the record holds: one entry per photo and settings, and the corrections made to it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any, Literal

from pitchcam.frozen import dataclass
from pitchcam.records import Flag, Measurement, PhotoInfo

#: ``measured``: the contract document is there (its verdicts may still be doubtful);
#: ``refused``: the photo does not carry the measurement; ``failed``: the file cannot be used.
OutcomeStatus = Literal["measured", "refused", "failed"]

#: Hex digits of a record id: 40 bits, so that a million records meet with a chance under one half
#: (birthday bound) and the id still fits on a bin label; the store refuses a clash.
ID_DIGITS = 10


def record_id(sha256: str, settings_key: str) -> str:
    """Return the id of the record of one photo under one set of settings; the same on any machine.

    Parameters
    ----------
    sha256
        Hex digest of the photo's bytes.
    settings_key
        Hex digest of the settings (:attr:`pitchcam.batch.settings.Settings.key`).
    """
    return hashlib.sha256(f"{sha256}/{settings_key}".encode()).hexdigest()[:ID_DIGITS]


def sentences(message: str, advice: str) -> str:
    """Return message and advice as one line; the advice starts large after a full stop."""
    if message.endswith("."):
        advice = advice[:1].upper() + advice[1:]
    return f"{message} {advice}".strip()


@dataclass(frozen=True, kw_only=True, slots=True)
class Outcome:
    """What measuring one photo came to.

    ``document`` is the measurement contract's object, or None where there is no measurement; then
    ``code``, ``message`` and ``advice`` say why. ``lasting`` is False for what may go away by
    itself (memory ran out, a worker was killed): it is shown, but never kept, so that the photo
    is measured again in the next run. ``thumbnails`` are small JPEG pictures by part id; id 0 is
    the whole photo.
    """

    status: OutcomeStatus
    document: Mapping[str, Any] | None = None
    code: str = ""
    message: str = ""
    advice: str = ""
    lasting: bool = True
    thumbnails: Mapping[int, bytes] | None = None

    @property
    def measurement(self) -> Measurement | None:
        """The document read back, None where there is none."""
        return None if self.document is None else Measurement.from_json(self.document)

    @property
    def reason(self) -> str:
        """What is wrong and what to do, in one line for people."""
        return sentences(self.message, self.advice)

    def contract(self, name: str, sha256: str) -> dict[str, Any]:
        """Return the contract's document; without a measurement it has no parts and says why."""
        if self.document is not None and "photos" in self.document:
            # Of several photos each has its own name in the document.
            return dict(self.document)
        if self.document is not None:
            return {**self.document, "photo": {**self.document["photo"], "file": name}}
        photo = PhotoInfo(file=name, sha256=sha256, width_px=None, height_px=None)
        why = Flag(code=self.code, message=self.message, advice=self.advice)
        return Measurement(photo=photo, scale=None, warnings=(why,)).to_json()


@dataclass(frozen=True, kw_only=True, slots=True)
class Correction:
    """What a person says a thread is in fact; never changed once made."""

    number: int
    thread_id: str
    designation: str
    who: str
    why: str
    made_at: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One photo under one set of settings, with the names it was seen under."""

    id: str
    sha256: str
    settings_key: str
    outcome: Outcome
    names: tuple[str, ...]
    corrections: Mapping[str, Correction]

    @property
    def name(self) -> str:
        """The photo's name: the first in alphabetical order of those that it was seen under."""
        return self.names[0] if self.names else self.sha256[:12]

    def contract(self) -> dict[str, Any]:
        """Return the contract's document of this photo."""
        return self.outcome.contract(self.name, self.sha256)
