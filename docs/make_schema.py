"""Write docs/schema: a JSON Schema (2020-12) for every document that is printed or written as JSON.

``python docs/make_schema.py``. The tests hold the files against this script, every command's
documents against the files, and the files against the documents: a key that no document has is
none.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, get_args

from pitchcam.flags import FLAGS
from pitchcam.joining.mating.mate import ANSWERS
from pitchcam.records import NAMING_QUANTITIES, Distribution, Gender, ScaleSource, Status
from pitchcam.records.formats import FORMATS, format_of
from pitchcam.records.rows import QUANTITIES
from pitchcam.series.ridges import RIDGES

FOLDER = Path(__file__).parent / "schema"

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}
NUMBER: Schema = {"type": "number"}
WHOLE: Schema = {"type": "integer"}
YES: Schema = {"type": "boolean"}
SHARE: Schema = {"type": "number", "minimum": 0, "maximum": 1}
LENGTH: Schema = {"type": "number", "minimum": 0}


def said(schema: Schema, about: str) -> Schema:
    """Return a schema with its description."""
    return schema | {"description": about}


def obj(about: str, keys: dict[str, Schema], optional: dict[str, Schema] | None = None) -> Schema:
    """Return an object's schema: keys that are always there, and those that may be."""
    return {
        "type": "object",
        "description": about,
        "properties": keys | (optional or {}),
        "required": list(keys),
    }


def listed(item: Schema, about: str = "", **limits: int) -> Schema:
    """Return a list's schema."""
    return {"type": "array", "items": item, **limits} | ({"description": about} if about else {})


def maybe(schema: Schema) -> Schema:
    """Return the schema of what may be null: not measured, or not there."""
    return {"anyOf": [schema, {"type": "null"}]}


def one_of(*words: str) -> Schema:
    """Return the schema of one of several words."""
    return {"enum": list(words)}


def pair(item: Schema, about: str = "") -> Schema:
    """Return the schema of a list of two."""
    return listed(item, about, minItems=2, maxItems=2)


#: What many keys have in common, said once in each file that needs it.
SHARED = {
    "quantity": obj(
        "A value with its standard uncertainty (k = 1), in the unit that its key carries.",
        {"value": NUMBER, "u": LENGTH},
    ),
    "point": pair(NUMBER, "x, y in pixels; (0, 0) is the centre of the top-left pixel."),
}


def shared(name: str) -> Schema:
    """Return the reference to a schema of ``SHARED``."""
    return {"$ref": f"#/$defs/{name}"}


QUANTITY = shared("quantity")
READ = maybe(QUANTITY)
SPAN = pair(shared("point"), "Both ends of the thread on its axis.")
BOX = listed(NUMBER, "Left, top, right, bottom in pixels.", minItems=4, maxItems=4)
GENDER = one_of(*get_args(Gender))

