"""The closed tree of errors; each carries one line of what is wrong and one of what to do.

The command line, the batch runner and the page all show ``message`` and ``advice``; nothing else
of the exception reaches a person. ``exit_code`` is the command line's.
"""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """Every code that the command line ends with (the contract in DEVELOPERS.md)."""

    #: A thread is named, ends seal, stock joins them, the photo agrees.
    NAMED = 0
    FAILED = 1
    USAGE = 2
    #: An answer without the one name: ambiguous, off-series, does not seal, must be bought.
    OPEN = 3
    #: The photo does not carry the measurement, or the work must not be done so.
    UNREADABLE = 4


def one_line(message: str, advice: str) -> str:
    """Return what is wrong and what to do as one line that reads as a sentence or two.

    Examples
    --------
    >>> one_line("it is cut.", "retake")
    'it is cut; retake'
    """
    if not advice or message.endswith((":", ",")):
        return printable(f"{message} {advice}".strip())
    head = message.rstrip(" .;")
    return printable(f"{head}. {advice}" if advice[0].isupper() else f"{head}; {advice}")


def printable(text: str) -> str:
    """Return a text that stays on its line and cannot steer a terminal: the rest as escapes.

    Names of files and texts in them come from outside; line breaks, terminal escapes and marks that
    turn the direction of writing are written as their codes.
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else _escape(c) for c in text)


def _escape(character: str) -> str:
    # What stands for a byte that is no text is written as that byte.
    code = ord(character)
    if 0xDC80 <= code <= 0xDCFF:
        return f"\\x{code - 0xDC00:02x}"
    return character.encode("unicode_escape").decode("ascii")


class PitchcamError(Exception):
    """Base of every error that pitchcam raises on purpose."""

    exit_code: Exit = Exit.FAILED

    def __init__(self, message: str, advice: str = "", *, code: str = "error") -> None:
        super().__init__(message)
        self.message = message
        self.advice = advice
        self.code = code

    def __str__(self) -> str:
        return one_line(self.message, self.advice)


class UsageError(PitchcamError):
    """The call itself is wrong: options that contradict, a value that cannot be."""

    exit_code = Exit.USAGE


class InputError(PitchcamError):
    """A file cannot be used: missing, truncated, not an image, too large, a bad row."""

    exit_code = Exit.FAILED


class UnreadableError(PitchcamError):
    """The photo was opened, but does not carry the measurement; ``code`` says why.

    ``code`` is a key of :data:`pitchcam.flags.FLAGS`.
    """

    exit_code = Exit.UNREADABLE


class InnerFaultError(UnreadableError):
    """A stage failed on this photo in a way nobody foresaw; ``__cause__`` holds what it raised.

    The photo is not to blame for certain: another version, or more memory, may read it. It is
    therefore told from a refusal, and a batch tries it again.
    """

    def __init__(self, message: str, advice: str) -> None:
        super().__init__(message, advice, code="fault")


class OutlineError(ValueError):
    """What was taken for an object has no outline that a part could have.

    It encloses nothing, has no two sides, or is not darker than the background: a stain or a
    tint of the light, no object. Whoever looks through the objects leaves it out.
    """


class ReadingError(PitchcamError):
    """Typed readings that no thread can have, alone or together."""

    exit_code = Exit.USAGE


class RefusedError(PitchcamError):
    """A joint or adapter that must not be made so; the message gives the reason."""

    exit_code = Exit.UNREADABLE
