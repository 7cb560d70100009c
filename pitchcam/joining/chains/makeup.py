"""How each joint of a chain from stock is made up: nothing in it was ever heated."""

from __future__ import annotations

from pitchcam.joining.bolting.tightening import UNKNOWN, Piece, Tightening, tightening
from pitchcam.joining.chains.chain import Chain
from pitchcam.joining.chains.question import Question
from pitchcam.joining.mating.ends import End
from pitchcam.joining.metals import metal
from pitchcam.joining.practice import practice
from pitchcam.joining.stock.sheet import Fitting


def chain_tightenings(chain: Chain, question: Question) -> tuple[Tightening, ...]:
    """Return the make-up of every joint of a chain, port first."""
    proof = practice("proof") * (question.pressure_bar or 0.0)
    result = []
    for i, joint in enumerate(chain.joints):
        sides = {joint.male: UNKNOWN, joint.female: UNKNOWN}
        for number, near in ((i - 1, False), (i, True)):
            if 0 <= number < len(chain.links):
                link = chain.links[number]
                end = link.near if near else link.far
                if end is not None:
                    sides[end] = _piece(link.fitting, end)
        result.append(
            tightening(
                joint,
                sides[joint.male],
                sides[joint.female],
                pressure_bar=proof,
                temperature_c=question.temperature_c,
            )
        )
    return tuple(result)


def _piece(f: Fitting, end: End) -> Piece:
    inside = end.gender == "internal"
    return Piece(metal=metal(f.material), bore_mm=f.bore_mm, hex_mm=f.hex_mm if inside else None)
