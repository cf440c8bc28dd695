"""Meshes of props: triangles from STL, OBJ or PLY files."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.arrays import Doubles, Integers, read_only
from lightplan.errors import RigError
from lightplan.rigfiles.explain import plain

if TYPE_CHECKING:
    from pathlib import Path

ENDINGS = (".stl", ".obj", ".ply")
MOST_BYTES = 20_000_000
MOST_FACES = 200_000


def read_mesh(path: Path) -> tuple[Doubles, Integers]:
    """Return a mesh's vertices (v, 3), in the file's units, and its triangles (f, 3).

    Corners at the same place become one vertex; materials and pictures are not looked at.

    Raises
    ------
    RigError
        No such file, no mesh, empty, or too large.
    """
    if path.suffix.lower() not in ENDINGS:
        raise _refused(path, "a .stl, .obj or .ply mesh", path.suffix, "convert it to .stl")
    if not path.is_file():
        raise _refused(path, "a mesh file that exists", "nothing there", "check its name")
    if path.stat().st_size > MOST_BYTES:
        raise _refused(path, "a mesh file below 20 MB", "more", "save it with fewer triangles")
    vertices, faces = _triangles(path)
    if len(faces) > MOST_FACES:
        raise _refused(
            path, f"of at most {MOST_FACES} triangles", len(faces), "save it with fewer triangles"
        )
    if not len(faces):
        raise _refused(path, "a mesh with at least one triangle", "none", "save it again")
    if not np.isfinite(vertices).all():
        raise _refused(path, "without vertices that are no numbers", "some", "save it again")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise _refused(path, "of triangles between its own vertices", "others", "save it again")
    places, vertex = np.unique(vertices, axis=0, return_inverse=True)
    joined = vertex.reshape(-1)[faces]
    kept = (joined != np.roll(joined, 1, axis=1)).all(axis=1)
    if not kept.any():
        raise _refused(path, "a mesh with an area", "lines and points", "save it again")
    return read_only(places), _frozen(joined[kept])


def _triangles(path: Path) -> tuple[Doubles, Integers]:
    import trimesh  # here, as few rigs have a mesh

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what matters is checked by the caller
            loaded: Any = trimesh.load_mesh(
                io.BytesIO(path.read_bytes()), file_type=path.suffix.lower()[1:], process=False
            )
            parts = loaded.to_mesh() if hasattr(loaded, "to_mesh") else loaded
            return np.asarray(parts.vertices, float), np.asarray(parts.faces, np.int64)
    except Exception as error:  # noqa: BLE001 - readers fail in every way there is
        raise _refused(
            path,
            "a mesh of triangles that can be read",
            type(error).__name__,
            "save it as .stl from your drawing program",
        ) from None


def _frozen(faces: Integers) -> Integers:
    faces = np.array(faces, np.int64)
    faces.setflags(write=False)
    return faces


def _refused(path: Path, wanted: str, got: object, cure: str) -> RigError:
    return RigError(field=f"file {plain(path.name, 60)}", wanted=wanted, got=got, cure=cure)
