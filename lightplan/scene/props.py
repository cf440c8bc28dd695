"""Props: whatever else stands in the scene, hides light and gives a little of it back."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal, TypeAlias, get_args

import numpy as np

from lightplan.arrays import LARGEST_MM, Doubles, Integers, Vector, read_only, vector
from lightplan.errors import RigError
from lightplan.geometry.mesh import Mesh
from lightplan.scene import checks

PropShape: TypeAlias = Literal["post", "box", "mesh"]
PROP_SHAPES: tuple[PropShape, ...] = get_args(PropShape)
DARK = 0.1  # reflectance below which a mesh is cut into few cells
DARK_CELLS, LIGHT_CELLS = 48, 128


@dataclass(frozen=True, kw_only=True, eq=False)
class Prop:
    """A stand, a box or any body that is neither lamp nor card; upright and opaque.

    Parameters
    ----------
    name : str
        Unique in the rig.
    shape : str
        "post": a round column; "box"; "mesh": a body of triangles.
    position_mm : (3,) float
        Middle of its foot; of a mesh, of the underside of the box round it.
    width_mm, depth_mm, height_mm : float
        A post's diameter is `width_mm`, and `depth_mm` has to be the same. Not for a mesh.
    turn_rad : float
        Turn about the vertical, counter-clockwise seen from above. [rad]
    reflectance : (3,) float
        Share of light given back; 0.04 is a stand of black metal.
    vertices, faces : (v, 3) float, (f, 3) int, or None
        Of a mesh, in its file's units.
    unit_mm : float
        Of a mesh: mm in one unit of its file.
    file : str or None
        Of a mesh: where it was read from.
    """

    name: str
    shape: PropShape = "post"
    position_mm: Vector = (0.0, 0.0, 0.0)
    width_mm: float = 30.0
    depth_mm: float = 30.0
    height_mm: float = 500.0
    turn_rad: float = 0.0
    reflectance: tuple[float, float, float] = (0.04, 0.04, 0.04)
    vertices: Doubles | None = None
    faces: Integers | None = None
    unit_mm: float = 1.0
    file: str | None = None

    def __post_init__(self) -> None:
        checks.one_of(self.shape, PROP_SHAPES, "shape")
        object.__setattr__(self, "position_mm", vector(self.position_mm, "position_mm"))
        for name in ("width_mm", "depth_mm", "height_mm", "unit_mm"):
            checks.positive(getattr(self, name), name)
        checks.angle(self.turn_rad, "turn_deg")
        checks.triple(self.reflectance, 0.0, 1.0, "reflectance")
        if self.shape == "post" and self.depth_mm != self.width_mm:
            raise RigError(
                field="depth_mm",
                wanted="as width_mm, as a post is round",
                got=self.depth_mm,
                cure="leave it out, or make it a box",
            )
        self._check_mesh()

    def _check_mesh(self) -> None:
        wants, has = self.shape == "mesh", self.vertices is not None and self.faces is not None
        if wants != has:
            raise RigError(
                field="shape",
                wanted="mesh when there are triangles, and only then",
                got=self.shape,
                cure="name a mesh file, or choose post or box",
            )
        if self.vertices is None or self.faces is None:
            return
        object.__setattr__(self, "vertices", read_only(self.vertices))
        object.__setattr__(self, "faces", read_only(self.faces, np.int64))
        size = float(np.abs(Mesh(self.vertices, self.faces).vertices).max()) * self.unit_mm
        checks.between(
            size, 0.0, LARGEST_MM, "unit_mm", "give the millimetres in one unit of the mesh file"
        )

    def __getstate__(self) -> dict[str, Any]:
        """Leave out the body, which is made anew."""
        return {name: value for name, value in self.__dict__.items() if name != "body"}

    @cached_property
    def body(self) -> Mesh | None:
        """A mesh where it stands, mm; None for posts and boxes."""
        if self.vertices is None or self.faces is None:
            return None
        return Mesh(self.vertices, self.faces).placed(
            self.position_mm,
            scale=self.unit_mm,
            turn_rad=self.turn_rad,
            most_cells=DARK_CELLS if max(self.reflectance) < DARK else LIGHT_CELLS,
        )
