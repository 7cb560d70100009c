"""The public calls behind the pages: each is what the command of the same name does.

The only module of the page that asks the core for answers. Text as a person typed it comes in;
plain documents, as the commands print them with ``--json``, go out.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from pitchcam.errors import UsageError
from pitchcam.page.typed import Typed, length, number


def seal_lines(designation: str, gender: str) -> list[str]:
    """Return how a size seals and what it is used for, one line each.

    Uses with a name of their own are left out: an answer's next step tells them by their seat.
    """
    from pitchcam.cli._typed import use_lines
    from pitchcam.series import find

    return [line.strip() for line in use_lines(find(designation), gender, twins=False)]


def one_part(photos: Sequence[tuple[Any, str]]) -> Any:
    """Adjust photos of one part together.

    Parameters
    ----------
    photos
        Each one's record, and its settings as the record keeps them.

    Returns
    -------
    Entry or None
        The answer as an entry that is not in the record; None where no two photos are given.
    """
    from pitchcam.batch.together import joined
    from pitchcam.page.typed import spec_of
    from pitchcam.store.entries import Entry

    told = joined([(entry.name, entry, spec_of(text)) for entry, text in photos])
    if told is None:
        return None
    return Entry(
        id="", sha256="", settings_key="", outcome=told[0], names=("all photos",), corrections={}
    )


def lookup(typed: Typed) -> dict[str, Any]:
    """Name a thread from readings: the measurement document, and the text of the command."""
    from pitchcam.cli._typed import as_document, as_text
    from pitchcam.match.by_hand import name_readings
    from pitchcam.match.readings import Typed as Read
    from pitchcam.match.readings import to_reading
    from pitchcam.series.gauges import parse_leaf

    gauge, form = (typed.get("gauge") or "").strip(), typed.get("form") or None
    if form not in (None, *FORMS):
        raise UsageError(f"'{str(form)[:40]}' is no form of a thread;", "choose one of the list")
    read: dict[str, Any] = {"form": form}
    read |= {
        f"{name}_mm": length(typed.get(name))
        for name in ("diameter", "second", "apart", "bore", "station")
    }
    hand = Read(
        leaf=parse_leaf(gauge) if gauge else None,
        angle_deg=number(typed.get("angle"), "angle"),
        cast=bool(typed.get("cast")),
        **read,
    )
    reading, verdict = to_reading(hand), name_readings(hand)
    return {"document": as_document(reading, verdict), "text": as_text(reading, verdict)}


#: What the eye says of a thread's form.
FORMS = ("parallel", "taper", "unsure")


def families() -> dict[str, str]:
    """Return the families of the series, short name to name."""
    from pitchcam.series.families import load_families

    return {key: family.name for key, family in load_families().items()}


def designations() -> list[str]:
    """Return every designation of the series."""
    from pitchcam.series import load_series

    return list(dict.fromkeys(size.designation for size in load_series()))


def sizes(typed: Typed) -> list[Any]:
    """Return the sizes that pass the filters of ``series``."""
    from pitchcam.cli.series import filtered

    family = typed.get("family") or ""
    return filtered(
        (family,) if family else (),
        length(typed.get("diameter")),
        typed.get("gauge") or None,
        typed.get("use") or None,
        bool(typed.get("common")),
    )


def size(designation: str) -> dict[str, Any]:
    """Return one designation in full, with its drills and its drawing as SVG."""
    from pitchcam.chart.svg import enlarged
    from pitchcam.cli.series import document
    from pitchcam.series import find
    from pitchcam.series.drills import INCH, METRIC, tapping_drill

    found = find(designation)
    drills = []
    for kinds in (METRIC, INCH):
        try:
            drills.append(tapping_drill(found, kinds))
        except UsageError:
            continue
    return {"document": document(found), "drills": drills, "drawing": enlarged(found)}


def chart(chosen: Sequence[str], which: str) -> Any:
    """Return the chart's pages: each with its blocks and the pairs easily confused."""
    from pitchcam.chart.pages import TITLE_ROWS, paginate
    from pitchcam.chart.rows import BENCH_FAMILIES, chart_rows

    rows = chart_rows(chosen or BENCH_FAMILIES, sizes=which)
    return paginate(rows, per_page=len(rows) + TITLE_ROWS, pairs_per_page=len(rows))


#: Which sizes the chart shows, in words.
CHART_SIZES = {"bench": "What engines carry", "usual": "All that are met", "all": "Every size"}


def chart_file(chosen: Sequence[str], which: str, suffix: str, paper: str = "a4") -> bytes:
    """Return the chart as the command writes it; the suffix is .pdf or .csv."""
    from pitchcam.chart.rows import BENCH_FAMILIES, chart_rows
    from pitchcam.cli.chart import drawn

    return drawn(chart_rows(chosen or BENCH_FAMILIES, sizes=which), suffix, paper)[0]


def chart_helpers() -> dict[str, Any]:
    """Return what the chart's template calls: a drill in words, a profile at true scale."""
    from pitchcam.chart.rows import drill_text
    from pitchcam.chart.svg import true_scale

    return {"drill": drill_text, "profile": true_scale}


