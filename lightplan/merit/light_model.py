"""What planning asks of whatever gives the light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from lightplan.arrays import Floats
    from lightplan.scene import Rig


@dataclass(frozen=True, eq=False)
class LampLight:
    """Light on the sheet from each lamp alone at trim 0, the surroundings' last.

    Parameters
    ----------
    names : tuple of str
        Of the lamps, in order.
    paper, foil : (l + 1, rows, cols, 3) float
        Luminance as if the whole sheet were paper, or level foil, in cd/m2.
    edged : (l + 1, rows, cols, 3) float or None
        The foil with its stamped edges where the artwork has them; None where these are left
        out. Exposure goes by level foil, as a glint on an edge may clip.
    """

    names: tuple[str, ...]
    paper: Floats
    foil: Floats
    edged: Floats | None = None

    @property
    def seen(self) -> Floats:
        """The foil as one sees it."""
        return self.foil if self.edged is None else self.edged


class LightModel(Protocol):
    """Where the light comes from."""

    def lamp_light(self, rig: Rig) -> LampLight:
        """Return the light of each lamp."""
        ...

    def foil_share(self, rig: Rig) -> Floats:
        """Return the artwork on the sheet's grid, (rows, cols)."""
        ...

    def clip_luminance(self, rig: Rig, paper: Floats, foil: Floats) -> float:
        """Return the luminance that clips, in cd/m2.

        Given those of pixels that show paper (n, 3), and of pixels that show foil (m, 3).
        """
        ...
