"""Draw the proof sheets of shipped rigs that stand in docs/looks.md, as small JPEG files.

python tests/docs/proof_sheets.py [RIG ...]      every shipped rig, or those that are named

Each takes a minute or two of processor time. A rig's own look is among them; of the others the
first few that its foil and stock can carry.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

from PIL import Image

from lightplan.planning.all_looks import wanted_looks
from lightplan.reports.proof import proof_png
from lightplan.rigfiles import list_rigs, load_rig
from lightplan.tasks.looks import cell_of, looks

FOLDER = Path(__file__).parents[2] / "docs" / "pictures" / "proofs"
MOST_LOOKS, WIDTH_PX, MOST_BYTES = 3, 1300, 150_000


def draw(name: str) -> Path:
    """Plan a rig's looks and write its sheet."""
    source = load_rig(name)
    can, _ = wanted_looks(source.rig)
    own = source.rig.look.kind
    kinds = [own, *(kind for kind in can if kind != own)][:MOST_LOOKS]
    found = looks(source, kinds=kinds)
    cells = [cell_of(one) for one in found.shown]
    sheet = Image.open(io.BytesIO(proof_png(cells, title=found.title, left_out=found.left_out)))
    size = (WIDTH_PX, round(sheet.height * WIDTH_PX / sheet.width))
    small = sheet.convert("RGB").resize(size, Image.Resampling.LANCZOS)
    path = FOLDER / f"{name}.jpg"
    path.parent.mkdir(exist_ok=True)
    for quality in (88, 80, 70, 60, 50):
        small.save(path, "JPEG", quality=quality, optimize=True)
        if path.stat().st_size < MOST_BYTES:
            break
    return path


def main() -> None:
    """Draw those that are named, or all."""
    names = sys.argv[1:] or [info.name for info in list_rigs() if info.shipped]
    for name in names:
        print(draw(name), flush=True)


if __name__ == "__main__":
    main()
