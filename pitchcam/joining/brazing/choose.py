"""Donors for a shop-made adapter, chosen from stock."""

from __future__ import annotations

from collections.abc import Sequence

from pitchcam.errors import RefusedError, UsageError
from pitchcam.joining.brazing.plan import Duty, JoinPlan, LooseError, OverloadError, plan_join
from pitchcam.joining.brazing.refuse import brazeable, service_row
from pitchcam.joining.brazing.search import NoMetalError
from pitchcam.joining.chains.chain import joint_demerits
from pitchcam.joining.chains.question import Question
from pitchcam.joining.mating.ends import End
from pitchcam.joining.stock.sheet import Fitting

_Key = tuple[int, bool, bool, int, float, float]


def choose_donors(
    question: Question, stock: Sequence[Fitting], duty: Duty, *, tries: int = 60
) -> JoinPlan:
    """Return the best plan that donors from stock allow.

    The best has only standard joints (none by agreement only), then a socket rather than a sleeve,
    is of one metal rather than two,
    then lets every seal be the tightest of its kind (a copper washer rather than a bonded seal),
    then has least metal cut away, then is the shortest.
    ``tries`` bounds how many donors of each side are looked at, the cheapest (most in the drawer,
    shortest) first.

    Raises
    ------
    RefusedError
        If no two donors may be joined; with the reason of the pair that comes nearest, and which
        donors were left out for what.
    """
    service_row(duty.service)
    left_out: dict[str, str] = {}
    sides = [
        _side(question, stock, end, left_out)[:tries] for end in (question.port, question.part)
    ]
    best: tuple[_Key, JoinPlan] | None = None
    refusals: list[tuple[int, RefusedError]] = []
    for a in sides[0]:
        for b in sides[1]:
            if a.id == b.id and a.count < 2:
                continue
            try:
                plan = plan_join(question, (a, b), duty)
            except RefusedError as error:
                refusals.append((_nearness(error), error))
                continue
            except UsageError:
                continue
            key = _choice_key(plan)
            if best is None or key < best[0]:
                best = key, plan
    if best is not None:
        return best[1]
    if not refusals:
        raise RefusedError(
            "no two donors of the stock can be joined: both are closed, or one is needed twice.",
            "Say which bore to drill: --bore 6",
        )
    nearest = max(refusals, key=lambda pair: (pair[0], -getattr(pair[1], "short_mm", 0.0)))[1]
    others = "" if not left_out else " Left out: " + "; ".join(left_out.values())
    raise RefusedError(nearest.message, nearest.advice + others)


def _nearness(error: RefusedError) -> int:
    """Return how far a pair came: what fails last is the reason that is nearest to a plan."""
    order: tuple[type[RefusedError], ...] = (NoMetalError, LooseError, OverloadError)
    return next((n for n, kind in enumerate(order, start=1) if isinstance(error, kind)), 0)


def _choice_key(plan: JoinPlan) -> _Key:
    one, other = plan.donors
    waste = sum(d.fitting.length_mm - d.keep_thread_mm - d.body_left_mm for d in plan.donors)
    second_best = sum(t.second_best for t in plan.tightenings)
    agreed = sum(m.answer == "by-agreement" for m in plan.matings)
    unlike = one.metal.key != other.metal.key
    return agreed, plan.form.sleeve is not None, unlike, second_best, waste, plan.length_mm


def _side(
    question: Question, stock: Sequence[Fitting], faces: End, left_out: dict[str, str]
) -> list[Fitting]:
    """Return the donors for one end; what may not be heated is noted in ``left_out``.

    Raises
    ------
    RefusedError
        If there is none, or none that may be heated.
    """
    rows = _candidates(question, stock, faces)
    if not rows:
        raise RefusedError(
            f"stock has no donor with an end for {faces.text}.", "Buy any fitting with that end."
        )
    may, barred = [], []
    for f in rows:
        try:
            brazeable(f)
        except RefusedError as error:
            barred.append(error)
            left_out[f.id] = error.message.rstrip(".")
            continue
        may.append(f)
    if not may and len(barred) == 1:
        raise barred[0]
    if not may:
        reasons = "; ".join(e.message.rstrip(".") for e in barred)
        raise RefusedError(
            f"no donor with an end for {faces.text} may be brazed: {reasons}.",
            "Take in a bare fitting with that end.",
        )
    return may


def _candidates(question: Question, stock: Sequence[Fitting], faces: End) -> list[Fitting]:
    rows = []
    for f in stock:
        if f.count < 1 or f.hex_mm is None:
            continue
        fits = [
            end
            for end in (f.end_a, f.end_b)
            if end is not None and joint_demerits(end, faces, question) is not None
        ]
        if fits:
            rows.append(f)
    rows.sort(key=lambda f: (-f.count, f.length_mm, f.id))
    return rows
