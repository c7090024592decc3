"""Option texts shared by the commands: places, spots, parameters, ranges; light imports only."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from ...models.errors import InputError, UnknownNameError

if TYPE_CHECKING:
    from ...models.geometry import GeometryModel
    from ...models.place import Site


def numbers(name: str, text: str, counts: Sequence[int], form: str) -> list[float]:
    """Finite numbers from ``a,b,...``; `counts` are the allowed lengths, `form` what the person should write."""
    try:
        values = [float(part) for part in text.split(",")]
    except ValueError:
        values = []
    if len(values) not in counts:
        raise InputError(name, f"must be {form}", text)
    if not all(math.isfinite(value) for value in values):
        raise InputError(name, f"must be {form} with finite numbers", text)
    return values


def site_of(text: str) -> Site:
    """A site from ``LAT,LON`` or ``LAT,LON,HEIGHT_M``."""
    from ...models.place import Site

    return Site(*numbers("site", text, (2, 3), "LAT,LON or LAT,LON,HEIGHT_M"))


def spots_of(texts: Sequence[str]) -> list[tuple[float, float]]:
    """Heliographic places in degrees from ``LAT,CARRINGTON_LON``, in the order given."""
    spots = []
    for text in texts:
        latitude, longitude = numbers("spot", text, (2,), "LAT,CARRINGTON_LON")
        if not -90 <= latitude <= 90:
            raise InputError("spot", "must have a latitude between -90 and 90", text)
        if not -360 <= longitude <= 360:
            raise InputError("spot", "must have a longitude between -360 and 360", text)
        spots.append((latitude, longitude))
    return spots


def settings_of(texts: Sequence[str], models: Sequence[GeometryModel]) -> list[dict[str, Any]]:
    """Parameters for each of `models` from ``PARAM=VALUE``, split at the first ``=``.

    A setting goes to every model that has the parameter; one that none has is refused.
    """
    given: list[dict[str, Any]] = [{} for _ in models]
    for text in texts:
        name, separator, value = text.partition("=")
        name = name.strip()
        if not separator or not name:
            raise InputError("set", "must be PARAM=VALUE", text)
        found = False
        for model, own in zip(models, given, strict=True):
            parameter = next((p for p in model.parameters if p.name == name), None)
            if parameter is not None:
                own[name] = parameter.check(_value(name, value, parameter.is_number))
                found = True
        if not found:
            known = {p.name for model in models for p in model.parameters}
            raise UnknownNameError(
                "parameter of " + ", ".join(model.name for model in models), name, sorted(known)
            )
    return given


def _value(name: str, text: str, is_number: bool) -> float | str:
    if not is_number:
        return text.strip()
    try:
        return float(text)
    except ValueError:
        raise InputError(name, "must be a number", text) from None


def range_of(name: str, text: str) -> list[float]:
    """Numbers FROM, FROM + STEP, ... up to TO inclusive from ``FROM:TO:STEP``."""
    try:
        start, stop, step = (float(part) for part in text.split(":"))
    except ValueError:
        raise InputError(name, "must be FROM:TO:STEP", text, "write -60:60:5") from None
    if not all(math.isfinite(value) for value in (start, stop, step)):
        raise InputError(name, "must be FROM:TO:STEP with finite numbers", text)
    if step == 0 or (stop - start) / step < 0:
        raise InputError(name, "must not be an empty range", text, "write -60:60:5")
    count = math.floor((stop - start) / step + 1e-9) + 1
    if count > 100_000:
        raise InputError(name, "must hold 100000 values at most", text)
    return [start + step * i for i in range(count)]


def size_of(text: str, name: str = "size") -> tuple[int, int]:
    """Width and height in pixels from ``WIDTHxHEIGHT``."""
    width, _, height = text.lower().partition("x")
    if not (width.strip().isdecimal() and height.strip().isdecimal()):
        raise InputError(name, "must be WIDTHxHEIGHT in pixels", text, "write 1600x1200")
    return int(width), int(height)
