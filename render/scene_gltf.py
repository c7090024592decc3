"""Scenes as one binary glTF 2.0 file for other programs: named surfaces, the models side by side.

Source: Khronos glTF 2.0 specification; KHR_materials_unlit for what is not shaded. glTF has y up and linear colours.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from typing import Any

import numpy as np

from ..models.errors import InputError
from .scene import Scene, Surface

_FLOAT, _UINT32 = 5126, 5125
_VERTICES, _INDICES = 34962, 34963
_UNLIT = "KHR_materials_unlit"
_GAP = 0.4


def gltf_bytes(scenes: Sequence[Scene]) -> bytes:
    """A ``.glb`` file with every surface of every scene as a named node below a node of the model's name.

    Raises
    ------
    InputError
        There is no scene.
    """
    if not scenes:
        raise InputError("scenes", "must hold a scene")
    out = _Writer()
    roots, offset = [], 0.0
    for scene in scenes:
        points = np.concatenate([surface.points for surface in scene.surfaces])
        low, high = float(points[:, 0].min()), float(points[:, 0].max())
        children = [out.node(surface) for surface in scene.surfaces]
        # Our z is up: a quarter turn about x makes it glTF's y.
        roots.append(
            out.add(
                "nodes",
                {
                    "name": scene.model,
                    "children": children,
                    "translation": [offset - low, 0.0, 0.0],
                    "rotation": [-(0.5**0.5), 0.0, 0.0, 0.5**0.5],
                    "extras": {"unit_km": scene.unit_km, "notes": list(scene.notes)},
                },
            )
        )
        offset += high - low + _GAP
    return out.glb(roots)


class _Writer:
    """Collects the lists of a glTF file and its binary part."""

    def __init__(self) -> None:
        self.lists: dict[str, list[dict[str, Any]]] = {}
        self.data = bytearray()

    def add(self, kind: str, entry: dict[str, Any]) -> int:
        entries = self.lists.setdefault(kind, [])
        entries.append(entry)
        return len(entries) - 1

    def array(self, values: np.ndarray, kind: int, target: int, shape: str, **bounds: Any) -> int:
        raw = values.tobytes()
        view = {"buffer": 0, "byteOffset": len(self.data), "byteLength": len(raw), "target": target}
        self.data += raw
        place = {"bufferView": self.add("bufferViews", view), "componentType": kind, "type": shape}
        return self.add("accessors", {**place, "count": len(values), **bounds})

    def node(self, surface: Surface) -> int:
        points = surface.points.astype("<f4")
        bounds = {"min": points.min(axis=0).tolist(), "max": points.max(axis=0).tolist()}
        primitive = {
            "attributes": {"POSITION": self.array(points, _FLOAT, _VERTICES, "VEC3", **bounds)},
            "indices": self.array(surface.triangles.astype("<u4").ravel(), _UINT32, _INDICES, "SCALAR"),
            "material": self.material(surface),
        }
        mesh = self.add("meshes", {"name": surface.name, "primitives": [primitive]})
        return self.add("nodes", {"name": surface.name, "mesh": mesh})

    def material(self, surface: Surface) -> int:
        look: dict[str, Any] = {
            "pbrMetallicRoughness": {
                "baseColorFactor": [*linear_rgb(surface.colour), surface.opacity],
                "metallicFactor": 0.0,
                "roughnessFactor": 1.0,
            },
            "doubleSided": True,
        }
        if surface.opacity < 1:
            look["alphaMode"] = "BLEND"
        if not surface.shaded:
            look["extensions"] = {_UNLIT: {}}
        known = self.lists.setdefault("materials", [])
        return known.index(look) if look in known else self.add("materials", look)

    def glb(self, roots: list[int]) -> bytes:
        document = {
            "asset": {"version": "2.0", "generator": "whichsun"},
            "extensionsUsed": [_UNLIT],
            "scene": 0,
            "scenes": [{"nodes": roots}],
            "buffers": [{"byteLength": len(self.data)}],
            **self.lists,
        }
        text = json.dumps(document, separators=(",", ":")).encode()
        text += b" " * (-len(text) % 4)
        binary = bytes(self.data) + bytes(-len(self.data) % 4)
        parts = struct.pack("<II", len(text), 0x4E4F534A) + text
        parts += struct.pack("<II", len(binary), 0x004E4942) + binary
        return struct.pack("<III", 0x46546C67, 2, 12 + len(parts)) + parts


def linear_rgb(colour: str) -> list[float]:
    """Linear red, green and blue of ``#RRGGBB``, by the transfer function of sRGB (IEC 61966-2-1)."""
    values = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4).round(6).tolist()
