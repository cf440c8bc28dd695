"""Make the pairs of the ink test from renderings: `python tests/reference/ink/make.py FOLDER`.

FOLDER holds what a renderer made of the scenes of `rigs.py` (`scene_of` in ../planned), whole
frame, 720 x 480, 256 samples a pixel: paper and foil layers under NAME_paper, NAME_foil (float16,
times NAME_..._scale), cut to NAME_box. Writes `pairs.npz` beside this file; README.md says what
is in it.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))  # the folder is no package

import art
import camera

import rigs
from lightplan.optics.colour import (
    difference_2000,
    linear_srgb_to_lab,
    luminance_factor,
    srgb_encode,
)

FOLDER = Path(__file__).parent
TINTS = {"rose gold foil": (0.95, 0.72, 0.66)}
"""Colour of a lacquer over aluminium, from memory: the renderer knows bare metals alone."""


def read(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for path in sorted(folder.glob("part*.npz")):
        with np.load(path) as stored:
            found |= {key: stored[key] for key in stored.files}
    return found


def pair(stored: dict[str, Any], number: int, turn: int) -> dict[str, Any]:
    name, (rig, kind) = f"r{number:02d}", rigs.drawn(number)
    rng = np.random.default_rng([30, number, turn])
    art_name = art.NAMES[(3 * number + 2 * turn + number // 7) % len(art.NAMES)]
    paper, foil = (
        np.float32(stored[f"{name}_{layer}"]) * np.float32(stored[f"{name}_{layer}_scale"])
        for layer in ("paper", "foil")
    )
    foil_kind = rig.sheet.foil.kind
    if foil_kind == "silver foil" and rng.random() < 0.4:
        foil_kind, tint = next(iter(TINTS.items()))
        foil = foil * np.float32(tint)
    box, mask = stored[f"{name}_box"], stored[f"{name}_mask"] / np.float32(255)
    matrix = camera.homography(rig, (rigs.ROWS, rigs.COLS))
    design = art.drawn(art_name, rig.sheet.width_mm, rig.sheet.height_mm, number + 100 * turn)
    share = camera.art_in_frame(design, matrix, box)
    stock = np.array(rig.sheet.paper.reflectance)
    on = mask > 0.99
    white = np.median(luminance_factor(paper)[on]) * 0.85 / luminance_factor(stock)
    top = np.quantile(luminance_factor(foil)[on & (share > 0.5)], 0.95)
    clip = max(white / 0.78, min(top / 1.0, 4.0 * white)) * 2.0 ** rng.uniform(-0.1, 0.2)
    paper, foil = paper / clip, foil / clip
    ink, exists = camera.ink_for(paper, foil, share, stock)
    chain = camera.Chain.drawn(rng)
    pictures, maps = {}, {}
    for which, layer in (("foil", foil), ("ink", ink)):
        mixed = paper + share[..., None] * (layer - paper)
        pictures[which] = chain.develop(mixed, box, (rigs.ROWS, rigs.COLS), number * 7 + 1)
        maps[which] = camera.squared(pictures[which], matrix, box, rig, camera.MAP_SIDE)
    lab = [
        linear_srgb_to_lab(camera.squared(pictures[w], matrix, box, rig, 400))
        for w in ("foil", "ink")
    ]
    rows, cols = lab[0].shape[:2]
    inside = cv2.resize(design, (cols, rows), interpolation=cv2.INTER_AREA) > 0.9
    told = float(np.quantile(difference_2000(lab[0], lab[1])[inside], 0.98))
    rows, cols = maps["foil"].shape[:2]
    small = cv2.resize(design, (cols, rows), interpolation=cv2.INTER_AREA)
    return {
        "number": number,
        "art": art_name,
        "kind": kind,
        "foil_kind": foil_kind,
        "size_mm": (rig.sheet.width_mm, rig.sheet.height_mm),
        "stock": stock,
        "told": told,
        "exists": exists,
        "mask": np.uint8(np.rint(255 * small)),
        "pictures": pictures,
        **{w: np.uint8(np.rint(255 * srgb_encode(np.clip(m, 0, 1)))) for w, m in maps.items()},
    }


def main(folder: str, shown: str | None = None) -> None:
    stored = read(Path(folder))
    numbers = sorted(int(key[1:3]) for key in stored if key.endswith("_foil"))
    kept: dict[str, Any] = {}
    names = ("number", "art", "kind", "foil_kind", "size_mm", "stock", "told", "exists")
    pairs = [pair(stored, number, turn) for number in numbers for turn in (0, 1)]
    for i, one in enumerate(pairs):
        for which in ("mask", "foil", "ink"):
            kept[f"{i:03d}_{which}"] = one[which]
        if shown is not None:
            both = np.concatenate([one["pictures"]["foil"], one["pictures"]["ink"]], axis=1)
            cv2.imwrite(f"{shown}/{i:03d}.png", both[..., ::-1])
    for name in names:
        kept[name] = np.array([one[name] for one in pairs])
    np.savez_compressed(FOLDER / "pairs.npz", **kept)
    print(f"{len(pairs)} pairs, {sum(one['told'] >= 7 for one in pairs)} told apart")


if __name__ == "__main__":
    main(*sys.argv[1:])