DOUBT_KEYS = {"code": TEXT, "message": TEXT, "advice": TEXT}
WARNING = obj(
    f"A doubt: what was seen, what to do about it. Codes: {', '.join(sorted(FLAGS))}; of a file "
    "that is no photo, others.",
    DOUBT_KEYS,
    {"part": said(WHOLE, "Id of the part that it is of; absent where it is of the whole photo.")},
)
CANDIDATE = obj(
    "A designation that it may be.", {"designation": TEXT, "standard": TEXT, "probability": SHARE}
)
VERDICT = obj(
    "What the thread is called, or why it has no name.",
    {
        "status": one_of(*get_args(Status)),
        "designation": said(maybe(TEXT), "ASCII, as M14x1.5; null unless named."),
        "standard": maybe(TEXT),
        "probability": maybe(SHARE),
        "same_geometry": listed(TEXT, "Other names and uses of the same size."),
        "candidates": listed(CANDIDATE, "The likeliest first."),
        "next_step": said(maybe(TEXT), "What to measure to tell the candidates apart."),
        "notes": listed(TEXT),
    },
)
POSE = obj(
    "How a part lies.",
    {
        "inclination_deg": said(READ, "Of the axis; positive where it rises along span_px."),
        "axis_height_mm": said(READ, "Over the plate, in the middle of the thread."),
        "turn_deg": said(READ, "Of a hexagon from lying on a flat; null where it has none."),
    },
)
BUDGET_LINE = obj(
    "One term of the uncertainty budget; contributions are signed standard uncertainties.",
    {
        "source": TEXT,
        "kind": said(one_of("A", "B"), "Type of evaluation (JCGM 100)."),
        "correlated": said(YES, "One input moves all quantities together."),
        "of_scale": said(YES, "The term makes the scale itself wrong."),
        "distribution": one_of(*get_args(Distribution)),
        "degrees_of_freedom": said(maybe(LENGTH), "Null: known exactly."),
    },
    {name: NUMBER for name in NAMING_QUANTITIES},
)
RATIOS = obj(
    "What is left of the lengths where the photo has no scale.",
    {name: READ for name in ("pitch_over_major", "pitch_diameter_over_major", "minor_over_major")},
)
FORMS = obj(
    "Logarithm of each form's likelihood by the outline, the best one's 0; where it was asked.",
    {},
    dict.fromkeys(RIDGES, {"type": "number", "maximum": 0}),
)
THREAD = obj(
    "One thread: its quantities, their budget, its name.",
    {
        "pitch_mm": READ,
        "tpi": said(READ, "Threads per inch, of pitch_mm."),
        "major_mm": READ,
        "pitch_diameter_mm": READ,
        "minor_mm": READ,
        "angle_deg": said(READ, "Included angle of the flanks."),
        "half_angles_deg": pair(READ, "From the normal of the axis."),
        "taper": said(READ, "Change of diameter per length; 1:16 is 0.0625."),
        "diameter_station_mm": said(READ, "Of the diameters of a taper, from its small end."),
        "correlation": listed(
            {
                "type": "array",
                "minItems": 3,
                "maxItems": 3,
                "prefixItems": [
                    one_of(*NAMING_QUANTITIES),
                    one_of(*NAMING_QUANTITIES),
                    {"type": "number", "minimum": -1, "maximum": 1},
                ],
            },
            "Pairs of quantities with their coefficient; absent pairs are uncorrelated.",
        ),
        "gender": GENDER,
        "starts": said(WHOLE | {"minimum": 1}, "1 for a single start."),
        "turns": said(maybe(LENGTH), "Turns that the photo shows."),
        "span_px": maybe(SPAN),
        "pose": POSE,
        "budget": listed(BUDGET_LINE),
        "verdict": VERDICT,
    },
    {
        "ratios": maybe(RATIOS),
        "taper_sign": said({"enum": [1, -1]}, "1 where the diameter grows along span_px."),
        "in_step": said(
            {"type": "number", "exclusiveMinimum": 0, "maximum": 1},
            "Probability that both sides are in step, as those of rings are.",
        ),
        "no_thread": said(
            {"type": "number", "exclusiveMinimum": 0, "maximum": 1},
            "Probability that it is no thread by its outline.",
        ),
        "spans_px": listed(maybe(SPAN), "Of several photos: one each, null where it is not seen."),
        "forms": FORMS,
    },
)
PART = obj(
    "One part; it has no threads where none was found on it.",
    {"id": WHOLE, "box_px": maybe(BOX), "pose": POSE, "threads": listed(THREAD)},
    {"boxes_px": listed(maybe(BOX), "Of several photos: one each, null where it is not seen.")},
)
SCALE = obj(
    "Where the scale comes from.",
    {
        "source": one_of(*get_args(ScaleSource)),
        "mm_per_px": said(READ, "At the axis of the first thread; null without a reference."),
        "camera_height_mm": READ,
    },
    {
        "stated_mm": said(maybe(LENGTH), "The reference's size as it was stated."),
        "focal_px": READ,
        "lens_photos": said(maybe(WHOLE), "Other photos that told of the lens; null for none."),
    },
)
PHOTO_KEYS = {"file": TEXT, "sha256": TEXT, "width_px": maybe(WHOLE), "height_px": maybe(WHOLE)}
LENS = {"lens": said(TEXT, "The same for photos by one lens.")}
PHOTO = obj("The photo; without a size where the file is none.", PHOTO_KEYS, LENS)
USE = obj(
    "One of several photos of one part.",
    PHOTO_KEYS
    | {
        "scale": maybe(SCALE),
        "left_out": said(maybe(TEXT), "Why it does not count; null where it does."),
    },
    LENS,
)

