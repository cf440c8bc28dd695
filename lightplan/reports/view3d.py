"""The set in three dimensions with PyVista: a window, or a picture without one."""

from __future__ import annotations

import ctypes
import math
import os
import sys
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image, ImageDraw

from lightplan.errors import MissingFeature
from lightplan.manifest import write_output
from lightplan.reports import canvas
from lightplan.reports.palette import ink_on
from lightplan.reports.picture import codes_png
from lightplan.reports.set_model import Line, ModelPart, SetModel, set_model
from lightplan.reports.viewpoint import Viewpoint, telling_view

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from lightplan.light import Layers
    from lightplan.scene import Rig

SIZE_PX = (1400, 1000)
HORIZON, ZENITH = (226, 229, 236), (182, 190, 204)
NO_GL = (
    "this machine cannot draw in 3-D (it has no OpenGL); install libegl1 and libgl1-mesa-dri, "
    "or ask for the page in HTML, which needs none"
)


def write_view_png(
    path: Path, rig: Rig, layers: Layers, *, view: str | None = None, replace: bool
) -> Path:
    """Write a picture of the set as PNG, without opening a window.

    Parameters
    ----------
    path : Path
    rig : Rig
    layers : Layers
        Its prediction.
    view : str or None
        A name of `lightplan.reports.viewpoint.VIEWS`; None: the one that tells most.
    replace : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    MissingFeature
        The machine has no OpenGL.
    """
    return write_output(path, view_png(rig, layers, view=view), replace=replace)


def view_png(
    rig: Rig, layers: Layers, *, view: str | None = None, size_px: tuple[int, int] = SIZE_PX
) -> bytes:
    """Return a picture of the set as the bytes of a PNG file; `size_px` is (width, height)."""
    model = set_model(rig, layers)
    eye = Viewpoint.fit(model, view or telling_view(rig), aspect=size_px[0] / size_px[1])
    codes = _rendered(model, eye, size_px)
    page = Image.fromarray(codes)
    _write_labels(page, model, eye)
    return codes_png(np.asarray(page, np.uint8))


def show_window(rig: Rig, layers: Layers) -> None:
    """Open a window in which the set can be turned; returns when it is closed.

    Raises
    ------
    MissingFeature
        The machine has no screen, or no OpenGL.
    """
    if _no_screen():
        raise MissingFeature(
            "this machine has no screen to open a window on; ask for a PNG or an HTML page instead"
        )
    pyvista = _pyvista()
    model = set_model(rig, layers)
    plotter = pyvista.Plotter(title=f"lightplan: {model.title}", window_size=list(SIZE_PX))
    _fill(pyvista, plotter, model)
    plotter.add_point_labels(
        np.array([label.at for label in model.labels]),
        [label.text for label in model.labels],
        always_visible=True,
        font_size=16,
        shape_opacity=0.7,
        point_size=1,
    )
    _take_place(plotter, Viewpoint.fit(model, telling_view(rig), aspect=SIZE_PX[0] / SIZE_PX[1]))
    plotter.show()


def _rendered(model: SetModel, eye: Viewpoint, size_px: tuple[int, int]) -> NDArray[np.uint8]:
    if not can_draw():
        raise MissingFeature(NO_GL)
    pyvista = _pyvista()
    plotter = pyvista.Plotter(off_screen=True, window_size=list(size_px))
    try:
        _fill(pyvista, plotter, model)
        _take_place(plotter, eye)
        shown = plotter.screenshot(return_img=True)
    except (RuntimeError, OSError) as error:
        raise MissingFeature(NO_GL) from error
    finally:
        plotter.close()
    codes = np.asarray(shown, np.uint8)[..., :3]
    if codes.shape[:2] != size_px[::-1] or int(codes.max()) == int(codes.min()):
        raise MissingFeature(NO_GL)
    return np.ascontiguousarray(codes)


def can_draw() -> bool:
    """Return whether a picture can be drawn: elsewhere than on Linux the system brings OpenGL.

    Asked before VTK is, which ends the whole program where it finds none.
    """
    if not sys.platform.startswith("linux") or not _no_screen():
        return True
    return any(_loads(name) for name in ("libEGL.so.1", "libOSMesa.so.8", "libOSMesa.so"))


