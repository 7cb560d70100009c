"""Directives that write pages from the code and from kept figures, so that they cannot differ."""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click
from docutils import nodes
from docutils.parsers.rst import Directive
from sphinx.application import Sphinx
from sphinx.pycode import ModuleAnalyzer

import pitchcam
from pitchcam.cli import COMMANDS, cli
from pitchcam.flags import FLAGS
from pitchcam.series import load_series
from pitchcam.thread.budget import CREST_TERMS, TERMS

HERE = Path(__file__).parents[1]


def table(head: Sequence[str], lines: Sequence[Sequence[str]], kind: str = "") -> nodes.table:
    """Return a table of plain text; ``kind`` is its class."""
    out = nodes.table(classes=[kind] if kind else [])
    group = nodes.tgroup(cols=len(head))
    out += group
    group += [nodes.colspec(colwidth=1) for _ in head]
    top, body = nodes.thead(), nodes.tbody()
    group += [top, body]
    for place, cells in ((top, [head]), (body, lines)):
        for line in cells:
            row = nodes.row()
            for cell in line:
                entry = nodes.entry()
                entry += nodes.paragraph("", cell)
                row += entry
            place += row
    return out


def wide(inner: nodes.Node) -> nodes.container:
    """Return something wide in a box that scrolls by itself."""
    return nodes.container("", inner, classes=["scroll"])


class Commands(Directive):
    """Every command with its help, options and example, from the command line itself."""

    def run(self) -> list[nodes.Node]:
        """Return a section for each command, and for each of a group's."""
        out: list[nodes.Node] = []
        for name in COMMANDS:
            command = cli.get_command(click.Context(cli), name)
            assert command is not None
            out.append(self._section(command, ["pitchcam", name]))
        return out

    def _section(self, command: click.Command, path: list[str]) -> nodes.section:
        title = " ".join(path[1:])
        section = nodes.section(ids=[nodes.make_id("command-" + title)])
        section += nodes.title("", title)
        context = click.Context(command, info_name=" ".join(path))
        text = command.get_help(context).split("\n\n", 1)[1]
        section += nodes.literal_block("", self._usage(command, context) + text, language="text")
        if isinstance(command, click.Group):
            for name in command.list_commands(context):
                inner = command.get_command(context, name)
                assert inner is not None
                section += self._section(inner, [*path, name])
        return section

    @staticmethod
    def _usage(command: click.Command, context: click.Context) -> str:
        return command.get_usage(context) + "\n\n"


class Flags(Directive):
    """Every warning: its code, what was seen and what to do, from the registry."""

    def run(self) -> list[nodes.Node]:
        """Return the table."""
        lines = [(code, *words) for code, words in FLAGS.items()]
        return [wide(table(("code", "what was seen", "what to do"), lines, "flags"))]


class Series(Directive):
    """How many sizes of each series are known, and where their rows come from."""

    def run(self) -> list[nodes.Node]:
        """Return the table."""
        families: dict[str, list[Any]] = {}
        for size in load_series():
            families.setdefault(size.family, []).append(size)
        lines = [
            (
                name,
                group[0].standard,
                str(len(group)),
                f"{group[0].designation} to {group[-1].designation}",
            )
            for name, group in families.items()
        ]
        return [wide(table(("series", "standard", "sizes", "from and to"), lines))]


class Terms(Directive):
    """The terms of the budget, in their order, from the code."""

    def run(self) -> list[nodes.Node]:
        """Return the table."""
        every = dict.fromkeys([*TERMS, *CREST_TERMS])
        lines = []
        for term in every:
            said = (term.__doc__ or "").partition("\n\n")[0].replace("Return what", "What")
            said = " ".join(said.split())
            used = [w for w, terms in (("flanks", TERMS), ("crests", CREST_TERMS)) if term in terms]
            lines.append((term.__name__.replace("_", " "), said, " and ".join(used)))
        return [wide(table(("term", "what it is", "for threads read by"), lines, "flags"))]


