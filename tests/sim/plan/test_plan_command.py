"""`plan`: keys, windows, and one line for bad input."""

from __future__ import annotations

import json

import pytest
from whichsun.sim.cli.main import main
from whichsun.sim.safety import CAUTIONS

BASE = ["plan", "--site", "60,10.75", "--zone", "Europe/Oslo"]


def planned(capsys, *arguments):
    assert main([*BASE, "--evidence", "none", *arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_keys(capsys):
    got = planned(capsys, "--dates", "2027-03-20..2027-03-21")
    assert got["schema"] == "whichsun/plan/1"
    assert got["cautions"] == list(CAUTIONS)
    assert any("ERFA" in text for text in got["sources"])
    assert got["pressure_hpa"] == 1010
    assert [day["date"] for day in got["days"]] == ["2027-03-20", "2027-03-21"]
    for day in got["days"]:
        morning, evening = day["windows"]
        assert (morning["name"], evening["name"]) == ("morning", "evening")
        assert day["rise_utc"] < morning["from_utc"] < morning["to_utc"] < day["noon_utc"]
        assert day["noon_utc"] < evening["from_utc"] < evening["to_utc"] < day["set_utc"]
        heights = morning["apparent_altitude_from_deg"], morning["apparent_altitude_to_deg"]
        assert heights == pytest.approx((1, 12), abs=1e-3)
        assert set(day["turns"]) == {"distant-sphere", "nearby-plane"}
