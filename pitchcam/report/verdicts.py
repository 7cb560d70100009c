"""A verdict in words: the one place where a status, a name and its probability are put so."""

from __future__ import annotations

import re
from collections.abc import Mapping

from pitchcam.records import Gender, Verdict
from pitchcam.units import percent

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
        alone = "only " if len(verdict.candidates) == 1 else ""
        fits = " would fit" if alone else ""
        return f"{NAMELESS['ambiguous']}: {alone}{' or '.join(listed(verdict))}{fits}"
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


def candidates_words(cell: str) -> str:
    """Return a table's cell of candidates as people read it: the likeliest few, and how many more.

    Examples
    --------
    >>> candidates_words("G 1/2 0.965; 1/2-14 NPSM 0.035")
    'G 1/2 (96.5 %) or 1/2-14 NPSM (3.5 %)'
    """
    if not cell:
        return ""
    pairs = [candidate.rpartition(" ") for candidate in cell.split("; ")]
    # A cell rounds: its 0.000 is little, not nothing.
    said = [f"{name} ({percent(float(p) or LEAST)})" for name, _, p in pairs[:MOST_SAID]]
    more = len(pairs) - len(said)
    return " or ".join([*said, f"{more} more"] if more else said)


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


#: So many candidates fit a line; the first is nearly always the one.
MOST_SAID = 3
#: What a table's cell, of three decimals, has as 0.000.
LEAST = 0.0001
#: A sentence ends before a capital: neither 0.81 mm nor M14x1.5 does.
_SENTENCE = re.compile(r"(?<=[.?]) (?=[A-Z])")
#: From so many clauses on, a sentence reads better as a list.
FEWEST_LISTED = 3
#: What a second measurement begins with: no lead of its own.
_SECOND = "Then: "


def steps(text: str) -> list[tuple[str, tuple[str, ...]]]:
    """Return what to do next, sentence by sentence: (what to do, its cases), or (sentence, ()).

    Examples
    --------
    >>> steps("Measure the bore: A 8 mm; B 9 mm; C 10 mm. Or read it again.")
    [('Measure the bore:', ('A 8 mm', 'B 9 mm', 'C 10 mm')), ('Or read it again.', ())]
    """
    found: list[tuple[str, tuple[str, ...]]] = []
    for sentence in _SENTENCE.split(text):
        then = _SECOND if sentence.startswith(_SECOND) else ""
        lead, colon, rest = sentence.removeprefix(then).partition(": ")
        cases = tuple(rest.rstrip(".").split("; "))
        listed = colon and "; " not in lead and len(cases) >= FEWEST_LISTED
        found.append((f"{then}{lead}:", cases) if listed else (sentence, ()))
    return found


def step_lines(text: str) -> list[str]:
    """Return the lines that say what to do next, the cases of a sentence under one another."""
    said = steps(text)
    if not any(cases for _, cases in said):
        return [f"  next step: {text}"]
    lines: list[str] = []
    for sentence, cases in said:
        lines.append(f"  {'' if lines else 'next step: '}{sentence}")
        lines += [f"    - {case}" for case in cases]
    return lines


def next_command(designation: str, gender: Gender) -> str:
    """Return the command that goes on from a name: it joins what was measured."""
    if gender == "internal":
        return f'pitchcam job --port "{designation}" --part THREAD'
    return f'pitchcam job --port THREAD --part "{designation}"'