class Constants(Directive):
    """The numbers of modules with what they rest on: the comments above them in the code.

    Each line of the content is a module, or ``module: NAME NAME`` for some of its numbers.
    """

    has_content = True

    def run(self) -> list[nodes.Node]:
        """Return one table of all modules."""
        lines = []
        for text in self.content:
            module, _, some = text.partition(":")
            wanted = some.split()
            told = ModuleAnalyzer.for_module(module).find_attr_docs()
            values = vars(importlib.import_module(module))
            for (scope, name), words in told.items():
                if not scope and (name in wanted or not wanted and name.isupper()):
                    said = " ".join(" ".join(words).split())
                    lines.append((name, _plain(values[name]), said))
        return [wide(table(("number", "value", "what it is, and its source"), lines, "flags"))]


def _plain(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{k} {_plain(v)}" for k, v in value.items())
    if isinstance(value, tuple):
        return ", ".join(map(_plain, value))
    return f"{value:g}" if isinstance(value, float) else str(value)


class Kept(Directive):
    """A table of kept figures: ``docs/data/tables.json``, by name."""

    required_arguments = 1

    def run(self) -> list[nodes.Node]:
        """Return the table, or its lines of text."""
        file = HERE / "data" / "tables.json"
        self.state.document.settings.env.note_dependency(str(file))
        kept = json.loads(file.read_text(encoding="utf-8"))
        found = kept.get(self.arguments[0])
        if found is None:
            raise self.error(f"no table {self.arguments[0]!r} in {file.name}")
        if isinstance(found, str):
            return [nodes.paragraph("", found)]
        return [wide(table(found[0], found[1:]))]


class Gallery(Directive):
    """Photos, good and bad, with what is said of each: ``docs/data/gallery.json``."""

    def run(self) -> list[nodes.Node]:
        """Return a section for each photo."""
        file = HERE / "data" / "gallery.json"
        self.state.document.settings.env.note_dependency(str(file))
        out: list[nodes.Node] = []
        for item in json.loads(file.read_text(encoding="utf-8")):
            section = nodes.section(ids=[nodes.make_id(item["name"])])
            section += nodes.title("", item["title"])
            section += nodes.image(uri=f"pictures/{item['name']}.jpg", alt=item["title"])
            section += nodes.paragraph("", item["about"])
            call = nodes.literal_block("", item["call"], language="sh")
            section += [call, nodes.literal_block("", item["said"], language="text")]
            out.append(section)
        return out


DIRECTIVES: dict[str, Callable[..., Directive]] = {
    "commands": Commands,
    "flags": Flags,
    "terms": Terms,
    "series": Series,
    "kept": Kept,
    "constants": Constants,
    "gallery": Gallery,
}


def public(names: dict[str, str]) -> str:
    """Return a page's source for every public name, in the package's own order."""
    out = ["```{eval-rst}"]
    for name, module in names.items():
        thing = getattr(importlib.import_module(module), name)
        if isinstance(thing, type):
            kind = "autoexception" if issubclass(thing, Exception) else "autoclass"
            # Attributes that the text tells are not to stand there twice.
            told = "Attributes\n" in (thing.__doc__ or "")
            bare = "   :no-members:\n" if told else ""
        else:
            kind, bare = "autofunction" if callable(thing) else "autodata", ""
        out += [f".. {kind}:: {module}.{name}\n{bare}", ""]
    return "\n".join([*out, "```"])


def schemas() -> str:
    """Return a page's source that lists every published schema, to be downloaded."""
    out = []
    for file in sorted((HERE / "schema").glob("*.json")):
        title = json.loads(file.read_text(encoding="utf-8")).get("title", "")
        out.append(f"- {{download}}`{file.name} <schema/{file.name}>` {title}")
    return "\n".join(out)


def fill_in(app: Sphinx, docname: str, source: list[str]) -> None:
    """Put what is generated as source where a page asks for it."""
    source[0] = source[0].replace(
        "<!-- public -->", public(pitchcam._PUBLIC) if "<!-- public -->" in source[0] else ""
    )
    source[0] = source[0].replace("<!-- schemas -->", schemas())


def setup(app: Sphinx) -> dict[str, bool]:
    """Register the directives."""
    app.connect("source-read", fill_in)
    for name, directive in DIRECTIVES.items():
        app.add_directive(name, directive)  # type: ignore[arg-type]
    return {"parallel_read_safe": True, "parallel_write_safe": True}
