"""Options shared by the commands that show models side by side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...models.errors import InputError

if TYPE_CHECKING:
    from ...models.geometry import GeometryModel
    from ...models.place import Site

Models = Annotated[
    list[str] | None,
    typer.Option(
        metavar="MODEL",
        help="One by name, or path/to/file.py:ClassName; may be repeated. Default: distant-sphere and nearby-plane.",
    ),
]
Settings = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="PARAM=VALUE", help="For every model that has it; may be repeated."),
]
Spots = Annotated[
    list[str] | None,
    typer.Option(
        metavar="LAT,CARRINGTON_LON",
        help="A spot on the Sun, degrees; may be repeated. Default: three at the same places on every first "
        "picture.",
    ),
]


def models_with_settings(
    names: Sequence[str] | None, settings: Sequence[str] | None
) -> list[tuple[GeometryModel, dict[str, Any]]]:
    """One to four models, each with its given parameters.

    Raises
    ------
    InputError
        More models, or one twice.
    """
    from ...models.registry import get_model
    from .parsing import settings_of

    names = names or ["distant-sphere", "nearby-plane"]
    if len(set(names)) < len(names) or len(names) > 4:
        raise InputError("model", "must be one to four models, each once", " ".join(names))
    geometries = [get_model(name) for name in names]
    return list(zip(geometries, settings_of(settings or [], geometries), strict=True))


def site_numbers(site: Site) -> dict[str, float]:
    """One place for JSON."""
    return {
        "latitude_deg": float(site.latitude_deg),
        "longitude_deg": float(site.longitude_deg),
        "height_m": float(site.height_m),
    }
