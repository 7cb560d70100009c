"""The kinds of reference: what each is called, which sizes it can have, how it is stated and found.

One row here and one module in :mod:`pitchcam.scale` make a new kind.
"""

from __future__ import annotations

from pitchcam.frozen import dataclass
from pitchcam.records import ScaleSource

#: ISO/IEC 7810:2019, ID-1: width, height and thickness of a bank card, mm.
CARD_MM = (85.60, 53.98, 0.76)
#: Standard uncertainty of what a caliper reads, over crests or between its jaws: its limits of
#: error are 0.02 to 0.05 mm (ISO 13385-1, from memory), evenly within 0.025, and it is read in
#: steps of 0.02 mm.
U_CALIPER_MM = 0.015
#: Standard uncertainty of a pin's diameter: a ground one is true to 0.01 mm, a drill's shank to
#: 0.02 (common practice, no source), evenly within 0.014.
U_PIN_MM = 0.008


@dataclass(frozen=True, kw_only=True)
class ReferenceKind:
    """One kind of reference.

    ``name`` is that of its source, and, where it ``lies`` beside the part, of the module in
    :mod:`pitchcam.scale` whose ``references`` finds it; ``option`` that of its option, where it is
    another. ``says`` is what it is called in
    a sentence, ``label`` in a list to choose from, ``help`` what its option states.
    ``limits_mm`` are the sizes that can be, None where it has none to state; ``shape`` is that of
    the objects among which it is looked for (:data:`pitchcam.objects.shapes.Kind`), None where it
    has none of its own.
    """

    name: ScaleSource
    says: str
    label: str
    help: str
    limits_mm: tuple[float, float] | None = None
    shape: str | None = None
    lies: bool = True
    option: str | None = None

    @property
    def flag(self) -> str:
        """Its option on the command line."""
        return f"--{self.option or self.name}"

    @property
    def key(self) -> str:
        """The option's name in a program."""
        return self.flag[2:].replace("-", "_")


#: The best first, as they are offered.
REFERENCE_KINDS: dict[str, ReferenceKind] = {
    kind.name: kind
    for kind in (
        ReferenceKind(
            name="card",
            says="the card",
            label="Bank-card-sized card",
            help="A card of the usual size (85.60 x 53.98 mm).",
            shape="card",
        ),
        ReferenceKind(
            name="sheet",
            says="the marker sheet",
            label="Marker sheet",
            option="sheet-bar",
            help="The marker sheet's bar as the caliper reads it.",
            lies=False,
        ),
        ReferenceKind(
            name="major",
            says="the crests",
            label="None; crests by caliper",
            help="The thread's own crest diameter by caliper; no reference in the photo.",
            limits_mm=(0.8, 150.0),
            lies=False,
        ),
        ReferenceKind(
            name="disc",
            says="the disc",
            label="Round disc or coin",
            help="Diameter of the round disc.",
            limits_mm=(5.0, 120.0),
            shape="disc",
        ),
        ReferenceKind(
            name="pin",
            says="the pin",
            label="Plain pin or drill shank",
            help="Diameter of the plain pin or shank.",
            limits_mm=(0.5, 60.0),
            shape="bar",
        ),
        ReferenceKind(
            name="jaws",
            says="the caliper jaws",
            label="Caliper jaws, open",
            help="Gap of the caliper jaws.",
            limits_mm=(1.0, 150.0),
        ),
        ReferenceKind(
            name="none",
            says="no reference",
            label="Nothing of known size",
            option="no-reference",
            help="Nothing of known size: what pitch over diameter, angle and form tell.",
            lies=False,
        ),
    )
}
#: Those whose size is stated.
SIZED = tuple(name for name, kind in REFERENCE_KINDS.items() if kind.limits_mm is not None)
#: Those that lie beside the part and are found among the objects.
LYING = tuple(name for name, kind in REFERENCE_KINDS.items() if kind.lies)
