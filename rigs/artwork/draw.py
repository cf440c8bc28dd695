"""Draw the foil artwork of the shipped presets: white is foil, black is paper.

Run ``python rigs/artwork/draw.py`` to write all pictures again beside this file, or give
the names of some. The designs are invented, of a bindery and seed house that does not exist;
each is a module in ``drawings``. Pictures are drawn four times larger than they are kept, so
that edges are smooth.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from drawings.certificate import certificate
from drawings.copper_label import copper_label
from drawings.gold_card import gold_card
from drawings.holographic_strips import holographic_strips
from drawings.monogram import monogram
from drawings.plant_tag import plant_tag
from drawings.rainbow_bookmark import rainbow_bookmark
from drawings.rose_gold_tag import rose_gold_tag
from drawings.scattered_seeds import scattered_seeds
from drawings.silver_bookplate import silver_bookplate
from drawings.sunflower_label import sunflower_label
from drawings.thanks_script import thanks_script

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from drawings.plate import Plate

DESIGNS: dict[str, Callable[[], Plate]] = {
    "gold-card": gold_card,
    "silver-bookplate": silver_bookplate,
    "copper-label": copper_label,
    "rose-gold-tag": rose_gold_tag,
    "rainbow-bookmark": rainbow_bookmark,
    "plant-tag": plant_tag,
    "certificate": certificate,
    "sunflower-label": sunflower_label,
    "monogram": monogram,
    "scattered-seeds": scattered_seeds,
    "thanks-script": thanks_script,
    "holographic-strips": holographic_strips,
}


def main(names: Sequence[str]) -> None:
    """Write the pictures of `names`, or all."""
    folder = Path(__file__).resolve().parent
    for name in names if names else DESIGNS:
        DESIGNS[name]().kept().save(folder / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main(sys.argv[1:])
