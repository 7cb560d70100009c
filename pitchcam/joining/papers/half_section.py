"""Half sections of donors and of the finished adapter, as steps of diameter along the axis."""

from __future__ import annotations

from dataclasses import replace

from pitchcam.frozen import dataclass
from pitchcam.joining.brazing.donors import Donor, end_lengths
from pitchcam.joining.brazing.figures import machined_length_mm
from pitchcam.joining.brazing.form import JointForm, Lap
from pitchcam.joining.brazing.plan import JoinPlan
from pitchcam.joining.chains.chain import corner_radius_mm
from pitchcam.joining.mating.ends import End
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.series import find


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """A length of constant diameter, from ``start_mm`` to ``stop_mm`` along the axis.

    ``thread_mm`` is the thread's other diameter (root of a male, crest's outside of a female),
    None where there is none; ``kind`` tells hexes, tails and spigots from plain steps.
    """

    start_mm: float
    stop_mm: float
    diameter_mm: float
    thread_mm: float | None = None
    kind: str = "plain"


@dataclass(frozen=True, kw_only=True, slots=True)
class Piece:
    """A turned piece in half section: outside steps and bore steps, both in order of position."""

    outside: tuple[Step, ...]
    bore: tuple[Step, ...]

    @property
    def length_mm(self) -> float:
        """Length over all."""
        return max(s.stop_mm for s in self.outside) - min(s.start_mm for s in self.outside)

    def placed(self, shift_mm: float, mirrored: bool = False) -> Piece:
        """Return the piece moved along the axis, after mirroring it about 0 if asked."""

        def move(steps: tuple[Step, ...]) -> tuple[Step, ...]:
            if mirrored:
                steps = tuple(
                    replace(s, start_mm=-s.stop_mm, stop_mm=-s.start_mm) for s in reversed(steps)
                )
            return tuple(
                replace(s, start_mm=s.start_mm + shift_mm, stop_mm=s.stop_mm + shift_mm)
                for s in steps
            )

        return Piece(outside=move(self.outside), bore=move(self.bore))


def as_bought(d: Donor) -> Piece:
    """Return the donor before it is cut, the kept end at 0."""
    k, b = d.keep_thread_mm, d.body_mm
    end = k + b + d.cut_thread_mm
    outside = [Step(start_mm=k, stop_mm=k + b, diameter_mm=d.hex_mm, kind="hex")]
    if k:
        outside.insert(0, _male(d.keep, 0.0, k))
    if d.cut is not None and d.cut_thread_mm:
        outside.append(_male(d.cut, k + b, end))
    bore = _bore(d, end, d.bore_mm)
    if d.cut is not None and d.cut_depth_mm:
        bore = [*_clip(bore, end - d.cut_depth_mm), _female(d.cut, end - d.cut_depth_mm, end)]
    return Piece(outside=tuple(outside), bore=tuple(bore))


def as_machined(d: Donor, form: JointForm, number: int) -> Piece:
    """Return donor ``number`` ready for brazing, the kept end at 0."""
    k = d.keep_thread_mm
    lap = form.lap_of(number)
    tip = machined_length_mm(d, lap)
    outside = [_male(d.keep, 0.0, k)] if k else []
    if lap is not None:
        shoulder = tip - lap.spigot_length_mm
        outside += [
            Step(start_mm=k, stop_mm=shoulder, diameter_mm=d.hex_mm, kind="hex"),
            Step(start_mm=shoulder, stop_mm=tip, diameter_mm=lap.spigot_mm, kind="spigot"),
        ]
        return Piece(outside=tuple(outside), bore=tuple(_bore(d, tip, d.final_bore_mm)))
    socket = form.laps[0]
    outside.append(Step(start_mm=k, stop_mm=tip, diameter_mm=d.hex_mm, kind="hex"))
    floor = tip - socket.overlap_mm
    bore = _clip(_bore(d, tip, d.final_bore_mm), floor)
    bore.append(Step(start_mm=floor, stop_mm=tip, diameter_mm=socket.bore_mm))
    return Piece(outside=tuple(outside), bore=tuple(bore))