JOINT = obj(
    "One joint of a chain.",
    {
        "male": TEXT,
        "female": TEXT,
        "answer": one_of(*ANSWERS),
        "seal": TEXT,
        "rule": TEXT,
        "source": TEXT,
    },
)
CHAIN = obj(
    "Pieces from stock that join part and port.",
    {
        "pieces": listed(obj("A fitting of the stock.", {"id": TEXT, "turned": YES, "text": TEXT})),
        "joints": listed(JOINT, "From the port to the part."),
        "added_mm": NUMBER,
        "bore_mm": said(maybe(NUMBER), "Null where they mate directly."),
        "pressure_bar": maybe(NUMBER),
        "temperature_c": maybe(NUMBER),
        "immersion_mm": said(maybe(NUMBER), "What is left of a probe in the fluid."),
        "turning_radius_mm": NUMBER,
        "mass_g": NUMBER,
        "moment_n_m": said(NUMBER, "At the port, under vibration."),
        "bend_mpa": maybe(NUMBER),
        "needs": listed(TEXT),
        "warnings": listed(TEXT),
    },
)
PLAN_KEYS: dict[str, Schema] = {
    "port": TEXT,
    "part": TEXT,
    "service": TEXT,
    "donors": listed(TEXT, "Ids of stock rows."),
    "saw_at_mm": listed(maybe(NUMBER)),
    "length_mm": NUMBER,
    "bore_mm": NUMBER,
    "joint": TEXT,
    "laps": listed(
        obj(
            "One overlap.",
            {
                "donor": TEXT,
                "spigot_mm": NUMBER,
                "overlap_mm": NUMBER,
                "clearance_mm": listed(
                    NUMBER, "Least, aimed at, most; cold, on the diameter.", minItems=3, maxItems=3
                ),
            },
        )
    ),
    "sleeve_mm": said(maybe(pair(NUMBER)), "Outside diameter and length; null without one."),
    "area_mm2": NUMBER,
    "alloy": TEXT,
    "flux": TEXT,
    "rod_mm": NUMBER,
    "stored_kj": NUMBER,
    "seconds": maybe(NUMBER),
    "stress_mpa": NUMBER,
    "factor": said(NUMBER, "Times under failure."),
    "torques_n_m": listed(pair(maybe(NUMBER), "Least and most.")),
    "through_joint_n_m": NUMBER,
    "proof_bar": NUMBER,
    "figures": listed(
        obj("A figure of the work sheet.", {"what": TEXT, "value": TEXT, "how": TEXT})
    ),
    "steps": listed(TEXT),
    "cautions": listed(TEXT),
}
SIDE = obj(
    "The names that one side may have.",
    {
        "origin": TEXT,
        "names": listed(obj("A name.", {"end": TEXT, "probability": SHARE})),
        "probability": said(maybe(SHARE), "Of the one name that was measured; null if several."),
        "left_open": said(YES, "Measuring left this one name without settling it."),
        "same_geometry": listed(TEXT),
        "next_step": maybe(TEXT),
    },
)
BRIEF_KEYS: dict[str, Schema] = {
    "designation": TEXT,
    "standard": TEXT,
    "family": TEXT,
    "pitch_mm": LENGTH,
    "tpi": LENGTH,
    "major_mm": LENGTH,
    "pitch_diameter_mm": LENGTH,
    "minor_mm": LENGTH,
    "angle_deg": LENGTH,
    "taper": LENGTH,
    "source": TEXT,
    "checked": said(maybe(TEXT), "Data of others that its figures agree with; null: none."),
}
LIMITS = obj(
    "Limits of one class: least and most, mm.",
    {
        "class": TEXT,
        "major_mm": pair(NUMBER),
        "pitch_diameter_mm": pair(NUMBER),
        "minor_mm": pair(NUMBER),
    },
)
LEAF = obj(
    "A leaf, and how far the photo's pitch lets it be the right one.",
    {
        "leaf": TEXT,
        "pitch_mm": LENGTH,
        "probability": SHARE,
        "turns_to_visible_gap": said(maybe(LENGTH), "Null: it fits within the uncertainty."),
    },
)
CROSS = obj(
    "What a wrong pair does; shares and turns as (tightest, loosest) or (least, most).",
    {
        "kind": TEXT,
        "free_turns": pair(NUMBER),
        "wanted_turns": NUMBER,
        "overlap_share": pair(NUMBER),
        "shear_share": pair(NUMBER),
        "drift_mm_per_turn": NUMBER,
        "angle_difference_deg": NUMBER,
        "interference_mm": pair(NUMBER),
    },
)
MATING_KEYS: dict[str, Schema] = {
    "male": TEXT,
    "female": TEXT,
    "answer": one_of(*ANSWERS),
    "seal": maybe(TEXT),
    "rule": TEXT,
    "source": TEXT,
    "failure": maybe(TEXT),
    "cross_thread": maybe(CROSS),
}