def _loads(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def _no_screen() -> bool:
    named = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    return sys.platform.startswith("linux") and not named


def _pyvista() -> Any:
    if _no_screen():  # or VTK complains of a screen that it does not need
        os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
    try:
        import pyvista
    except ImportError as error:
        raise MissingFeature(
            "the 3-D view needs PyVista, which did not load; install lightplan again, or ask "
            "for the page in HTML, which needs none"
        ) from error
    return pyvista


def _fill(pyvista: Any, plotter: Any, model: SetModel) -> None:
    plotter.set_background(_float(HORIZON), top=_float(ZENITH))
    plotter.enable_anti_aliasing("msaa", multi_samples=8)
    for part in sorted(model.parts, key=lambda p: -p.opacity):  # clear ones last
        _add_part(pyvista, plotter, part)
    for line in model.lines:
        _add_line(pyvista, plotter, line)


def _add_part(pyvista: Any, plotter: Any, part: ModelPart) -> None:
    mesh = pyvista.PolyData.from_regular_faces(part.vertices, part.triangles)
    shading = {"ambient": 1.0, "diffuse": 0.0} if part.emits else {"ambient": 0.6, "diffuse": 0.45}
    if part.texture is not None:
        mesh.active_texture_coordinates = part.coordinates
        texture = pyvista.Texture(np.ascontiguousarray(part.texture))
        plotter.add_mesh(mesh, texture=texture, lighting=False)
        return
    plotter.add_mesh(mesh, color=_float(part.colour), opacity=part.opacity, **shading)


def _add_line(pyvista: Any, plotter: Any, line: Line) -> None:
    mesh = pyvista.lines_from_points(np.asarray(line.points, float))
    plotter.add_mesh(
        mesh,
        color=_float(line.colour),
        line_width=1.4 * line.width,
        opacity=line.opacity,
        lighting=False,
    )


def _take_place(plotter: Any, eye: Viewpoint) -> None:
    plotter.camera.position = tuple(eye.eye)
    plotter.camera.focal_point = tuple(eye.focus)
    plotter.camera.up = tuple(eye.up)
    plotter.camera.view_angle = math.degrees(eye.angle_rad)
    plotter.renderer.ResetCameraClippingRange()


def _float(colour: tuple[int, int, int]) -> tuple[float, float, float]:
    red, green, blue = (value / 255 for value in colour)
    return red, green, blue


def _write_labels(page: Image.Image, model: SetModel, eye: Viewpoint) -> None:
    """Write names beside their things, moved up where two would overlap."""
    draw = ImageDraw.Draw(page)
    face = canvas.font(22, bold=True)
    places = eye.project(np.array([label.at for label in model.labels]), page.height, page.width)
    taken: list[tuple[float, float, float, float]] = []
    order = np.argsort(-places[:, 0], kind="stable")  # the lowest keep their place
    for k in order:
        row, col = places[k]
        label = model.labels[k]
        if not (np.isfinite([row, col]).all() and 0 <= row < page.height and 0 <= col < page.width):
            continue
        half = face.getlength(label.text) / 2 + 10
        x = min(max(col, half + 6), page.width - half - 6)
        y = max(row - 24, 22)
        while any(_overlap((x - half, y - 17, x + half, y + 17), other) for other in taken):
            y -= 6
        box = (x - half, y - 17, x + half, y + 17)
        taken.append(box)
        draw.line((col, row, x, y), fill=label.colour, width=2)
        draw.rounded_rectangle(box, 6, fill=label.colour, outline=canvas.WHITE)
        draw.text((x, y), label.text, font=face, fill=ink_on(label.colour), anchor="mm")
    title = canvas.font(24)
    at = (24, page.height - 22)
    left, top, right, bottom = draw.textbbox(at, model.title, font=title, anchor="ls")
    draw.rounded_rectangle((left - 12, top - 8, right + 12, bottom + 8), 6, canvas.WHITE)
    draw.text(at, model.title, font=title, fill=canvas.INK, anchor="ls")


def _overlap(
    one: tuple[float, float, float, float], two: tuple[float, float, float, float]
) -> bool:
    return one[0] < two[2] and two[0] < one[2] and one[1] < two[3] and two[1] < one[3]
