"""Scenes drawn off-screen by pyvista: the only file that needs it and a software OpenGL."""

from __future__ import annotations

import ctypes
import os
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from ..models.errors import InputError, MissingLibraryError
from .scene import Scene, screen_axes, seen_half_height
from .style import PAPER

_PURPOSE = "pictures of scenes"
_LIBRARIES, _DEBIAN = ("libEGL.so.1", "libGL.so.1"), "libegl1 libgl1 libgl1-mesa-dri"
_DRIVER = "libgl1-mesa-dri"
_PLATFORM_DEVICE = 0x313F  # EGL_PLATFORM_DEVICE_EXT
_WINDOW = "VTK_DEFAULT_OPENGL_WINDOW"


def draw_space(scene: Scene, width_px: int, height_px: int) -> np.ndarray:
    """The scene without words, uint8 (height, width, 3), by parallel projection.

    Raises
    ------
    InputError
        A size is outside 64 to 4096 pixels.
    MissingLibraryError
        pyvista, or a library of the system that it needs, is missing; names the Debian package.
    """
    for name, value in (("width_px", width_px), ("height_px", height_px)):
        if not 64 <= value <= 4096:
            raise InputError(name, "must be between 64 and 4096", value)
    pyvista = _pyvista()
    with _without_screen():
        return _drawn(pyvista, scene, width_px, height_px)


def _drawn(pyvista: Any, scene: Scene, width_px: int, height_px: int) -> np.ndarray:
    """Twice as fine, then averaged: what a software OpenGL smooths by itself differs."""
    size = [2 * width_px, 2 * height_px]
    plotter = pyvista.Plotter(off_screen=True, window_size=size, lighting="none")
    try:
        plotter.set_background(PAPER)
        for surface in scene.surfaces:
            plotter.add_mesh(
                pyvista.PolyData.from_regular_faces(surface.points.astype(np.float32), surface.triangles),
                color=surface.colour,
                opacity=surface.opacity,
                lighting=surface.shaded,
                ambient=0.5 if surface.shaded else 0.0,
                diffuse=0.5 if surface.shaded else 1.0,
                specular=0.0,
                show_scalar_bar=False,
            )
        _, up, eye = screen_axes(scene.viewpoint)
        plotter.add_light(pyvista.Light(light_type="headlight", intensity=1.0))
        plotter.enable_parallel_projection()
        focus = scene.viewpoint.focus
        plotter.camera_position = [tuple(focus + 10 * eye), tuple(focus), tuple(up)]
        plotter.camera.parallel_scale = seen_half_height(scene.viewpoint, width_px / height_px)
        plotter.camera.clipping_range = (1.0, 20.0)
        picture = np.asarray(plotter.screenshot(None, return_img=True))[..., :3]
    finally:
        plotter.close()
    if picture.shape[:2] != (2 * height_px, 2 * width_px) or picture.min() == picture.max():
        raise MissingLibraryError(_DRIVER, _PURPOSE, f"apt install {_DRIVER}")
    fine = picture.reshape(height_px, 2, width_px, 2, 3).astype(np.uint16)
    return ((fine.sum(axis=(1, 3)) + 2) // 4).astype(np.uint8)


def _pyvista() -> Any:
    """The package, after a look at the system's libraries: VTK ends the whole process where they are missing."""
    if _through_egl():
        for library in _LIBRARIES:
            try:
                ctypes.CDLL(library)
            except OSError:
                raise MissingLibraryError(library, _PURPOSE, f"apt install {_DEBIAN}") from None
        if not _egl_starts():
            raise MissingLibraryError("an OpenGL driver", _PURPOSE, f"apt install {_DEBIAN}")
    try:
        import pyvista
    except ModuleNotFoundError as error:
        raise MissingLibraryError(
            error.name or "pyvista", _PURPOSE, "pip install pyvista (or this package with [scene])"
        ) from None
    except ImportError as error:  # a shared library that vtk itself asks for
        reason = " ".join(str(error).split())
        raise MissingLibraryError(reason, _PURPOSE, "apt install libx11-6 libxrender1 libxcursor1") from None
    return pyvista


def _through_egl() -> bool:
    """Whether the picture is drawn through EGL: on Linux, unless the person's own setting of VTK says otherwise."""
    return sys.platform.startswith("linux") and _WINDOW not in os.environ


def _egl_starts() -> bool:
    """Whether any of EGL's devices can be opened, asked for as VTK does (EGL_EXT_device_base, EGL 1.5)."""
    egl = ctypes.CDLL(_LIBRARIES[0])
    egl.eglGetProcAddress.restype = ctypes.c_void_p
    addresses = [egl.eglGetProcAddress(name) for name in (b"eglQueryDevicesEXT", b"eglGetPlatformDisplayEXT")]
    if not all(addresses):
        return False
    pointer, number = ctypes.c_void_p, ctypes.c_int
    query = ctypes.CFUNCTYPE(ctypes.c_uint, number, pointer, pointer)(addresses[0])
    display_of = ctypes.CFUNCTYPE(pointer, ctypes.c_uint, pointer, pointer)(addresses[1])
    egl.eglInitialize.argtypes, egl.eglInitialize.restype = [pointer, pointer, pointer], ctypes.c_uint
    devices, found = (pointer * 16)(), number(0)
    if not query(16, devices, ctypes.byref(found)):
        return False
    displays = [display_of(_PLATFORM_DEVICE, device, None) for device in devices[: found.value]]
    return any(display and egl.eglInitialize(display, None, None) for display in displays)


@contextmanager
def _without_screen() -> Iterator[None]:
    """VTK goes to EGL at once, instead of trying for a screen and telling that there is none."""
    through_egl = _through_egl()
    if through_egl:
        os.environ[_WINDOW] = "vtkEGLRenderWindow"
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message=".*X server.*", category=UserWarning)
            yield
    finally:
        if through_egl:
            del os.environ[_WINDOW]