def assembled(plan: JoinPlan) -> tuple[Piece, ...]:
    """Return the pieces in place: donor A's kept end at 0, B's at the length over all, a sleeve."""
    form = plan.form
    pieces = [as_machined(d, form, i) for i, d in enumerate(plan.donors)]
    placed = (pieces[0], pieces[1].placed(plan.length_mm, mirrored=True))
    if form.sleeve is None:
        return placed
    start, stop = lap_at(plan, form.laps[0])[0], lap_at(plan, form.laps[1])[1]
    middle = pieces[0].length_mm
    steps = ((start, middle, form.laps[0]), (middle, stop, form.laps[1]))
    return *placed, Piece(
        outside=(Step(start_mm=start, stop_mm=stop, diameter_mm=form.sleeve.outside_mm),),
        bore=tuple(Step(start_mm=a, stop_mm=b, diameter_mm=lap.bore_mm) for a, b, lap in steps),
    )


def lap_at(plan: JoinPlan, lap: Lap) -> tuple[float, float]:
    """Return where a lap's overlap starts and stops along the adapter."""
    tip = machined_length_mm(plan.donors[lap.donor], lap)
    near = tip - lap.overlap_mm
    return (near, tip) if lap.donor == 0 else (plan.length_mm - tip, plan.length_mm - near)


def in_stock(f: Fitting, turned: bool) -> Piece:
    """Return a fitting of the stock as it is, its end for the port at 0.

    A hex that is not stated is drawn as wide as the widest end.
    """
    ends = (f.end_b, f.end_a) if turned else (f.end_a, f.end_b)
    stated = (f.thread_b_mm, f.thread_a_mm) if turned else (f.thread_a_mm, f.thread_b_mm)
    lengths = [end_lengths(end, length) for end, length in zip(ends, stated, strict=True)]
    hex_mm = f.hex_mm if f.hex_mm is not None else 2.0 * corner_radius_mm(f)
    (out_a, in_a), (out_b, in_b) = lengths
    total = f.length_mm
    outside = [
        Step(start_mm=out_a, stop_mm=max(total - out_b, out_a), diameter_mm=hex_mm, kind="hex")
    ]
    if ends[0] is not None and out_a:
        outside.insert(0, _male(ends[0], 0.0, out_a))
    if ends[1] is not None and out_b:
        outside.append(_male(ends[1], total - out_b, total))
    bore = []
    if ends[0] is not None and in_a:
        bore.append(_female(ends[0], 0.0, min(in_a, total / 2.0)))
    if f.bore_mm:
        bore.append(
            Step(
                start_mm=min(in_a, total / 2.0),
                diameter_mm=f.bore_mm,
                stop_mm=total - min(in_b, total / 2.0),
            )
        )
    if ends[1] is not None and in_b:
        bore.append(_female(ends[1], total - min(in_b, total / 2.0), total))
    return Piece(outside=tuple(outside), bore=tuple(bore))


def _male(end: End, start: float, stop: float) -> Step:
    if end.is_hose:
        return Step(
            start_mm=start, stop_mm=stop, diameter_mm=float(end.designation[5:]), kind="tail"
        )
    size = find(end.designation)
    return Step(
        start_mm=start,
        stop_mm=stop,
        diameter_mm=size.basic_major_mm,
        thread_mm=size.basic_minor_mm,
        kind="thread",
    )


def _female(end: End, start: float, stop: float) -> Step:
    size = find(end.designation)
    return Step(
        start_mm=start,
        stop_mm=stop,
        diameter_mm=size.basic_minor_mm,
        thread_mm=size.basic_major_mm,
        kind="thread",
    )


def _bore(d: Donor, end: float, bore_mm: float) -> list[Step]:
    steps = []
    start = 0.0
    if d.keep_depth_mm:
        steps.append(_female(d.keep, 0.0, d.keep_depth_mm))
        start = d.keep_depth_mm
    if bore_mm > 0.0:
        steps.append(Step(start_mm=start, stop_mm=end, diameter_mm=bore_mm))
    return steps


def _clip(steps: list[Step], stop: float) -> list[Step]:
    return [replace(s, stop_mm=min(s.stop_mm, stop)) for s in steps if s.start_mm < stop]
