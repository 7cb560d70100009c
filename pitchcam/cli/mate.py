"""``pitchcam mate``: does this male go into that female, and does it seal."""

from __future__ import annotations

from typing import Any

import click

from pitchcam.errors import Exit, UsageError
from pitchcam.records import json_text
from pitchcam.records.formats import format_of


@click.command("mate", epilog='Example: pitchcam mate "R 1/4" "Rc 1/4"')
@click.argument("male", required=False)
@click.argument("female", required=False)
@click.option("--both", is_flag=True, help="Answer also for the second as male in the first.")
@click.option("--matrix", is_flag=True, help="Print the matrix of all families with its rules.")
@click.option("--traps", is_flag=True, help="Print the wrong pairs that start, as computed.")
@click.option("--json", "as_json", is_flag=True, help="Write JSON.")
@click.pass_context
def command(
    ctx: click.Context,
    male: str | None,
    female: str | None,
    both: bool,
    matrix: bool,
    traps: bool,
    as_json: bool,
) -> None:
    """Say whether MALE goes into FEMALE, properly sealed.

    An end is a designation and, where it has one, its seat: "M14x1.5", "7/16-20 UNF cone37",
    "M14x1.5 oring", "Rc 1/4". The exit code is 0 for a joint that seals, 3 for any other.
    """
    from pitchcam.joining.mating.matrix import family_matrix, matrix_text, traps_text

    if (matrix or traps) and as_json:
        raise UsageError("--json is for one pair;", "leave out --matrix and --traps")
    if matrix or traps:
        shown = [matrix_text(family_matrix())] if matrix else []
        click.echo("\n\n".join([*shown, traps_text()] if traps else shown))
        return
    if male is None or female is None:
        raise UsageError("two threads are needed, male then female.", "Or give --matrix.")
    pairs = [(male, female), (female, male)] if both else [(male, female)]
    answers = [_one(m, f) for m, f in pairs]
    if as_json:
        told = [a["json"] for a in answers]
        both_ways = {"format": format_of("matings"), "matings": told}
        click.echo(json_text(both_ways if both else told[0]))
    else:
        click.echo("\n\n".join(a["text"] for a in answers))
    ctx.exit(Exit.NAMED if all(a["ok"] for a in answers) else Exit.OPEN)


def _one(male: str, female: str) -> dict[str, Any]:
    from pitchcam.joining.mating.ends import parse_end
    from pitchcam.joining.mating.mate import mate
    from pitchcam.joining.mating.text import mating_json, mating_text

    result = mate(parse_end(male, "external"), parse_end(female, "internal"))
    return {"json": mating_json(result), "text": mating_text(result), "ok": result.seals}
