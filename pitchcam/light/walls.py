"""What upright walls of flat references (a disc, a caliper's jaws) give back of the light."""

#: Share of the panel's light that a wall gives back at a grazing angle: anything from a blackened
#: one's to this of a polished one, with what it may be more (common practice, no source).
MOST_LIGHT, U_MOST_LIGHT = 0.85, 0.05
#: What a mean profile's samples are worth: noise and what the model leaves out are 0.01, and
#: neighbours a quarter of a pixel apart share it by fours.
U_LIGHT = 0.02
