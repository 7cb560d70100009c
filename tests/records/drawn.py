"""Measurements drawn at random, as hypothesis strategies: any that the records allow."""

from dataclasses import replace

from hypothesis import strategies as st

from pitchcam.flags import FLAGS
from pitchcam.records import (
    NAMING_QUANTITIES,
    BudgetLine,
    Candidate,
    Flag,
    Measurement,
    PartPose,
    PartResult,
    PhotoInfo,
    PhotoUse,
    Quantity,
    ScaleResult,
    ThreadRatios,
    ThreadReading,
    ThreadResult,
    Verdict,
)
from pitchcam.series.ridges import RIDGES

numbers = st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: x + 0.0)
sizes = st.floats(1e-6, 1e6, allow_nan=False)
shares = st.floats(0.0, 1.0)
words = st.text(max_size=12)
some = st.none() | words
quantities = st.builds(Quantity, value=numbers, u=st.floats(0.0, 1e3))
lengths = st.builds(Quantity, value=sizes, u=st.floats(0.0, 1e3))
maybe = st.none() | quantities
points = st.tuples(numbers, numbers)
spans = st.none() | st.tuples(points, points)
boxes = st.none() | st.tuples(*[numbers] * 4)

pairs = st.tuples(st.sampled_from(NAMING_QUANTITIES), st.sampled_from(NAMING_QUANTITIES))
readings = st.builds(
    ThreadReading,
    gender=st.sampled_from(["external", "internal"]),
    pitch_mm=st.none() | lengths,
    major_mm=maybe,
    pitch_diameter_mm=maybe,
    minor_mm=maybe,
    angle_deg=maybe,
    taper=maybe,
    diameter_station_mm=maybe,
    starts=st.integers(1, 8),
    correlation=st.dictionaries(pairs, st.floats(-1.0, 1.0), max_size=4),
    forms=st.dictionaries(st.sampled_from(sorted(RIDGES)), st.floats(-1e6, 0.0), max_size=4),
)
lines = st.builds(
    BudgetLine,
    source=words,
    contributions=st.dictionaries(st.sampled_from(NAMING_QUANTITIES), numbers),
    kind=st.sampled_from(["A", "B"]),
    correlated=st.booleans(),
    of_scale=st.booleans(),
    distribution=st.sampled_from(["normal", "rectangular", "t"]),
    degrees_of_freedom=st.just(float("inf")) | sizes,
)
candidates = st.builds(Candidate, designation=words, standard=words, probability=shares)
verdicts = st.builds(
    Verdict,
    status=st.sampled_from(["named", "ambiguous", "off-series", "unreadable"]),
    designation=some,
    standard=some,
    probability=st.none() | shares,
    same_geometry=st.lists(words, max_size=2).map(tuple),
    candidates=st.lists(candidates, max_size=3).map(tuple),
    next_step=some,
    notes=st.lists(words, max_size=2).map(tuple),
)
poses = st.builds(PartPose, inclination_deg=maybe, axis_height_mm=maybe, turn_deg=maybe)
ratios = st.builds(
    ThreadRatios, pitch_over_major=maybe, pitch_diameter_over_major=maybe, minor_over_major=maybe
)
threads = st.builds(
    ThreadResult,
    reading=readings,
    half_angles_deg=st.tuples(maybe, maybe),
    turns=st.none() | sizes,
    span_px=spans,
    taper_sign=st.sampled_from([1, -1]),
    in_step=st.floats(0, 1),
    no_thread=st.floats(0, 1),
    ratios=st.none() | ratios,
    spans_px=st.lists(spans, max_size=2).map(tuple),
    budget=st.lists(lines, max_size=3).map(tuple),
    verdict=verdicts,
    plots=st.none(),
    pose=poses,
)
parts = st.builds(
    PartResult,
    id=st.integers(1, 99),
    box_px=boxes,
    boxes_px=st.lists(boxes, max_size=2).map(tuple),
    threads=st.lists(threads, max_size=2).map(tuple),
    outline_px=st.just(()),
)
photos = st.builds(
    PhotoInfo,
    file=words,
    sha256=words,
    width_px=st.none() | st.integers(1, 20000),
    height_px=st.none() | st.integers(1, 20000),
    lens=words,
)
scales = st.builds(
    ScaleResult,
    source=st.sampled_from(["pin", "disc", "card", "jaws", "major", "sheet"]),
    mm_per_px=st.none() | lengths,
    camera_height_mm=maybe,
    stated_mm=st.none() | sizes,
    focal_px=maybe,
    box_px=st.none(),
    outline_px=st.just(()),
)
uses = st.builds(PhotoUse, info=photos, scale=st.none() | scales, left_out=some, alone=st.none())
flags = st.builds(
    Flag,
    code=st.sampled_from(sorted(FLAGS)),
    message=words,
    advice=words,
    part=st.none() | st.integers(1, 99),
)


def _with_its_photo(measurement):
    """Of several photos, the first that counts stands for them."""
    if not measurement.photos:
        return measurement
    uses = measurement.photos
    first = next((use for use in uses if use.left_out is None), uses[0])
    return replace(measurement, photo=first.info)


measurements = st.builds(
    Measurement,
    photo=st.none() | photos,
    scale=st.none() | scales,
    parts=st.lists(parts, max_size=2).map(tuple),
    warnings=st.lists(flags, max_size=2).map(tuple),
    photos=st.lists(uses, max_size=2).map(tuple),
).map(_with_its_photo)