def of(
    name: str, about: str, keys: dict[str, Schema], optional: dict[str, Schema] | None = None
) -> Schema:
    """Return the schema of a whole document, with its format key."""
    return obj(about, {"format": {"const": format_of(name)}} | keys, optional)


DOCUMENTS: dict[str, Schema] = {
    "measurement": of(
        "measurement",
        "What a photo, or readings by hand, gave.",
        {"scale": maybe(SCALE), "parts": listed(PART), "warnings": listed(WARNING)},
        {
            "photo": said(maybe(PHOTO), "Null for readings by hand."),
            "photos": listed(USE, "In place of photo, where several were taken together."),
        },
    )
    | {"oneOf": [{"required": ["photo"]}, {"required": ["photos"]}]},
    "check": of(
        "check",
        "Whether a photo agrees with the gauge leaf that was read.",
        {
            "threads": listed(
                obj(
                    "One thread beside the leaf.",
                    {
                        "part": WHOLE,
                        "thread": WHOLE,
                        "pitch_mm": QUANTITY,
                        "angle_deg": READ,
                        "status": one_of("agrees", "disagrees", "cannot tell"),
                        "angle_agrees": said(
                            maybe(YES), "Null: not sure enough to tell, or not read."
                        ),
                        "no_leaf": said(SHARE, "Probability that no leaf of any set is right."),
                        "reference": said(maybe(TEXT), "What the leaf says of the reference."),
                        "read": LEAF,
                        "neighbours": listed(LEAF),
                    },
                )
            ),
            "warnings": listed(obj("A doubt of the reference.", DOUBT_KEYS)),
        },
    ),
    "size": of(
        "size",
        "All that is known of one size.",
        BRIEF_KEYS
        | {
            "gauge_length_mm": maybe(LENGTH),
            "useful_length_mm": maybe(LENGTH),
            "limits": obj("By gender.", {}, {g: listed(LIMITS) for g in get_args(Gender)}),
            "seal": TEXT,
            "uses": listed(
                obj("A use.", {"use": TEXT, "gender": TEXT, "seal": TEXT, "source": TEXT})
            ),
            "same_geometry": listed(TEXT),
            "confusable": listed(
                obj(
                    "What it is taken for, and the reading that tells.",
                    {"designation": TEXT, "measurement": TEXT, "this": TEXT, "other": TEXT},
                )
            ),
            "commonness": TEXT,
        },
    ),
    "series": of(
        "series",
        "Sizes of the standard series.",
        {"sizes": listed(obj("A size; of a taper at its gauge plane.", BRIEF_KEYS))},
    ),
    "mating": of("mating", "Whether a male end goes into a female one, and seals.", MATING_KEYS),
    "matings": of(
        "matings", "Both ways round.", {"matings": listed(of("mating", "One way.", MATING_KEYS))}
    ),
    "chains": of(
        "chains",
        "What joins a part to a port from stock, the best first.",
        {
            "port": TEXT,
            "part": TEXT,
            "chains": listed(CHAIN),
            "buy": said(maybe(TEXT), "What to buy for a better one, or for any."),
            "reorder": listed(TEXT, "What has run out."),
        },
    ),
    "joining": of("joining", "An adapter made of two donors.", PLAN_KEYS),
    "job": of(
        "job",
        "From names or photos to the join.",
        {
            "port": SIDE,
            "part": SIDE,
            "settled": said(YES, "The work is the same under every name shown."),
            "left_out": said(SHARE, "Probability of the pairs of names not shown."),
            "ways": listed(
                obj(
                    "The join under one pair of names.",
                    {
                        "port": TEXT,
                        "part": TEXT,
                        "probability": SHARE,
                        "what": TEXT,
                        "chain": maybe(CHAIN),
                        "made": maybe(of("joining", "An adapter made of two donors.", PLAN_KEYS)),
                        "orders": listed(TEXT),
                        "tighten": listed(
                            obj("One joint.", {"joint": TEXT, "action": TEXT, "how": TEXT})
                        ),
                    },
                ),
                "The likeliest first.",
            ),
        },
    ),
    "stock": of(
        "stock",
        "Rows of the stock.",
        {"rows": listed(obj("A row.", {"id": TEXT, "text": TEXT, "count": WHOLE}))},
    ),
}


