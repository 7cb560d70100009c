"""Where the page keeps its files, and the limits of all that comes from outside."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pitchcam.errors import UsageError
from pitchcam.frozen import dataclass

MIB = 1024 * 1024


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What one request, one photo and one worker may use.

    A phone's 50-megapixel JPEG has 25 MB at most, a 12-megapixel PNG 36 MB. ``memory_bytes`` is
    address space: libraries take 0.7 GB of it and each megapixel 80 MB, so that 64 of them fit;
    resident is a fifth of that.
    """

    upload_bytes: int = 60 * MIB
    form_bytes: int = MIB
    megapixels: float = 64.0
    memory_bytes: int = 6 * 1024 * MIB
    photo_s: float = 60.0
    chunk_s: float = 20.0
    upload_s: float = 180.0
    waiting: int = 300


@dataclass(frozen=True, kw_only=True)
class Setup:
    """One server: its record, its folder beside it, how it is reached, and its limits.

    ``hosts`` are the names that a request may call this server by; any other name means that
    another site's name was bent to this machine.
    """

    record: Path
    folder: Path
    processes: int
    hosts: tuple[str, ...] = ("localhost", "127.0.0.1", "[::1]")
    lan: bool = False
    reference: str | None = None
    learn_lenses: bool = True
    limits: Limits = Limits()

    @property
    def lenses(self) -> Path | None:
        """File of what photos with a card told of phones' lenses; None where it is left off."""
        return self.record.with_name("pitchcam-lenses.json") if self.learn_lenses else None

    @property
    def photos(self) -> Path:
        """Folder of the photos as they came, named by their content."""
        return self.folder / "photos"

    @property
    def views(self) -> Path:
        """Folder of what is drawn of each answer; made anew by measuring again."""
        return self.folder / "views"

    @property
    def boxes(self) -> Path:
        """Folder of the lists of photos that were sent together."""
        return self.folder / "boxes"

    def make_folders(self) -> None:
        """Make the folders, before anything is served.

        Raises
        ------
        UsageError
            If they cannot be made.
        """
        try:
            for place in (self.folder, self.photos, self.views, self.boxes):
                place.mkdir(parents=True, exist_ok=True)
            self.folder.chmod(0o700)
        except OSError as error:
            raise UsageError(
                f"the folder {self.folder} cannot be made: {error.strerror}.",
                "Name another with --folder.",
            ) from error

    def private(self) -> Iterator[tuple[str, str]]:
        """Yield (text that no page may show, what stands in its place)."""
        for path, words in ((self.record, "the record"), (self.folder, "the page's folder")):
            yield str(path.resolve()), words
            yield str(path), words
