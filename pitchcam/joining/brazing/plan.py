"""The shop-made adapter: two donors, the joint between them, and every figure of its work sheet."""

from __future__ import annotations

import math

from pitchcam.errors import RefusedError, UsageError
from pitchcam.frozen import dataclass
from pitchcam.joining.bolting.tightening import UNKNOWN, Piece, Tightening, tightening
from pitchcam.joining.brazing.alloys import Choice, choose_alloy
from pitchcam.joining.brazing.donors import Donor, make_donor
from pitchcam.joining.brazing.figures import Filler, filler_for, heat_for, overall_length_mm
from pitchcam.joining.brazing.form import JointForm
from pitchcam.joining.brazing.heat import Heating
from pitchcam.joining.brazing.refuse import check_duty, check_hose, service_row
from pitchcam.joining.brazing.search import possible_forms
from pitchcam.joining.brazing.strength import JointLoad, hoop_mpa, lap_load, lap_torque_n_m
from pitchcam.joining.chains.chain import joint_demerits
from pitchcam.joining.chains.question import Question
from pitchcam.joining.mating.ends import End
from pitchcam.joining.mating.mate import Mating, mate
from pitchcam.joining.practice import practice
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.joining.tables import Row
from pitchcam.series import find


@dataclass(frozen=True, kw_only=True, slots=True)
class Duty:
    """What the adapter must stand: service, working pressure, highest heat, least bore.

    ``torque_n_m`` is the largest torque that may pass through the brazed joint where a second
    spanner holds the rest, None for the one that its seals need; ``alloy`` a filler
    that is at hand, None for the best of the table.
    """

    service: str
    pressure_bar: float | None = None
    temperature_c: float | None = None
    bore_mm: float | None = None
    torque_n_m: float | None = None
    alloy: str | None = None
    torch_kw: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class JoinPlan:
    """Everything on the work sheet. Donor 0 meets the port, donor 1 the part."""

    question: Question
    service: Row
    pressure_bar: float
    temperature_c: float
    donors: tuple[Donor, Donor]
    matings: tuple[Mating, Mating]
    form: JointForm
    choice: Choice
    length_mm: float
    filler: Filler
    heat: Heating
    tightenings: tuple[Tightening, Tightening]
    load: JointLoad
    proof_bar: float
    hoop_mpa: float


def plan_join(question: Question, donors: tuple[Fitting, Fitting], duty: Duty) -> JoinPlan:
    """Plan the adapter made of two donors; donor 0 keeps its end for the port, 1 for the part.

    Raises
    ------
    RefusedError
        If the service, metals, plating, duty or geometry must not be joined so; with the reason.
    UsageError
        If a donor has no end that fits, or a figure is missing.
    """
    service = service_row(duty.service)
    pressure, temperature = _duty_figures(duty, service)
    check_duty(pressure, temperature)
    check_hose(question, pressure, temperature)
    bore = _bore(question, donors, duty)
    made = (
        make_donor(donors[0], _keeps_b(donors[0], question.port, question), bore),
        make_donor(donors[1], _keeps_b(donors[1], question.part, question), bore),
    )
    choice = choose_alloy((made[0].metal, made[1].metal), duty.alloy)
    refusal: RefusedError | None = None
    for form in possible_forms(made, choice.alloy.working_c):
        try:
            return _plan(_Asked(question, service, pressure, temperature), made, form, choice, duty)
        except (LooseError, OverloadError) as error:
            refusal = refusal or error
    assert refusal is not None
    raise refusal


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the plan is for: question, service, working pressure (bar) and heat (deg C)."""

    question: Question
    service: Row
    pressure_bar: float
    temperature_c: float


def _plan(
    asked: _Asked, made: tuple[Donor, Donor], form: JointForm, choice: Choice, duty: Duty
) -> JoinPlan:
    """Return the plan with one form of joint.

    Raises
    ------
    LooseError, OverloadError
        If a seal cannot be tightened enough, or the brazed joint would carry too much.
    """
    question, pressure = asked.question, asked.pressure_bar
    proof = max(practice("proof") * pressure, practice("proof_least"))
    matings = (_mating(question.port, made[0].keep), _mating(question.part, made[1].keep))
    bears = lap_torque_n_m(
        _load(form, pressure, 0.0), form.weakest.spigot_mm, form.weakest.overlap_mm
    )
    limits = Limits(
        proof_bar=proof,
        temperature_c=asked.temperature_c,
        most_n_m=bears if duty.torque_n_m is None else math.inf,
    )
    tight = (_tightened(matings[0], made[0], limits), _tightened(matings[1], made[1], limits))
    load = _load(form, pressure, _joint_torque(tight, duty))
    plan = JoinPlan(
        question=question,
        service=asked.service,
        pressure_bar=pressure,
        temperature_c=asked.temperature_c,
        donors=made,
        matings=matings,
        form=form,
        choice=choice,
        length_mm=overall_length_mm(made, form),
        filler=filler_for(form, choice),
        heat=heat_for(made, form, choice, duty.torch_kw),
        tightenings=tight,
        load=load,
        proof_bar=proof,
        hoop_mpa=hoop_mpa(proof, form.bore_mm, form.least_wall_mm),
    )
    _refuse_overload(plan)
    return plan


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """What the seals of a plan must hold, and the torque that its brazed joint bears."""

    proof_bar: float
    temperature_c: float
    most_n_m: float


class OverloadError(RefusedError):
    """A brazed joint that would carry more than it may."""


class LooseError(RefusedError):
    """A seal that cannot be tightened enough."""


def _tightened(joint: Mating, d: Donor, limits: Limits) -> Tightening:
    """Return how a kept end is made up: annealed itself, its mate as it was supplied.

    Raises
    ------
    LooseError
        If it cannot be tightened enough to seal.
    """
    own = Piece(metal=d.metal, heated=True, bore_mm=d.final_bore_mm, hex_mm=d.hex_mm)
    male, female = (own, UNKNOWN) if joint.male == d.keep else (UNKNOWN, own)
    result = tightening(
        joint,
        male,
        female,
        pressure_bar=limits.proof_bar,
        temperature_c=limits.temperature_c,
        most_n_m=limits.most_n_m,
    )
    if result.fault:
        raise LooseError(
            f"{result.fault}.", "Take a donor with more metal at that end, or ask for less bore."
        )
    return result


def _duty_figures(duty: Duty, service: Row) -> tuple[float, float]:
    pressure = duty.pressure_bar if duty.pressure_bar is not None else float(service["usual_bar"])
    heat = duty.temperature_c if duty.temperature_c is not None else float(service["usual_c"])
    return pressure, heat


def _bore(question: Question, donors: tuple[Fitting, Fitting], duty: Duty) -> float:
    """Return the bore to keep clear: what is asked, else the narrower donor's own."""
    asked = max(duty.bore_mm or 0.0, question.bore_mm)
    if asked:
        return asked
    own = [f.bore_mm for f in donors if f.bore_mm > 0.0]
    if not own:
        raise UsageError("both donors are closed.", "Say which bore to drill: --bore 6")
    faces = (question.port, question.part)
    closed = [
        _drillable_mm(f, face, question)
        for f, face in zip(donors, faces, strict=True)
        if f.bore_mm == 0.0
    ]
    return min([*own, *closed])


