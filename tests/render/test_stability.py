"""The disc looks as it did: three small pictures against stored ones.

``python tests/render/test_stability.py`` writes them anew (tests/data/render/discs.png, made by this
program, invented spots) after a change that is meant; look at them first.

Tolerance: 2 steps of 255 in any pixel and 0.1 in the mean. Processors round float32 differently in the last
digit, which moves a value across a rounding edge of the 8-bit scale, by one step; two where the tone curve
is steep.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image
from whichsun.models.geometry import SunView
from whichsun.models.observables import body_vector
from whichsun.render.disc import PictureFrame, SurfaceSpots, render_disc, to_picture

STORED = Path(__file__).parents[1] / "data" / "render" / "discs.png"


def pictures():
    """Plain with spots; squashed, rolled, with horizon and sky; striped near Sun, 3 radii away."""
    # North up, the point under the observer at latitude 0, longitude 0; the Sun at the east horizon.
    attitude = np.array([[-1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 1.0]])
    nowhere = np.full(3, np.nan)
    views = [
        SunView(np.array([1.0, 0, 0]), np.asarray(d), attitude, nowhere, np.asarray(695700.0))
        for d in (215.0, 3.0)
    ]
    latitude, longitude = np.deg2rad([[18.0, -12.0, 25.0, -30.0, 5.0], [-25.0, 20.0, 48.0, -50.0, 68.0]])
    spots = SurfaceSpots(body_vector(latitude, longitude), np.deg2rad([4.0, 3.0, 2.5, 3.5, 4.0]), seed=11)
    apparent = np.linspace(-1.4, 1.4, 57)
    table = apparent, 1.12 * apparent - 0.03 * apparent**2
    frame = PictureFrame.centred(160)
    low = PictureFrame(160, 160, (79.5, 76.0), 70.0, roll_deg=6.0)
    return np.hstack(
        [
            to_picture(render_disc(views[0], frame, spots)),
            to_picture(
                render_disc(views[0], low, spots, vertical_table=table, horizon=-0.6, sky=0.02),
                tint_rgb=(1, 0.8, 0.5),
                blur_px=0.8,
                glow=0.05,
            ),
            to_picture(render_disc(views[1], frame, spots, surface="stripes")),
            to_picture(render_disc(views[0], frame, spots, surface="grid")),
        ]
    )


def test_pictures_are_those_stored():
    difference = np.abs(pictures().astype(int) - np.asarray(Image.open(STORED)).astype(int))
    assert difference.max() <= 2
    assert difference.mean() <= 0.1


if __name__ == "__main__":
    Image.fromarray(pictures()).save(STORED, optimize=True)
