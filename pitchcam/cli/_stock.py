"""Options of the commands that look into stock, and the questions put to it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from pitchcam.cli._options import LENGTH, record_option
from pitchcam.errors import PitchcamError, UsageError

if TYPE_CHECKING:
    from pitchcam.joining.chains.question import Question
    from pitchcam.joining.stock.sheet import Fitting

    _FloatParam = click.ParamType[float]
else:
    _FloatParam = click.ParamType

F = TypeVar("F", bound=Callable[..., Any])


class _Amount(_FloatParam):
    """A pressure, temperature or mass with its unit, by the reader of stock sheets."""

    def __init__(self, name: str, reader: str) -> None:
        self.name = name
        self._reader = reader

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the amount in the unit that pitchcam keeps; a bad one fails in one line."""
        from pitchcam.joining.stock import amounts

        if isinstance(value, (int, float)):
            return float(value)
        try:
            number: float = getattr(amounts, self._reader)(value)
        except PitchcamError as error:
            self.fail(str(error), param, ctx)
        return number


PRESSURE = _Amount("pressure", "pressure_bar")
TEMPERATURE = _Amount("temperature", "temperature_c")
MASS = _Amount("mass", "mass_g")

stock_record_option = record_option("The record of stock.")
stock_option = click.option(
    "--stock",
    "sheet",
    type=click.Path(path_type=Path),
    metavar="CSV",
    help="A stock sheet to use as it is, instead of the record's stock.",
)

paper_option = click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Paper size.",
)

_LIMITS = (
    click.option("--bore", type=LENGTH, metavar="MM", help="Way that must stay clear (the bulb)."),
    click.option("--service", help="What flows in it: coolant, oil, gear oil, water, vacuum."),
    click.option(
        "--pressure",
        type=PRESSURE,
        metavar="BAR",
        help="Working pressure; the service's usual one if not given.",
    ),
    click.option(
        "--temperature",
        type=TEMPERATURE,
        metavar="C",
        help="Highest temperature; the service's usual one if not given.",
    ),
    click.option("--hose-pressure", type=PRESSURE, metavar="BAR", help="The hose's own rating."),
    click.option(
        "--hose-temperature",
        type=TEMPERATURE,
        metavar="C",
        help="Highest heat that the hose stands; 125 if not given.",
    ),
    click.option("--probe", type=LENGTH, metavar="MM", help="Probe's length beyond its seat."),
    click.option("--wall", type=LENGTH, metavar="MM", help="From the port's face to the fluid."),
    click.option("--immersion", type=LENGTH, metavar="MM", help="Probe that must reach the fluid."),
    click.option("--room", type=LENGTH, metavar="MM", help="Free radius about the port's axis."),
    click.option("--stand-off", type=LENGTH, metavar="MM", help="Most that may be added."),
    click.option("--port-depth", type=LENGTH, metavar="MM", help="Thread depth of the port."),
    click.option("--one-wire", is_flag=True, help="The part earths through its thread."),
    click.option("--part-mass", type=MASS, metavar="G", help="Mass of the part, in grams."),
    click.option(
        "--max-pieces",
        type=click.IntRange(1, 6),
        default=3,
        show_default=True,
        help="Most pieces in a chain.",
    ),
)


def limit_options(function: F) -> F:
    """Add the options that limit a chain; :func:`question` reads them."""
    for option in reversed(_LIMITS):
        function = option(function)
    return function


def question(port: str, part: str, limits: dict[str, Any]) -> Question:
    """Return the question that the options ask.

    Raises
    ------
    PitchcamError
        If an end or a limit cannot be.
    """
    from pitchcam.joining.chains.question import Question, parse_side

    return Question(
        port=parse_side(port, "internal"),
        part=parse_side(part, "external"),
        **question_limits(limits),
    )


def question_limits(limits: dict[str, Any]) -> dict[str, Any]:
    """Return what :func:`limit_options` read, by the question's own field names."""
    from pitchcam.joining.brazing.refuse import usual_duty

    bar, celsius = usual_duty(limits["service"])
    pressure, heat = limits["pressure"], limits["temperature"]
    return {
        "bore_mm": limits["bore"] or 0.0,
        "pressure_bar": bar if pressure is None else pressure,
        "temperature_c": celsius if heat is None else heat,
        "hose_bar": limits["hose_pressure"],
        "hose_c": limits["hose_temperature"],
        "probe_mm": limits["probe"],
        "wall_mm": limits["wall"] or 0.0,
        "immersion_mm": limits["immersion"] or 0.0,
        "room_mm": limits["room"],
        "stand_off_mm": limits["stand_off"],
        "port_depth_mm": limits["port_depth"],
        "one_wire": limits["one_wire"],
        "part_mass_g": limits["part_mass"] or 0.0,
        "max_pieces": limits["max_pieces"],
    }


def load_stock(sheet: Path | None, record: Path) -> tuple[Fitting, ...]:
    """Return the sheet's stock, else the record's.

    Raises
    ------
    UsageError
        If neither is there.
    """
    from pitchcam.joining.stock.sheet import read_stock
    from pitchcam.joining.stock.store import StockStore

    if sheet is not None:
        return read_stock(sheet)
    if not record.exists():
        raise UsageError(
            f"there is no stock: {record} does not exist.",
            "Name a sheet with --stock, or take one in with: pitchcam stock import",
        )
    with StockStore(record, only_read=True) as store:
        rows = store.rows()
        try:
            store.refuse_damage()
        except PitchcamError as error:  # the rest of the stock is as it was
            if not rows:
                raise
            click.echo(f"pitchcam: {error}; they are left out", err=True)
    if not rows:
        raise UsageError(f"{record} holds no stock.", "See: pitchcam stock import")
    return rows
