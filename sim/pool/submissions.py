"""Angles that many people handed in, as columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from ...models.geometry import Array
from ...models.place import Instants, Site
from ..outing import TURN_KINDS

KIND_NUMBER = {name: number for number, name in enumerate(TURN_KINDS)}


@dataclass(frozen=True)
class Submissions:
    """One turn per row; every field has shape (n,), angles in degrees, anticlockwise positive.

    Attributes
    ----------
    id : ndarray of str
        As handed in: text from strangers.
    latitude_deg, longitude_deg : ndarray
        North and east positive.
    from_day, to_day : ndarray
        UTC days since 2000-01-01 12:00 of the two photos.
    turn_deg, sigma_deg : ndarray
        The turn, wrapped to (-180, 180], and its stated standard deviation.
    kind : ndarray of int
        Place in ``outing.TURN_KINDS``.
    vertex_angle_deg, radius : ndarray
        Place of the spot in the first photo (limb radii), nan where it was not told.
    source : ndarray of str
        Where the row stands, for messages: ``line 7`` or a file's name.
    """

    id: np.ndarray
    latitude_deg: Array
    longitude_deg: Array
    from_day: Array
    to_day: Array
    turn_deg: Array
    sigma_deg: Array
    kind: np.ndarray
    vertex_angle_deg: Array
    radius: Array
    source: np.ndarray

    def __len__(self) -> int:
        return len(self.turn_deg)

    def __getitem__(self, rows: object) -> Submissions:
        """Some of the rows, by slice, mask or numbers."""
        return Submissions(*(getattr(self, f.name)[rows] for f in fields(self)))

    @classmethod
    def of(cls, rows: list[dict]) -> Submissions:
        """From one mapping per row with the names of the fields; a missing place is nan."""
        columns = []
        for field in fields(cls):
            values = [row.get(field.name, np.nan) for row in rows]
            if field.name in ("id", "source"):
                columns.append(np.array(values, dtype=str) if values else np.empty(0, dtype="<U1"))
            else:
                columns.append(np.array(values, dtype=int if field.name == "kind" else float))
        return cls(*columns)

    @classmethod
    def together(cls, parts: Sequence[Submissions]) -> Submissions:
        """The rows of one or more parts, one after the other."""
        return cls(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(cls)))

    @property
    def placed(self) -> np.ndarray:
        """Rows of one spot whose place in the first photo is known."""
        known = np.isfinite(self.vertex_angle_deg) & np.isfinite(self.radius)
        return known & (self.kind == KIND_NUMBER["spot"])

    @property
    def averaged(self) -> np.ndarray:
        """Rows whose turn depends on places of spots that nobody told."""
        spots = (self.kind == KIND_NUMBER["spot"]) | (self.kind == KIND_NUMBER["pattern"])
        return spots & ~self.placed

    @property
    def days(self) -> Array:
        """Days from the first to the second photo."""
        return self.to_day - self.from_day

    def site(self) -> Site:
        """Sites of shape (n, 1, 1): rows, parameter values, instants."""
        return Site(self.latitude_deg[:, None, None], self.longitude_deg[:, None, None])

    def instants(self, step_days: Array | float = 0.0) -> Instants:
        """Both instants of every row moved by each of `step_days` (k,), shape (n, 1, 2k)."""
        pair = np.stack([self.from_day, self.to_day], axis=-1)[:, None, :, None]
        steps = np.atleast_1d(np.asarray(step_days, dtype=float))
        return Instants.from_utc_days((pair + steps).reshape(len(self), 1, -1))
