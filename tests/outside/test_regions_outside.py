"""Solar Region Summaries against another reader, the ephemeris, and one another some days later.

The twelve real files of tests/data/regions (US Government). Reference reader: sunpy.io.special.srs.
"""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from whichsun.sim.plan.regions import read_summary

FILES = sorted((Path(__file__).parents[1] / "data" / "regions").glob("*SRS.txt"))
NUMBERS_WRAPPED = 10_000
"""sunpy adds 10,000 to every number after 2002-06-15, to the last 9900s too; the file's own notice does not."""


@pytest.fixture(scope="module")
def read_srs():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("sunpy.io.special.srs").read_srs


def filled(values):
    return [None if value is np.ma.masked else float(getattr(value, "value", value)) for value in values]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_row_as_another_reader_has_it(path, read_srs):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        table = read_srs(str(path))
    summary = read_summary(path)
    for section, rows in (("I", summary.regions), ("IA", summary.plages), ("II", summary.returning)):
        theirs = table[np.asarray(table["ID"]).astype(str) == section]
        assert len(theirs) == len(rows)
        for row, one in zip(theirs, rows, strict=True):
            assert int(row["Number"]) % NUMBERS_WRAPPED == one.number % NUMBERS_WRAPPED
            assert float(row["Latitude"].value) == one.latitude_deg
            assert float(row["Carrington Longitude"].value) % 360 == one.carrington_deg
            if section != "II":
                assert float(row["Longitude"].value) == one.meridian_deg
            if section == "I":
                assert float(row["Area"].value) == one.area_msh
                assert float(row["Longitudinal Extent"].value) == one.extent_deg
                assert int(row["Number of Sunspots"]) == one.spots
                assert str(row["Z"]) == one.zurich
    assert summary.issued == table.meta["issued"].date()
