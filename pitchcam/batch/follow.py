"""Watching a folder that a phone syncs into: a photo is taken up when its upload is complete.

The folder is looked at again and again rather than watched by system events, which network shares
and sync programs do not send reliably.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from pitchcam.batch.settings import Settings
from pitchcam.batch.source import Listed, list_photos
from pitchcam.errors import InputError
from pitchcam.frozen import dataclass


@dataclass(frozen=True, kw_only=True)
class Patience:
    """How long to wait, in seconds; common practice, no source.

    ``settle_s``: a file whose size and time stamp stay the same for so long is taken up: sync
    programs write at least every second while they write. ``stalled_s``: a file that is taken up
    and turns out to be incomplete is waited for until it has stayed the same for so long, since
    uploads stall; then it counts as damaged.
    """

    settle_s: float = 2.0
    stalled_s: float = 60.0


#: Seconds by which a look may come late.
_BEAT_S = 1.0


@dataclass
class _Seen:
    stamp: tuple[int, int]
    since_s: float
    due_s: float
    taken: bool = False


class Folder:
    """A followed folder: what is new, complete and not yet taken up.

    Parameters
    ----------
    places
        Folders or files, as in a plain batch.
    settings
        Settings for every photo.
    patience
        Waiting times.
    clock
        Seconds, monotonic; for tests.
    """

    def __init__(
        self,
        places: list[Path],
        settings: Settings,
        patience: Patience,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._places = places
        self._settings = settings
        self._patience = patience
        self._clock = clock
        self._seen: dict[str, _Seen] = {}
        self.last_change_s = clock()
        #: Photos that went away before they were taken up, by name.
        self.vanished: set[str] = set()

    def look(self) -> list[Listed]:
        """Return the photos that have come to rest since the last look, each change once."""
        now = self._clock()
        listed = {photo.name: photo for photo in self._list()}
        for gone in set(self._seen) - set(listed):
            if not self._seen.pop(gone).taken:
                self.vanished.add(gone)
        self.vanished -= set(listed)
        ready = []
        for name, photo in listed.items():
            stamp = _stamp(photo.path)
            if stamp is None:
                continue
            seen = self._seen.get(name)
            if seen is None or seen.stamp != stamp:
                self._seen[name] = _Seen(stamp, now, now + self._patience.settle_s)
                self.last_change_s = now
            elif not seen.taken and now >= seen.due_s and stamp[0] > 0:
                seen.taken = True
                ready.append(photo)
        return ready

    def settling(self) -> bool:
        """Say whether a file changed so lately that it is not yet taken up."""
        now = self._clock()
        return any(
            not s.taken and s.stamp[0] > 0 and now - s.since_s < self._patience.settle_s + _BEAT_S
            for s in self._seen.values()
        )

    def unfinished(self) -> list[tuple[str, str]]:
        """Return the photos that are not taken up when the watch ends, and why, for people."""
        empty = [
            (name, "it is empty: its upload did not begin or was lost.")
            for name, seen in self._seen.items()
            if seen.stamp[0] == 0
        ]
        open_yet = [name for name, seen in self._seen.items() if seen.stamp[0] and not seen.taken]
        writing = [(name, "its upload had not ended when the watch ended.") for name in open_yet]
        gone = [
            (name, "it vanished from the folder before it was measured.") for name in self.vanished
        ]
        return sorted(empty + writing + gone)

    def _list(self) -> list[Listed]:
        try:
            return list_photos(self._places, self._settings)
        except InputError:  # a share that is away for a moment comes back
            return []

    def may_be_incomplete(self, name: str) -> bool:
        """Say whether a file that cannot be used may still be in the middle of its upload.

        If so it is taken up again at its next change, or once more after ``stalled_s``.
        """
        seen = self._seen.get(name)
        if seen is None:
            return True
        last_try_s = seen.since_s + self._patience.stalled_s
        if seen.due_s >= last_try_s:
            return False
        seen.due_s = last_try_s
        seen.taken = False
        return True


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_size, status.st_mtime_ns
