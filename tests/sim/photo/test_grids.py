"""Passes over fields against the plain ones of scipy."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import ndimage
from whichsun.sim.photo import grids
from whichsun.sim.photo.grids import labelled


@pytest.mark.parametrize("many", [0, 20_000])
@pytest.mark.parametrize("corners", [False, True])
@pytest.mark.parametrize("share", [0.02, 0.3, 0.6])
def test_labels_part_the_mask_as_scipy_does(monkeypatch, many, corners, share):
    """Both ways, that for few pixels and that for many, on masks that reach the field's borders."""
    monkeypatch.setattr(grids, "_MANY", many)
    mask = np.random.default_rng(2).random((61, 83)) < share
    expected: Any = ndimage.label(mask, np.ones((3, 3)) if corners else None)[0]  # type: ignore[index]
    places, labels, count = labelled(mask, corners=corners)
    assert count == expected.max()
    np.testing.assert_array_equal(places, np.flatnonzero(mask))
    # The same parts whatever they are called: as many pairs of names as names.
    pairs = set(zip(labels.tolist(), expected.ravel()[places].tolist(), strict=True))
    assert len(pairs) == count == len(set(labels.tolist()))


@pytest.mark.parametrize("corners", [False, True])
def test_labels_of_an_empty_mask(corners):
    places, labels, count = labelled(np.zeros((5, 7), bool), corners=corners)
    assert len(places) == len(labels) == count == 0
