"""The core's advice in the page's words: it names options and commands, the page has fields."""

from __future__ import annotations

import re

#: What a command or an option is called on the page.
_COMMANDS = {
    "series": "Series on the bench",
    "lookup": "Look up on the bench",
    "mate": "Mate on the bench",
    "join": "Work sheet on the bench",
    "adapt": "Adapt on the bench",
    "log list": "the record",
    "stock list": "Stock on the bench",
    "stock import": "Stock on the bench",
    "stock columns": "the sheet of Stock on the bench",
    "batch": "the box",
    "identify": "the photo page",
    "sheet": "the marker sheet",
    "chart": "Chart on the bench",
}
_OPTIONS = {
    "pin": "plain pin",
    "disc": "round disc",
    "card": "card",
    "jaws": "caliper jaws",
    "major": "crests by caliper",
    "sheet-bar": "marker sheet's bar",
    "no-reference": "nothing of known size",
    "axis-height": "height of the thread's axis",
    "reference-height": "height of the reference",
    "rare": "the sizes seldom met",
    "unlisted": "'No series here has it'",
    "diameter": "the diameter over the crests",
    "bore": "the bore",
    "gauge": "the leaf",
    "apart": "the distance of the two",
    "immersion": "probe in the fluid",
    "wall": "port's wall",
    "probe": "probe's length",
    "torque": "most torque",
    "torch": "the torch's power",
    "matrix": "",
    "stock": "",
    "jobs": "photos at once",
    "record": "",
}
_COMMAND = re.compile(r"pitchcam (log list|stock (?:list|import|columns)|[a-z]+)(?: PHOTO)?\b")
_OPTION = re.compile(r"--([a-z][a-z-]*)")
#: What a library said of its own failure is for the terminal, not for a page.
_FAULT = re.compile(r"\s*\(\w*(?:Error|Exception)\b[^)]*\)")
#: Words of a command line that are not commands.
_VERBS = re.compile(r"pitchcam (?:reads|is|names|has)\b")


def on_the_page(text: str) -> str:
    """Return advice with the page's names for commands and options."""

    def command(found: re.Match[str]) -> str:
        return found[0] if _VERBS.match(found[0]) else _COMMANDS.get(found[1], found[0])

    def option(found: re.Match[str]) -> str:
        return _OPTIONS.get(found[1], found[1].replace("-", " "))

    plain = _OPTION.sub(option, _COMMAND.sub(command, _FAULT.sub("", text)))
    return re.sub(r"  +", " ", plain).strip()


def whole(message: str) -> str:
    """Return a message that stands by itself: its advice follows on a line of its own.

    Examples
    --------
    >>> whole("'abc' is not a length;"), whole("No thread was found")
    ("'abc' is not a length.", 'No thread was found.')
    """
    line = message.rstrip(" ;:,.")
    return line + ("" if line.endswith(("?", "!")) or not line else ".")
