"""Ghost images: copies of the disc and its spots are dropped, true spots that look like copies stay.

Every picture is drawn: a disc with known spots, and a faint copy of it added in linear light, as a double reflection
adds it.
"""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage
from whichsun.render.tone import srgb_decode, srgb_encode
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import load_photo
from whichsun.sim.photo.spots import find_spots

RADIUS = 250
SPOTS = [(-0.4, 0.3), (0.5, 0.25), (0.1, -0.5), (0.65, -0.45), (-0.3, -0.35)]
SENSES = {"upright": (1, 1), "inverted": (-1, -1), "left-right": (1, -1), "up-down": (-1, 1)}


@pytest.fixture(scope="module")
def draw(take_photo, tmp_path_factory):
    """Linear light of a disc with spots at disc places; drawn once for each set of them."""
    folder, drawn = tmp_path_factory.mktemp("ghosts"), {}

    def light_of(places, tint=(0.95, 0.75, 0.45)):
        key = tuple(places), tint
        if key not in drawn:
            path = folder / f"{len(drawn)}.png"
            take_photo(path, xy=places, radius_px=RADIUS, spot_radius=0.035, tint=tint)
            with Image.open(path) as image:
                drawn[key] = srgb_decode(np.asarray(image) / 255)
        return drawn[key]

    return light_of


def ghost(light, sense, shift, share):
    """A faint, softer image of the light, turned over by `sense` and moved by `shift` (rows, columns)."""
    turned = light[:: sense[0], :: sense[1]]
    return share * ndimage.gaussian_filter(ndimage.shift(turned, (*shift, 0), order=1), (2, 2, 0))


def dimmed(light, places, depth, width_px=5.0):
    """The light with a round dip at disc places."""
    rows, columns = np.indices(light.shape[:2])
    middle = (np.array(light.shape[:2]) - 1) / 2
    for x, y in places:
        gap = np.hypot(columns - middle[1] - RADIUS * x, rows - middle[0] + RADIUS * y)
        light = light * (1 - depth * np.exp(-0.5 * (gap / width_px) ** 2))[..., None]
    return light


def found(light, path):
    """Spots and what was refused on a JPEG of the light."""
    codes = np.rint(255 * srgb_encode(np.clip(light, 0, 1))).astype(np.uint8)
    Image.fromarray(codes).save(path, quality=92)
    photo = load_photo(path)
    return find_spots(photo, measure_limb(photo))


def assert_places(findings, places):
    """One spot at each place and no other; within 2 % of the radius, by which a ghost's slope may pull none."""
    assert len(findings.spots) == len(places)
    for place in places:
        assert min(np.hypot(spot.x - place[0], spot.y - place[1]) for spot in findings.spots) < 0.02


def as_ghosts(findings):
    return [place for place in findings.refused if "ghost image" in place[2]]


@pytest.mark.parametrize("share", [0.1, 0.25])
@pytest.mark.parametrize("shift", [(40, 60), (-90, 20)])
@pytest.mark.parametrize("sense", SENSES.values(), ids=SENSES.keys())
def test_copies_of_spots_in_a_ghost_disc_are_dropped(draw, tmp_path, sense, shift, share):
    light = draw(SPOTS)
    findings = found(0.8 * (light + ghost(light, sense, shift, share)), tmp_path / "ghost.jpg")
    assert_places(findings, SPOTS)


@pytest.mark.parametrize("sense", ["inverted", "left-right", "up-down"])
def test_a_ghost_on_the_sun_s_own_limb_is_known_by_its_pattern(draw, tmp_path, sense):
    """Nearly concentric, the ghost's limb cannot be told from the Sun's; the pattern of its dips can."""
    light = draw(SPOTS)
    findings = found(0.8 * (light + ghost(light, SENSES[sense], (3, 5), 0.25)), tmp_path / "dips.jpg")
    assert_places(findings, SPOTS)
    assert len(as_ghosts(findings)) >= 3


@pytest.mark.parametrize("sense", ["upright", "inverted"])
def test_spots_that_repeat_a_pattern_stay_where_no_ghost_s_limb_is(draw, tmp_path, sense):
    """The dips of a ghost without its disc, which no reflection makes: faint spots that happen to lie so."""
    light, blank = draw(SPOTS), draw([])
    dips = ghost(light, SENSES[sense], (40, 60), 0.25) - ghost(blank, SENSES[sense], (40, 60), 0.25)
    findings = found(0.8 * (light + 0.25 * blank + dips), tmp_path / "dips.jpg")
    assert as_ghosts(findings) == []
    assert len(findings.spots) > len(SPOTS) + 2


@pytest.mark.parametrize("sense", [SENSES["upright"], SENSES["inverted"]], ids=["upright", "inverted"])
def test_the_copy_of_an_only_spot_is_known_by_the_ghost_s_limb(draw, tmp_path, sense):
    light = draw(SPOTS[:1])
    both = 0.8 * (light + ghost(light, sense, (40, 60), 0.25))
    findings = found(both, tmp_path / "one.jpg")
    assert_places(findings, SPOTS[:1])
    assert as_ghosts(findings)


def test_a_faint_spot_beside_an_only_deep_one_stays(draw, tmp_path):
    """Nothing tells a lone copy from a small spot: with no limb of a ghost to be seen, it is a spot."""
    findings = found(0.8 * dimmed(draw(SPOTS[:1]), [(0.1, -0.2)], 0.3), tmp_path / "faint.jpg")
    assert_places(findings, [SPOTS[0], (0.1, -0.2)])


def test_a_clean_photo_has_no_ghosts(draw, tmp_path):
    """Deep spots and faint ones, of which many pairs lie apart by nearly the same."""
    rng = np.random.default_rng(8)
    faint = [(-0.55, -0.05), (0.2, 0.6), (0.35, -0.1), (-0.1, 0.05), (-0.65, 0.4)]
    faint = [tuple(np.array(place) + rng.normal(0, 0.01, 2)) for place in faint]
    findings = found(0.8 * dimmed(draw(SPOTS), faint, 0.3), tmp_path / "clean.jpg")
    assert_places(findings, [*SPOTS, *faint])
    assert as_ghosts(findings) == []


@pytest.mark.parametrize("share", [0.1, 0.25])
def test_a_true_spot_on_the_limb_of_a_ghost_stays(draw, tmp_path, share):
    """One spot just inside and one just outside of the ghost's limb; where it crosses the disc's middle."""
    shift = (0, 160)  # the ghost's left limb crosses the disc's row of the middle at x = -0.36
    places = [(-0.36, 0.0), (-0.33, 0.2), (0.5, 0.5)]
    light = draw(places)
    findings = found(0.8 * (light + ghost(light, (1, 1), shift, share)), tmp_path / "arc.jpg")
    assert_places(findings, places)


def test_a_true_faint_spot_amid_a_ghost_stays(draw, tmp_path):
    """A dip of 35 % that no deep spot's copy accounts for is not dropped along with the copies."""
    light = dimmed(draw(SPOTS), [(-0.05, 0.65)], 0.35)
    findings = found(0.8 * (light + ghost(light, (1, 1), (40, 60), 0.2)), tmp_path / "amid.jpg")
    assert_places(findings, [*SPOTS, (-0.05, 0.65)])
    assert as_ghosts(findings)
