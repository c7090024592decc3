"""Texts of the data behind a report."""

from dataclasses import replace
from pathlib import Path

import pytest
from whichsun.models.place import Site
from whichsun.sim.outing import HandMatch, Observable, Outing, Shot
from whichsun.sim.report import facts


@pytest.mark.parametrize(
    ("latitude", "longitude", "words"),
    [
        (46.523194, -30.295694, "46.5° N, 30.3° W"),
        (-0.04, 179.96, "0.0° N, 180.0° E"),
        (-33.86, 190.0, "33.9° S, 170.0° W"),
    ],
)
def test_sites_are_rounded(latitude, longitude, words):
    assert (
        facts.site_words(Site(latitude, longitude, 12.0), exact=False) == words + " (rounded to 0.1 degree)"
    )


def test_an_exact_site_keeps_its_digits():
    assert facts.site_words(Site(46.523194, -30.295694, 12.0), exact=True) == "46.52319° N, 30.29569° W, 12 m"


def test_what_gives_a_site_away_is_told_coarsely():
    rise = Observable("rise", 0.0, 20.0, ("2027-04-18T06:01:37Z",))
    noon = Observable("noon-altitude", 54.27, 0.02, ("2027-04-18T12:00:00Z",))
    size = Observable("angular-diameter", 0.5312, 0.001, ("2027-04-18T12:00:00Z",))
    coarse = facts.quantity_table([rise, noon, size], exact=False).rows
    assert [row[1] for row in coarse] == ["", "54.3 deg", "0.5312 deg"]
    assert coarse[0][3] == "2027-04-18 06:01 UTC"
    exact = facts.quantity_table([rise, noon], exact=True).rows
    assert (exact[0][3], exact[1][1]) == ("2027-04-18 06:01:37 UTC", "54.27 deg")
    result = {
        "latitude": {"given_deg": 46.523194},
        "drivers": [{"name": "the rise 2027-04-18T06:01:37Z"}],
        "models": [{"residuals": [{"kind": "noon-altitude", "measured": 54.27, "predicted": 54.2813}]}],
    }
    told = facts.coarse(result, [rise, noon])
    assert told["latitude"]["given_deg"] == 46.5
    assert told["drivers"][0]["name"] == "the rise 2027-04-18T06:01Z"
    assert told["models"][0]["residuals"][0]["predicted"] == 54.3
    assert result["latitude"]["given_deg"] == 46.523194


def test_bare_names_stay_apart():
    shots = (Shot("a/one.jpg"), Shot("b/one.jpg"), Shot("/home/somebody/two.jpg"))
    outing = Outing(None, shots, matches=(HandMatch("a/one.jpg", (1, 2), "b/one.jpg", (3, 4)),))
    named, paths = facts.named_apart(outing, Path("/data"))
    assert [shot.file for shot in named.shots] == ["one.jpg", "one.jpg (2)", "two.jpg"]
    assert paths == [Path("/data/a/one.jpg"), Path("/data/b/one.jpg"), Path("/home/somebody/two.jpg")]
    assert named.matches == (replace(outing.matches[0], shot_a="one.jpg", shot_b="one.jpg (2)"),)


def test_checksums_are_sha256(tmp_path):
    path = tmp_path / "abc.toml"
    path.write_bytes(b"abc")
    # FIPS 180-4's example for the message "abc" (NIST, SHA-256 example values).
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    table = facts.checksum_table(path, [("gone.jpg", tmp_path / "gone.jpg")])
    assert table.rows == [["abc.toml", known]]