#: One row of a table of threads; cells are null or empty where there is nothing.
ROW = obj(
    "A thread, or a photo or part that gave none.",
    {
        "id": TEXT,
        "photo": TEXT,
        "part": maybe(WHOLE),
        "thread": maybe(WHOLE),
        "status": said(one_of(*get_args(Status), "refused", "failed"), "Of the photo without one."),
        "name": said(TEXT, "What a person said it is, else the verdict's name; empty in doubt."),
        "designation": TEXT,
        "standard": TEXT,
        "probability": maybe(SHARE),
        **{f"{u}{name}": maybe(NUMBER) for name in QUANTITIES for u in ("", "u_")},
        "gender": {"enum": [*get_args(Gender), ""]},
        "starts": maybe(WHOLE),
        "turns": maybe(LENGTH),
        "candidates": TEXT,
        "same_geometry": TEXT,
        "next_step": TEXT,
        "warnings": said(TEXT, "Codes, parted by blanks."),
        "corrected_by": TEXT,
        "corrected_why": TEXT,
        "sha256": TEXT,
        "settings_key": said(TEXT, "The same for photos measured in the same way."),
    },
    {"number": said(WHOLE, "Of a box: the line's, as on the contact sheet.")},
)
CURVE = listed(listed(NUMBER))
POINTS = listed(shared("point"))
DOCUMENTS |= {
    "threads": of(
        "threads", "A table of threads, as the CSV of the same name.", {"rows": listed(ROW)}
    ),
    "measurements": of(
        "measurements",
        "What the photos of each part gave together.",
        {"measurements": listed(DOCUMENTS["measurement"])},
    ),
    "camera": of(
        "camera",
        "What is known of one lens, for photos of one size.",
        {
            "name": TEXT,
            "width_px": WHOLE,
            "height_px": WHOLE,
            "f_px": said(LENGTH, "Focal length."),
            "u_f_px": LENGTH,
            "centre_px": pair(NUMBER),
            "u_centre_px": pair(LENGTH),
            "k1": said(NUMBER, "r_d = r (1 + k1 r^2 + k2 r^4), r in units of f_px."),
            "k2": NUMBER,
            "residual_px": LENGTH,
            "views": WHOLE,
            "f35_mm": maybe(LENGTH),
        },
    ),
    "lenses": of(
        "lenses",
        "What photos told of their lenses, beyond what was known.",
        {
            "lenses": {
                "type": "object",
                "description": "By lens, then by the SHA-256 of the photo that told it.",
                "additionalProperties": {
                    "type": "object",
                    "additionalProperties": obj(
                        "One photo's lesson.",
                        {},
                        {
                            "ln_focal": said(
                                NUMBER, "True focal length over the stated, logarithm."
                            ),
                            "u_ln_focal": LENGTH,
                            "corner": said(
                                NUMBER, "Displacement at the picture's corner, a share."
                            ),
                            "u_corner": LENGTH,
                        },
                    ),
                },
            }
        },
    ),
    "run": of(
        "run",
        "A photo is being measured; addresses on the page.",
        {"run": TEXT, "events": said(TEXT, "The steps, as server-sent events."), "answer": TEXT},
    ),
    "refusal": of("refusal", "What is wrong, what to do.", {"message": TEXT, "advice": TEXT}),
    "kept": of("kept", "The reference is remembered.", {"kept": YES}),
    "frame": of(
        "frame",
        "What is to be changed before the photo is taken.",
        {
            "hints": listed(TEXT, "The worst first."),
            "ready": YES,
            "box": said(maybe(listed(NUMBER, minItems=4, maxItems=4)), "Of the part, in shares."),
        },
    ),
    "view": of(
        "view",
        "What the page draws over a photo; of one without an answer only its size.",
        {
            "width": maybe(WHOLE),
            "height": maybe(WHOLE),
            "threads": listed(
                obj(
                    "One thread.",
                    {
                        "part": WHOLE,
                        "number": WHOLE,
                        "budget": maybe(
                            obj(
                                "The budget as it is shown.",
                                {
                                    "columns": listed(TEXT),
                                    "rows": listed({"type": "array"}, "Source, type, cells."),
                                    "totals": listed(TEXT),
                                },
                            )
                        ),
                        "plots": listed(obj("A plot.", {"title": TEXT, "file": TEXT})),
                        "axis": POINTS,
                        "edges": listed(POINTS),
                        "crests": POINTS,
                        "flanks": listed(POINTS),
                    },
                )
            ),
        },
        {"reference": POINTS, "parts": listed(POINTS)},
    ),
    "plots": of(
        "plots",
        "What the plots of a photo's threads are drawn from.",
        {
            "threads": {
                "type": "object",
                "description": "By part and number, as 1-2.",
                "additionalProperties": maybe(
                    obj(
                        "One thread's curves.",
                        {"axis_px": SPAN, "spectrum": CURVE, "folded": CURVE, "drift": CURVE},
                    )
                ),
            }
        },
    ),
    "bench": of(
        "bench",
        "What the bench remembers.",
        {},
        {
            "reference": obj(
                "The form's fields of its own reference.",
                {"source": TEXT},
                {name: TEXT for name in ("size", "reference_height", "axis_height")},
            )
        },
    ),
    "browsers": of(
        "browsers",
        "Paired browsers.",
        {
            "browsers": {
                "type": "object",
                "description": "By the SHA-256 of the session's secret: since when.",
                "additionalProperties": TEXT,
            }
        },
    ),
    "box": of(
        "box",
        "Photos that were sent together.",
        {
            "typed": {
                "type": "object",
                "description": "The form's fields they are measured with.",
                "additionalProperties": TEXT,
            },
            "photos": listed(pair(TEXT, "Name and SHA-256.")),
        },
    ),
}


def schema_text(name: str) -> str:
    """Return the file of one document's schema."""
    whole = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$comment": f"Written by docs/make_schema.py. Met at: {FORMATS[name]}. Keys may be "
        "added within a revision; none is renamed or dropped.",
        "title": format_of(name),
        **DOCUMENTS[name],
    }
    used = {n: s for n, s in SHARED.items() if f'/{n}"' in json.dumps(whole)}
    whole |= {"$defs": used} if used else {}
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


def main() -> None:
    """Write all files."""
    FOLDER.mkdir(exist_ok=True)
    for name in DOCUMENTS:
        (FOLDER / f"{name}.json").write_text(schema_text(name), encoding="utf-8")
        print(FOLDER / f"{name}.json")


if __name__ == "__main__":
    main()
