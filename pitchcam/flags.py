"""The one registry of doubts: code, what it means, what the photographer does about it."""

from __future__ import annotations

from pitchcam.records import Flag

#: code -> (default message, advice). Stages may give a message with figures in it.
FLAGS: dict[str, tuple[str, str]] = {
    "damaged": (
        "the picture is damaged",
        "send the photo again from the camera, as the original file",
    ),
    "no-part": (
        "no dark part against a bright background was found",
        "lay the part on clear glass over a light panel and fill a third of the frame",
    ),
    "no-thread": (
        "no threaded part was found",
        "turn the part so that its thread shows its profile at both sides",
    ),
    "few-turns": (
        "fewer than three full turns of thread are visible",
        "use pitch gauge and caliper: pitchcam lookup",
    ),
    "blurred": (
        "the outline is out of focus or shaken",
        "rest the phone on something, tap on the thread to focus, retake",
    ),
    "over-exposed": (
        "the bright background is clipped to white, which eats the edges",
        "lower the exposure until the background is light grey, retake",
    ),
    "flicker": (
        "the light flickers: bright and dark bands lie across the picture",
        "turn the screen or lamp up to full (dimmed ones flicker) or take another light, retake",
    ),
    "stained": (
        "soft darker areas lie on the light: the glass is stained, or something shades it",
        "wipe the glass and the light, retake if the answer stays open",
    ),
    "too-small": (
        "the thread covers too few pixels to be measured",
        "move the phone closer or use the 2x lens, retake",
    ),
    "cut": (
        "a part is cut by the edge of the picture or of the light",
        "move the part to the middle of the lit window, retake",
    ),
    "touching": (
        "two objects touch or overlap in the picture",
        "leave a finger's width between them, retake",
    ),
    "no-reference": (
        "the stated reference was not found",
        "lay it beside the part, in the lit window, not touching, retake; a bank card "
        "(--card) is the best there is",
    ),
    "no-scale": (
        "no reference was stated: ratios and angles were measured, no lengths",
        "read the crests with a caliper and state it with --major",
    ),
    "references-disagree": (
        "two references give different scales",
        "check the stated sizes, and which object is which",
    ),
    "reference-size": (
        "the reference does not seem to be of the stated size",
        "measure it with a caliper, and state what it reads",
    ),
    "tilt": ("the camera looked down at an angle", "hold the phone level over the part"),
    "inclined": (
        "the part lies at an angle to the plate",
        "support the light end so that the axis lies level",
    ),
    "which-thread": (
        "the reading may be that of either thread, and each would give another scale",
        "lay a bank card beside the part and state --card, or photograph one thread at a time",
    ),
    "which-place": (
        "the stated diameter may be that of the thread or of something else in the picture",
        "read the crests again, or lay a bank card beside the part and state --card",
    ),
    "read-elsewhere": (
        "the stated diameter fits no thread that is measured, but something else in the picture",
        "read the crests of the thread that is measured, or lay a bank card beside the part",
    ),
    "slanted": (
        "a thread is seen so much along its axis that its ridges hide their flanks",
        "lay the part under the middle of the camera, or turn it so that its axis runs "
        "across the line from there",
    ),
    "rim": (
        "the part mirrors the light panel along its edge",
        "raise the part on clear glass well above the panel, mask the panel to the window, "
        "or mark the thread with black marker ink",
    ),
    "halo": (
        "the phone's sharpening drew a halo around the edges",
        "use the camera's plain or raw mode where it has one",
    ),
    "no-exif": (
        "the photo carries no focal length, so the camera's height is a guess",
        "send the original file, not a copy from a messenger",
    ),
    "cropped": (
        "the picture was cropped, so the camera's height and the picture's middle are guesses",
        "send the whole picture, as the camera gave it",
    ),
    "resized": (
        "the picture is not of the size that its camera recorded",
        "send the original file, not a copy of another size",
    ),
    "left-hand": (
        "its flanks are those of a left-hand thread",
        "look at it: a left-hand thread rises to the left when its axis stands upright",
    ),
    "photo-left-out": (
        "a photo does not count in the answer",
        "look at it by itself; retake it, or go on without it",
    ),
    "photos-disagree": (
        "the photos contradict one another",
        "check that they show the same part and that each reference is as stated",
    ),
    "unmoved": (
        "nothing was moved between two of the photos, so that they err alike",
        "turn the part end for end, or lay it elsewhere, between photos",
    ),
    "no-straight-edge": (
        "nothing straight is in view that would show whether rows of the picture are out of place, "
        "which leans flanks as a left hand does",
        "show the border of the light all round, or lay a card or a pin beside the part",
    ),
    "dirt": ("specks or fibres touch the outline", "brush the thread clean and retake"),
    "height": (
        "the height of the thread's axis above the plate is uncertain",
        "state it with --axis-height, or give the caliper reading with --major",
    ),
    "fault": (
        "an inner fault stopped the measurement",
        "retake the photo; if that fails too, keep both and report them",
    ),
    "not-read": ("a quantity could not be measured", "see the other warnings"),
}

#: What the photographer does about flanks or crests that no fit took: any of three causes.
UNFITTED_ADVICE = (
    "clean the thread, hold it clear of the light and square to the camera, focus on it, retake"
)


def flag(code: str, message: str | None = None, advice: str | None = None) -> Flag:
    """Return the registered flag, with a message that carries figures where one is given.

    Raises
    ------
    KeyError
        If ``code`` is not registered: a flag nobody can look up must not exist.
    """
    default_message, default_advice = FLAGS[code]
    return Flag(code=code, message=message or default_message, advice=advice or default_advice)
