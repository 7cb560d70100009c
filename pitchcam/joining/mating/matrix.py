"""The matrix of families: every male family into every female one, with rule and source."""

from __future__ import annotations

from pitchcam.frozen import dataclass
from pitchcam.joining.mating.ends import families, parse_end
from pitchcam.joining.mating.mate import Mating, Rule, mate, rule_for
from pitchcam.joining.tables import read_table

#: How an answer is written in a cell of the matrix.
MARKS = {"yes": "YES", "by-agreement": "agr", "wrong": "bad", "no": "-"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Matrix:
    """Families down (male) and across (female), the rules, and which rule each cell follows."""

    external: tuple[str, ...]
    internal: tuple[str, ...]
    rules: tuple[Rule, ...]
    cells: tuple[tuple[int, ...], ...]


def family_matrix() -> Matrix:
    """Return the whole matrix; each cell is an index into ``rules``."""
    external = tuple(key for key, gender in families() if gender == "external")
    internal = tuple(key for key, gender in families() if gender == "internal")
    rules: list[Rule] = []
    cells = []
    for male in external:
        line = []
        for female in internal:
            rule = rule_for(male, female)
            if rule not in rules:
                rules.append(rule)
            line.append(rules.index(rule))
        cells.append(tuple(line))
    return Matrix(external=external, internal=internal, rules=tuple(rules), cells=tuple(cells))


def matrix_text(matrix: Matrix) -> str:
    """Return the matrix as text: answer and rule number per cell, then the numbered rules."""
    width = max(len(name) for name in matrix.external) + 1
    parts = [name.partition("-") for name in matrix.internal]
    heads = [" " * width + " ".join(f"{part[i]:>6}" for part in parts) for i in (0, 2)]
    lines = [
        "Male down, female across: YES seals; agr by agreement only; bad goes in and fails; "
        "- another thread.",
        "The number is the rule below.",
        "",
        *heads,
    ]
    for name, row in zip(matrix.external, matrix.cells, strict=True):
        cells = (f"{MARKS[matrix.rules[i].answer]} {i + 1:>2}" for i in row)
        lines.append(f"{name:<{width}}" + " ".join(f"{cell:>6}" for cell in cells))
    lines.append("")
    for number, rule in enumerate(matrix.rules, start=1):
        lines.append(f"{number:>2}. {rule.answer}: {rule.text}")
        lines.append(f"    Source: {rule.source}; checked: {rule.checked}.")
    return "\n".join(lines)


def traps() -> tuple[tuple[Mating, str, str], ...]:
    """Return the wrong pairs that the trade knows: (computed, what the trade says, its source)."""
    return tuple(
        (
            mate(parse_end(row["male"], "external"), parse_end(row["female"], "internal")),
            row["trade"],
            row["source"],
        )
        for row in read_table("traps")
    )


def traps_text() -> str:
    """Return the traps as a table: what is computed, beside what the trade says."""
    lines = [
        f"{'male in female':<27}{'computed':<16}{'free turns':<13}{'of':>5}  {'strength':<13}"
        "the trade says"
    ]
    for result, trade, _ in traps():
        c = result.cross
        if c is None:
            continue
        pair = f"{result.male.written} in {result.female.written}"
        turns = f"{c.free_turns[0]:.1f} to {c.free_turns[1]:.1f}"
        share = f"{100 * c.shear_share[0]:.0f} to {100 * c.shear_share[1]:.0f} %"
        lines.append(f"{pair:<27}{c.kind:<16}{turns:<13}{c.wanted_turns:>5.1f}  {share:<13}{trade}")
    lines.append(
        "Turns by hand of the turns wanted, tightest to loosest limits; strength against a right "
        "pair. None of them seals."
    )
    return "\n".join(lines)
