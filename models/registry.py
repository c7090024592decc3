"""Every model by its name: the built-in ones, those of other packages, and a person's own file."""

from __future__ import annotations

import functools
import importlib.metadata
import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path

from .distant_plane import DistantPlane
from .distant_sphere import DistantSphere
from .errors import InputError, UnknownNameError
from .geometry import GeometryModel
from .nearby_plane import NearbyPlane
from .nearby_sphere import NearbySphere

ENTRY_POINT_GROUP = "whichsun.models"
BUILT_IN: dict[str, Callable[[], GeometryModel]] = {
    "distant-sphere": DistantSphere,
    "nearby-sphere": NearbySphere,
    "nearby-plane": NearbyPlane,
    "distant-plane": DistantPlane,
}


def model_names() -> list[str]:
    """Names of all models that are installed, built-in ones first."""
    return list(_factories())


def get_model(name: str) -> GeometryModel:
    """The model called `name`, or the class of a person's own file, ``path/to/file.py:ClassName``.

    Raises
    ------
    UnknownNameError
        No model of that name.
    InputError
        The file or class is missing, or the class is no :class:`GeometryModel`.
    """
    path, separator, class_name = name.rpartition(":")
    if separator and path.endswith(".py"):
        return _from_file(Path(path), class_name)
    factories = _factories()
    if name not in factories:
        raise UnknownNameError("model", name, factories, "or give path/to/file.py:ClassName")
    return _checked(factories[name](), name)


@functools.cache
def _factories() -> dict[str, Callable[[], GeometryModel]]:
    factories = dict(BUILT_IN)
    for entry in importlib.metadata.entry_points(group=ENTRY_POINT_GROUP):
        if entry.name in factories:
            raise InputError(
                "model", f"name '{entry.name}' is taken twice", entry.value, "uninstall one of them"
            )
        factories[entry.name] = functools.partial(_from_entry_point, entry)
    return factories


def _from_entry_point(entry: importlib.metadata.EntryPoint) -> GeometryModel:
    return entry.load()()


def _from_file(path: Path, class_name: str) -> GeometryModel:
    label = f"{path}:{class_name}"
    if not path.is_file():
        raise InputError("model", "must be an existing file", str(path))
    spec = importlib.util.spec_from_file_location(f"whichsun_user_model_{path.stem}", path)
    if spec is None or spec.loader is None:
        raise InputError("model", "must be a Python file", str(path))
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    try:
        spec.loader.exec_module(module)
    except Exception as error:
        reason = f"{type(error).__name__}: {error}"
        raise InputError("model", f"file cannot be run ({reason})", str(path)) from error
    if not hasattr(module, class_name):
        raise InputError("model", f"file has no class '{class_name}'", str(path))
    try:
        model = getattr(module, class_name)()
    except TypeError as error:
        raise InputError("model", f"class cannot be made without arguments ({error})", label) from error
    return _checked(model, label)


def _checked(model: object, label: str) -> GeometryModel:
    if not isinstance(model, GeometryModel):
        needed = "name, summary, parameters, variants, view"
        raise InputError("model", f"must have {needed}", label, "see DEVELOPERS.md")
    return model
