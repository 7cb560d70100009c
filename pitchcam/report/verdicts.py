"""A verdict in words: the one place where a status, a name and its probability are put so."""

from __future__ import annotations

from collections.abc import Mapping

from pitchcam.records import Gender, Verdict
from pitchcam.report.figures import percent

#: A runner-up below this does not change what anyone would do next.
RUNNER_UP_MATTERS = 0.01

#: What is said in place of a name.
NAMELESS: Mapping[str, str] = {
    "ambiguous": "Not certain yet",
    "off-series": "No standard thread fits",
    "unreadable": "Not readable",
}


def name_words(verdict: Verdict) -> str:
    """Return the name, or why there is none in two or three words: for large type."""
    return verdict.designation or NAMELESS.get(verdict.status, NAMELESS["unreadable"])


def headline(verdict: Verdict) -> str:
    """Return the verdict of a photo in one line.

    Examples
    --------
    >>> headline(Verdict(status="named", designation="G 1/4", standard="ISO 228-1"))
    'G 1/4  (ISO 228-1)'
    """
    if verdict.status == "named":
        chance = verdict.probability
        sure = "" if chance is None else f", probability {percent(chance)}"
        return f"{verdict.designation}  ({verdict.standard}{sure})"
    if verdict.status == "ambiguous":
        return f"{NAMELESS['ambiguous']}: {' or '.join(listed(verdict))}"
    if verdict.status == "off-series":
        return "Measured, but no thread of the standard series fits"
    return NAMELESS["unreadable"]


def headline_of_readings(verdict: Verdict) -> str:
    """Return the verdict of readings by hand in one line; a table of candidates follows it."""
    if verdict.status == "named":
        return headline(verdict)
    if verdict.status == "ambiguous":
        return f"{NAMELESS['ambiguous']}. It could be:"
    return "No thread of the standard series fits these readings. Nearest:"


def listed(verdict: Verdict) -> list[str]:
    """Return each candidate with its probability."""
    return [f"{c.designation} ({percent(c.probability)})" for c in verdict.candidates]


def runners_up(verdict: Verdict) -> list[str]:
    """Return the other candidates that matter, for a verdict that has a name."""
    return [
        words
        for words, c in zip(listed(verdict), verdict.candidates, strict=True)
        if c.designation != verdict.designation and c.probability >= RUNNER_UP_MATTERS
    ]


def twins_to_tell(verdict: Verdict) -> list[str]:
    """Return the other names and uses of the same size that the next step does not tell of."""
    said = verdict.next_step or ""
    return [
        t for t in verdict.same_geometry if " as " not in t or t.partition(" as ")[2] not in said
    ]


def next_command(designation: str, gender: Gender) -> str:
    """Return the command that goes on from a name: it joins what was measured."""
    if gender == "internal":
        return f'pitchcam job --port "{designation}" --part THREAD'
    return f'pitchcam job --port THREAD --part "{designation}"'