def mate(male: str, female: str) -> dict[str, Any]:
    """Say whether a male end seals in a female one: document and text of ``mate``."""
    from pitchcam.joining.mating.ends import parse_end
    from pitchcam.joining.mating.mate import mate as mating
    from pitchcam.joining.mating.text import headline, mating_json, mating_text

    result = mating(parse_end(male, "external"), parse_end(female, "internal"))
    return {
        "document": mating_json(result),
        "headline": headline(result),
        "text": mating_text(result),
        "seals": result.seals,
    }


#: The limits of a chain, as forms name them: field, words, unit.
LIMITS = (
    ("bore", "Way to stay clear", "mm"),
    ("pressure", "Working pressure", "bar"),
    ("temperature", "Highest temperature", "°C"),
    ("probe", "Probe's length", "mm"),
    ("wall", "Port's wall", "mm"),
    ("immersion", "Probe in the fluid", "mm"),
    ("room", "Free radius about the port", "mm"),
    ("stand_off", "Most that may be added", "mm"),
    ("port_depth", "Port's thread depth", "mm"),
    ("part_mass", "Mass of the part", "g"),
    ("hose_pressure", "The hose's own rating", "bar"),
    ("hose_temperature", "The hose's highest heat", "°C"),
)
#: Longer chains take seconds to search and hang and leak besides.
_MOST_PIECES = 4


def _limits(typed: Typed) -> dict[str, Any]:
    from pitchcam.joining.stock import amounts

    readers: dict[str, Any] = {
        "pressure": amounts.pressure_bar,
        "temperature": amounts.temperature_c,
        "part_mass": amounts.mass_g,
        "hose_pressure": amounts.pressure_bar,
        "hose_temperature": amounts.temperature_c,
    }
    out: dict[str, Any] = {}
    for name, _, _ in LIMITS:
        text = (typed.get(name) or "").strip()
        out[name] = readers.get(name, length)(text) if text else None
    pieces = int(number(typed.get("max_pieces"), "number of pieces") or 3)
    if not 1 <= pieces <= _MOST_PIECES:
        raise UsageError(f"a chain on the page has 1 to {_MOST_PIECES} pieces;", "choose fewer")
    return out | {
        "max_pieces": pieces,
        "one_wire": bool(typed.get("one_wire")),
        "service": typed.get("service") or None,
    }


def _question(typed: Typed) -> Any:
    from pitchcam.cli._stock import question

    return question(typed.get("port") or "", typed.get("part") or "", _limits(typed))


def adapt(typed: Typed, record: Path) -> dict[str, Any]:
    """Find what joins a part to a port from stock: what ``adapt`` prints, as a document."""
    from pitchcam.cli._stock import load_stock
    from pitchcam.joining.chains.adapt import adapt as chains_of
    from pitchcam.joining.chains.adapt import what_stands_in_the_way
    from pitchcam.joining.chains.orders import missing
    from pitchcam.joining.chains.text import CAUTION, answer_text, chain_json
    from pitchcam.joining.tables import keyed
    from pitchcam.joining.tapped import tapped_plugs

    asked = _question(typed)
    stock = load_stock(None, record)
    chains = chains_of(asked, stock, best=3)
    lacking = missing(asked, stock, chains)
    tapped = [] if chains else [t.text for t in tapped_plugs(asked, stock)]
    hindrances = () if chains else what_stands_in_the_way(asked, stock)
    return {
        "port": asked.port.text,
        "part": asked.part.text,
        "caution": CAUTION,
        "chains": [chain_json(chain, asked) for chain in chains],
        "buy": None if lacking is None else lacking.buy,
        "reorder": [] if lacking is None else list(lacking.reorder),
        "without": [(words, chain_json(chain, asked)) for words, chain in hindrances],
        "text": answer_text(asked, chains, lacking, hindrances, tapped),
        "tapped": tapped,
        "seals": {key: row["name"] for key, row in keyed("seals").items()},
    }


def services() -> list[str]:
    """Return the services for which adapters are planned."""
    from pitchcam.joining.tables import keyed

    return [key for key, row in keyed("services").items() if row["may"] == "yes"]


def join(typed: Typed, record: Path) -> dict[str, Any]:
    """Plan an adapter made of two donors: what ``join`` prints, and the work sheet's bytes."""
    from pitchcam.cli._stock import load_stock
    from pitchcam.cli.join import make_plan, read_duty
    from pitchcam.joining.brazing.text import plan_json, plan_text
    from pitchcam.joining.tapped import flame_free

    asked = _question(typed)
    duty = read_duty(
        _limits(typed),
        number(typed.get("torque"), "torque"),
        number(typed.get("torch"), "power"),
        typed.get("alloy") or None,
    )
    stock = load_stock(None, record)
    first, second = ((typed.get(name) or "").strip() or None for name in ("donor_a", "donor_b"))
    plan = make_plan(asked, stock, (first, second), duty)
    return {
        "document": plan_json(plan),
        "text": plan_text(plan),
        "flame_free": flame_free(asked, stock),
        "plan": plan,
    }


def work_sheet(planned: dict[str, Any], day: date) -> bytes:
    """Return the PDF of what :func:`join` planned, byte for byte as ``join -o`` writes that day."""
    from pitchcam.joining.papers.worksheet import write_worksheet

    def write(path: Path) -> None:
        write_worksheet(planned["plan"], path, day, without=planned["flame_free"])

    return written(write, "work-sheet.pdf")


def written(write: Any, name: str) -> bytes:
    """Return what a writer of files writes."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        write(path)
        return path.read_bytes()
