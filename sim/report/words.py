"""What the report says of the method and its limits, in plain words."""

from __future__ import annotations

METHOD: tuple[str, ...] = (
    "In every photo the edge of the Sun's disc was found and an ellipse laid on it: near the horizon the air squashes "
    "the disc, and that squash was undone. Dark spots were found, their places measured from the disc's centre, and "
    "each place was given an uncertainty. No idea about the Earth or the Sun takes part in this step.",
    "Each geometry says where the Sun stands in the sky at the times and the place of the photos, and which side of it "
    "faces the camera. So it says where a spot that was in one place in the first photo must be in the others.",
    "All geometries were judged by the same rule. Each measured spot may be real or false; real ones may be missed, "
    "may drift or change between the photos; which spot is which is left open. The camera's level, the squash and the "
    "clock may be off by as much for one geometry as for another.",
    "What a geometry leaves free, such as the height of a near Sun, takes the values that suit the photos best, and "
    "pays for that freedom: an idea that could explain anything explains little. The result is the evidence; the "
    "difference of two logarithms of evidence is the logarithm of the odds between two geometries.",
    "A geometry is favoured only with odds of 20 to 1 or more, if it fits by itself, and if the answer stays the same "
    "with all uncertainties doubled. Otherwise the report says 'undecided', or that none fits.",
)

CAVEATS: tuple[str, ...] = (
    "Two photos cannot tell a turn from that turn less 360 degrees. In the tropics the true turn may be the other way "
    "and beyond 180 degrees.",
    "Under a near Sun the pattern does not turn as a whole, so its turn depends on which spots were there. The scores "
    "use the places of the spots, not the turn.",
    "Spots change, appear and vanish within hours. The rule allows for it, but a group that changed its shape can "
    "shift a spot by more than its stated uncertainty.",
    "A bubble level is good to half a degree or a degree. That is usually the largest uncertainty of the latitude.",
    "Only the geometries in the table were compared. Odds say which of them explains the photos best, not that it is "
    "the last word. Anyone can add a geometry of their own and score the same photos again.",
    "Wrong times, a wrong place or a mirrored photo lead every geometry astray. Photos that are mirrored or upside "
    "down and clocks that are wrong by an hour are tried as possible blunders; a wrong date or place is not.",
)
