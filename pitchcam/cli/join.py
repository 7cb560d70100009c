"""``pitchcam join``: work sheet for an adapter made from two donors."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from pitchcam.cli._options import output_path
from pitchcam.cli._stock import (
    limit_options,
    load_stock,
    paper_option,
    stock_option,
    stock_record_option,
)
from pitchcam.errors import UsageError
from pitchcam.records import json_text


@click.command(
    "join", epilog="Example: pitchcam join --port M22x1.5 --part M10x1 --service oil -o adapter.pdf"
)
@click.argument("donor_a", required=False)
@click.argument("donor_b", required=False)
@click.option("--port", required=True, metavar="THREAD", help="The engine's end; female if unsaid.")
@click.option("--part", required=True, metavar="THREAD", help="The part's end; male if unsaid.")
@stock_option
@stock_record_option
@limit_options
@click.option("--torque", type=float, metavar="NM", help="Most torque through the joint.")
@click.option("--torch", type=float, metavar="KW", help="The torch's power; 1.5 if not given.")
@click.option("--alloy", help="An alloy that is at hand, such as 145.")
@click.option("-o", "--output", metavar="FILE", help="Write the work sheet; .pdf.")
@paper_option
@click.option("--json", "as_json", is_flag=True, help="Write JSON.")
def command(
    donor_a: str | None,
    donor_b: str | None,
    port: str,
    part: str,
    sheet: Path | None,
    record: Path,
    torque: float | None,
    torch: float | None,
    alloy: str | None,
    output: str | None,
    paper: str,
    as_json: bool,
    **limits: Any,
) -> None:
    """Plan an adapter made of DONOR-A (for the port) and DONOR-B (for the part), brazed together.

    Donors are ids of stock rows; without them the best two of the stock are chosen. What must not
    be made so is refused with the reason (exit code 4).
    """
    from pitchcam.cli._stock import question
    from pitchcam.joining.brazing.text import plan_json, plan_text
    from pitchcam.joining.papers.worksheet import write_worksheet
    from pitchcam.joining.tapped import flame_free

    target = output_path(output, "--output", (".pdf",))
    asked = question(port, part, limits)
    duty = read_duty(limits, torque, torch, alloy)
    stock = load_stock(sheet, record)
    without = flame_free(asked, stock)
    for text in without:
        click.echo(text, err=True)
    plan = make_plan(asked, stock, (donor_a, donor_b), duty)
    if target is not None:
        write_worksheet(plan, target, date.today(), paper, without)
    click.echo(json_text(plan_json(plan)) if as_json else plan_text(plan))
    if target is not None:
        click.echo(f"Work sheet: {target}", err=True)


def read_duty(
    limits: dict[str, Any], torque: float | None, torch: float | None, alloy: str | None
) -> Any:
    """Return what the adapter must stand, from what was typed.

    Raises
    ------
    UsageError
        If the torque or the torch cannot be, or no service is stated.
    """
    from pitchcam.joining.brazing.plan import Duty

    if limits["service"] is None:
        raise UsageError("--service is needed:", "say what flows in it, such as --service coolant")
    if torque is not None and not 0.0 <= torque <= 1000.0:
        raise UsageError(f"--torque {torque:g} N m is no tightening torque.", "Give 0 to 1000.")
    if torch is not None and not 0.05 <= torch <= 100.0:
        raise UsageError(f"--torch {torch:g} kW is no hand torch.", "Give 0.05 to 100.")
    return Duty(
        service=limits["service"],
        pressure_bar=limits["pressure"],
        bore_mm=limits["bore"],
        temperature_c=limits["temperature"],
        torque_n_m=torque,
        torch_kw=torch,
        alloy=alloy,
    )


def make_plan(asked: Any, stock: Any, names: tuple[str | None, str | None], duty: Any) -> Any:
    """Plan with the donors named, or with the best of the stock."""
    from dataclasses import replace

    from pitchcam.joining.brazing.choose import choose_donors
    from pitchcam.joining.brazing.plan import plan_join

    # A donor's rating is for the whole fitting; what is made of it is judged afresh.
    asked = replace(asked, pressure_bar=None, temperature_c=None)
    if names == (None, None):
        return choose_donors(asked, stock, duty)
    rows = {f.id.lower(): f for f in stock}
    found = []
    for name in names:
        row = rows.get((name or "").lower())
        if row is None:
            raise UsageError(f"stock has no row '{name or ''}'.", "Name two donors, or none.")
        found.append(row)
    if found[0] is found[1] and found[0].count < 2:
        raise UsageError(f"{found[0].id} is there once only.", "Name two different donors.")
    return plan_join(asked, (found[0], found[1]), duty)
