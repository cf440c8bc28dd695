"""How finely the engine looks: every count that trades time for accuracy."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Detail:
    """Counts of points, rays and cells.

    Parameters
    ----------
    sheet_long_side : int
        Points of the sheet's output grid along its longer side.
    camera_rows, camera_cols : int
        Size of the camera's picture.
    cells : int
        Cells along a side of a square card.
    thin_cells : int
        The same at least along diffusers and shells, as a lamp close behind leaves a spot on
        them, and for the table under a cone.
    near : float
        Squared distance over a cell's area below which view factors are exact.
    texels : int
        Texels along a side of every face, for what mirrors see of it.
    direct_long_side, bounce_long_side : int
        Points along the sheet for lamp light and for bounced light on paper.
    lamp_spots, cell_lamp_spots : int
        Points on each lamp for its shadows on the sheet and on cards.
    penumbra_spots : int
        The same on paper where part of the lamp is hidden; 0 leaves this step out.
    sky_rays, cell_sky_rays : int
        Rays from each point for constant surroundings.
    foil_long_side : int
        Points along the sheet for the foil at the least; more where its image is sharp.
    steps_per_blur : float
        Points of the foil across the half width of the blurred mirror image.
    foil_rays : int
        Rays to trace from the foil altogether.
    silver_times : int
        Times as many rays where the scene holds silver: of those that meet it few tell how
        bright it is, and going on from there costs as much with few as with many.
    foil_spots : int
        Points on each lamp and card that the foil looks at.
    hidden_spots : int
        The same where part of the lamp or card is hidden from the foil; 0 leaves it out.
    mirror_spots : int
        Points on the foil, or a silvered card, through which it lights other surfaces.
    mirror_rounds : int
        How often light is passed on between matte surfaces and mirrors; 0 leaves out what
        the foil throws on cards and table.
    follows_relief : bool
        Whether mirrors follow the fine unevenness of the stock; else it counts as roughness.
    rim_facings, rim_long_side : int
        Directions, and points along the sheet, for which the edge of stamped foil is worked
        out; 0 directions leave it out.
    """

    sheet_long_side: int = 400
    camera_rows: int = 480
    camera_cols: int = 720
    cells: int = 14
    thin_cells: int = 16
    near: float = 25.0
    texels: int = 64
    direct_long_side: int = 49
    bounce_long_side: int = 21
    lamp_spots: int = 89
    cell_lamp_spots: int = 34
    penumbra_spots: int = 610
    sky_rays: int = 377
    cell_sky_rays: int = 89
    foil_long_side: int = 25
    steps_per_blur: float = 2.5
    foil_rays: int = 1_500_000
    silver_times: int = 1
    foil_spots: int = 64
    hidden_spots: int = 610
    mirror_spots: int = 21
    mirror_rounds: int = 4
    follows_relief: bool = True
    rim_facings: int = 24
    rim_long_side: int = 9

    @classmethod
    def quick(cls, *, camera_rows: int = 240, camera_cols: int = 320) -> Detail:
        """Return what suits a picture that follows the mouse."""
        return cls(
            sheet_long_side=120,
            camera_rows=camera_rows,
            camera_cols=camera_cols,
            cells=7,
            thin_cells=12,
            near=4.0,
            texels=32,
            direct_long_side=25,
            bounce_long_side=13,
            lamp_spots=34,
            cell_lamp_spots=13,
            penumbra_spots=233,
            sky_rays=144,
            cell_sky_rays=34,
            foil_long_side=16,
            steps_per_blur=1.7,
            foil_rays=150_000,
            silver_times=2,
            foil_spots=25,
            hidden_spots=233,
            mirror_spots=5,
            mirror_rounds=2,
            follows_relief=False,
            rim_facings=0,
        )
