"""What in a rig can be, but is odd enough to ask its maker about."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.scene.camera import Camera
    from lightplan.scene.rig import Rig

LONGEST_IN_A_PHONE_MM = 13.0  # the longest own focal length behind such a sensor (from memory)
WIDEST_LENS_MM = 11.0  # 35 mm equivalent; wider ones bend straight lines (from memory)
SQUARE = 0.04  # by how much a pixel may be wider than high


def questions(rig: Rig) -> tuple[str, ...]:
    """Return questions, one sentence each; none for a usual rig."""
    return tuple(_lens(rig.camera)) + tuple(_pixels(rig.camera))


def _lens(camera: Camera) -> Iterator[str]:
    sensor = f"a sensor of {camera.sensor_width_mm:g} x {camera.sensor_height_mm:g} mm"
    own, equivalent = camera.focal_length_mm, camera.equivalent_focal_length_mm
    sees = f"{own:.3g} mm on {sensor} sees like {equivalent:.0f} mm on a 35 mm camera"
    if camera.has_small_sensor and own > LONGEST_IN_A_PHONE_MM:
        yield (
            f"camera.focal_length_mm: {sees}; if the maker of the phone states {own:g} mm, write "
            f"equivalent_focal_length_mm = {own:g} instead."
        )
    elif equivalent < WIDEST_LENS_MM:
        yield (
            f"camera.focal_length_mm: {sees}, wider than any usual lens; is the sensor as small "
            "as the focal length says?"
        )


def _pixels(camera: Camera) -> Iterator[str]:
    columns, rows = camera.pixels
    wide, high = camera.sensor_width_mm / columns, camera.sensor_height_mm / rows
    if abs(wide / high - 1) > SQUARE:
        turned = abs(camera.sensor_width_mm / rows / (camera.sensor_height_mm / columns) - 1)
        cure = "swap the two of one of them" if turned <= SQUARE else "look both up again"
        yield (
            f"camera.pixels: {columns} x {rows} pixels do not have the shape of the sensor's "
            f"{camera.sensor_width_mm:g} x {camera.sensor_height_mm:g} mm; {cure}."
        )
