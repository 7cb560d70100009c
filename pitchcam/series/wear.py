"""How threads wear: one account for all that weighs low crests."""

from __future__ import annotations

#: One part in five is worn; its crests are low by this share of the pitch on the diameter, on
#: average (judgement: 0.1 to 0.3 mm is seen on badly worn 1.5 mm threads).
WORN_SHARE, WEAR_OF_PITCH = 0.2, 0.05
#: One in fifty is badly worn, by this much on average, as the slips of readings by hand have it.
#: A tail that ended sooner would give its low crest to whichever thread's lower limit is the lower.
BADLY_SHARE, BADLY_OF_PITCH = 0.02, 0.15