def _drillable_mm(f: Fitting, faces: End, question: Question) -> float:
    """Return the largest bore that leaves a wall under the root of a closed donor's kept male."""
    keep = f.end_b if _keeps_b(f, faces, question) else f.end_a
    if keep is None or keep.is_hose or keep.gender == "internal":
        return math.inf
    size = find(keep.designation)
    root = size.basic_minor_mm - size.taper * (size.gauge_length_mm or 0.0)
    return max(math.floor(2.0 * (root - 2.0 * practice("wall_min"))) / 2.0, 1.0)


def _keeps_b(f: Fitting, faces: End, question: Question) -> bool:
    """Whether a donor keeps end B to meet this end; the end with the better rule is kept."""
    against = [
        None if end is None else joint_demerits(end, faces, question) for end in (f.end_a, f.end_b)
    ]
    if against[0] is None and against[1] is None:
        raise UsageError(f"{f.text} has no end that seals on {faces.text}.", "Take another donor.")
    return against[0] is None or (against[1] is not None and against[1] < against[0])


def _mating(faces: End, keep: End) -> Mating:
    return mate(keep, faces) if keep.gender == "external" else mate(faces, keep)


def _joint_torque(tight: tuple[Tightening, Tightening], duty: Duty) -> float:
    """Return the torque the joint is judged by: what the more demanding of its seals needs."""
    if duty.torque_n_m is not None:
        return duty.torque_n_m
    return max((t.least_n_m for t in tight if t.least_n_m is not None), default=0.0)


def _load(form: JointForm, pressure: float, torque: float) -> JointLoad:
    return lap_load(form.weakest.spigot_mm, form.weakest.overlap_mm, pressure, torque)


def _refuse_overload(plan: JoinPlan) -> None:
    load = plan.load
    if load.stress_mpa > load.allowed_mpa:
        raise OverloadError(
            f"the brazed joint would carry {load.stress_mpa:.0f} MPa against "
            f"{load.allowed_mpa:.0f} MPa allowed (end load {load.end_load_n:.0f} N, "
            f"torque {load.torque_n_m:.1f} N m).",
            "Take donors with more metal for the overlap, or hold torque off the joint with a "
            "second spanner and state it with --torque.",
        )
    if plan.heat.seconds is None:
        raise RefusedError(
            f"a torch of {plan.heat.torch_kw:g} kW never gets it to "
            f"{plan.choice.alloy.working_c:.0f} deg C; it takes more than "
            f"{plan.heat.least_kw:.1f} kW.",
            "State a larger torch with --torch.",
        )
