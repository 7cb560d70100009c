"""What a box says of its reference, from rows as the record keeps them."""

from pitchcam.batch.hints import reference_hints
from pitchcam.batch.settings import Settings
from pitchcam.match.evidence import rescaled, with_common
from pitchcam.records import ScaleSpec, ThreadReading
from pitchcam.store.rows import ThreadRow
from tests.match.test_naming import reading_of

PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))
DISC = Settings(scale=ScaleSpec(source="disc", mm=23.25))


def row(
    reading: ThreadReading, status: str, settings: Settings, u_stated: float = 0.0
) -> ThreadRow:
    names = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg", "taper")
    read = {n: (q.value, q.u) for n in names if (q := getattr(reading, n)) is not None}
    return ThreadRow(
        id="",
        photo="",
        part=1,
        thread=1,
        status=status,
        name="",
        designation="",
        standard="",
        probability=None,
        quantities=read,
        gender="external",
        starts=1,
        turns=8.0,
        candidates="",
        same_geometry="",
        next_step="",
        warnings="",
        corrected_by="",
        corrected_why="",
        sha256="",
        settings_key=settings.key,
        u_stated=u_stated,
    )


def rows(ratio: float, settings: Settings, status: str) -> list[ThreadRow]:
    names = ("M14x1.5", "M10x1", "5/8-18 UNF", "G 1/4", "M18x1.5")
    return [row(rescaled(reading_of(n, low_mm=0.12), ratio), status, settings) for n in names]


def test_the_true_size_of_a_wrong_reference_is_said_once() -> None:
    known = {s.key: s for s in (PIN, DISC)}
    box = rows(8.0 / 8.5, PIN, "ambiguous") + rows(1.0, DISC, "named")
    hints = reference_hints(box, known)
    assert len(hints) == 1
    assert hints[0].startswith("pin:") and "8.5" in hints[0] and "8 mm was stated" in hints[0]


def test_a_sound_box_says_nothing() -> None:
    known = {PIN.key: PIN}
    assert reference_hints(rows(1.0, PIN, "named"), known) == ()
    # Two threads in doubt do not make a sound reference wrong.
    box = rows(1.0, PIN, "named")[:3] + rows(1.0, PIN, "ambiguous")[3:]
    assert reference_hints(box, known) == ()


def test_photos_that_doubt_their_pin_tell_the_box_as_much() -> None:
    """Each left its lengths as open as the pin's size: the box has them as the pin stated gives."""
    known, u = {PIN.key: PIN}, 0.06
    names = ("M14x1.5", "M10x1", "5/8-18 UNF", "G 1/4", "M18x1.5")
    readings = [rescaled(reading_of(n, low_mm=0.12), 8.0 / 8.5) for n in names]
    sure = [row(r, "ambiguous", PIN) for r in readings]
    doubtful = [row(with_common(r, u), "ambiguous", PIN, u) for r in readings]
    assert reference_hints(doubtful, known) == reference_hints(sure, known) != ()
