"""Donors for a shop-made adapter, chosen from stock."""

from __future__ import annotations

from collections.abc import Sequence

from pitchcam.errors import RefusedError, UsageError
from pitchcam.fitting.chain import joint_demerits
from pitchcam.fitting.ends import End
from pitchcam.fitting.join import Duty, JoinPlan, plan_join
from pitchcam.fitting.question import Question
from pitchcam.fitting.refuse import service_row
from pitchcam.fitting.stock import Fitting


def choose_donors(
    question: Question, stock: Sequence[Fitting], duty: Duty, *, tries: int = 60
) -> JoinPlan:
    """Return the best plan that donors from stock allow.

    The best keeps a spigot over a butt, then one metal over two, then least metal cut away, then
    the shortest. ``tries`` bounds how many donors of each side are looked at, the cheapest (most
    in the drawer, shortest) first.

    Raises
    ------
    RefusedError
        If no two donors may be joined; with the reason of the most promising pair.
    """
    service_row(duty.service)
    sides = [_candidates(question, stock, end, tries) for end in (question.port, question.part)]
    for rows, end in zip(sides, (question.port, question.part), strict=True):
        if not rows:
            raise RefusedError(f"stock has no donor with an end for {end.text}.",
                               "Buy any fitting with that end.")  # fmt: skip
    best: tuple[tuple[bool, bool, float, float], JoinPlan] | None = None
    refusal: RefusedError | None = None
    for a in sides[0]:
        for b in sides[1]:
            if a.id == b.id and a.count < 2:
                continue
            try:
                plan = plan_join(question, (a, b), duty)
            except RefusedError as error:
                refusal = refusal or error
                continue
            except UsageError:
                continue
            key = _choice_key(plan)
            if best is None or key < best[0]:
                best = key, plan
    if best is None:
        raise refusal or RefusedError("no two donors of the stock can be joined.",
                                      "Check that hex and bore are stated.")  # fmt: skip
    return best[1]


def _choice_key(plan: JoinPlan) -> tuple[bool, bool, float, float]:
    one, other = plan.donors
    waste = sum(d.fitting.length_mm - d.keep_thread_mm - d.body_left_mm for d in plan.donors)
    return plan.form.form == "butt", one.metal.key != other.metal.key, waste, plan.length_mm


def _candidates(
    question: Question, stock: Sequence[Fitting], faces: End, tries: int
) -> list[Fitting]:
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
    return rows[:tries]
