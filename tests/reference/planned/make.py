"""Plan rigs, and render the plans with Mitsuba 3, an independent path tracer.

    PYTHONPATH=. python tests/reference/planned/make.py [--noise 0.007] [--seconds 30] [NAME...]

writes `<name>.toml` (the planned rig, its artwork beside it) and `<name>.npz`; README.md says
what is in both.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))  # the folders are no packages
sys.path.insert(0, str(Path(__file__).parents[1] / "pathtraced"))

from typing import TYPE_CHECKING

from mitsuba_scene import start
from render import render_scene, store
from rig_scene import framed, scene_of
from scenes import METALS

from lightplan.planning.effort import Effort
from lightplan.planning.planner import plan
from lightplan.rigfiles import LoadedRig, load_rig, write_rig
from lightplan.scene import Conductor, Foil, Grating, Look, Paper, Placement, Rig

if TYPE_CHECKING:
    from collections.abc import Callable

FOLDER = Path(__file__).parent
RIGS = FOLDER.parents[2] / "rigs"
SMALL = Effort(evaluations=80, polish=12, builds=8)
METAL_OF = {
    "silver foil": "Al",
    "aluminium": "Al",
    "holographic foil": "Al",
    "gold foil": "Au",
    "gold leaf": "Au",
    "copper foil": "Cu",
    "rose gold foil": "Cu",
}


@dataclass(frozen=True)
class Case:
    """A preset, the look to plan it for (None: its own), the seed, and what is changed first."""

    preset: str
    look: Look | None = None
    seed: int = 0
    has_grating: bool = False
    change: Callable[[Rig], Rig] = lambda rig: rig


def aslant(rig: Rig) -> Rig:
    """Return the holographic bookmark on white stock, with a coarser grating across 60 degrees.

    Its first order sends green light from some 13 degrees on the left to the camera.
    """
    grating = Grating(lines_per_mm=800, direction_rad=math.radians(60), strength=0.5)
    foil = replace(rig.sheet.foil, grating=grating, roughness=(0.03, 0.03))
    sheet = replace(rig.sheet, foil=foil, paper=Paper(reflectance=(0.8, 0.8, 0.78)))
    small, softbox = rig.lamps
    small = replace(small, placement=Placement(position_mm=(-226, -15, 1000)))
    y, z, *rest = rig.freedoms
    freedoms = (
        replace(y, dimension="x_mm", low=-400, high=-100),
        replace(y, low=-120, high=90),
        replace(z, low=850, high=1200),
        *rest,
    )
    return replace(rig, sheet=sheet, lamps=(small, softbox), freedoms=freedoms)


CASES = {
    "brushed_split": Case("brushed-plant-tag"),
    "certificate_bright": Case("certificate-a4-bowed"),
    "cone_bright": Case("cone-and-phone"),
    "copper_gradient": Case("copper-label-gradient"),
    "gold_hole_bright": Case("gold-card-above"),
    "rose_gold_dark": Case("rose-gold-tag-dark"),
    "silver_bright": Case("silver-bookplate-bright"),
    "window_bright": Case("window-two-boards"),
    "silver_gradient": Case("silver-bookplate-bright", Look(kind="gradient"), 1),
    "brushed_dark": Case("brushed-plant-tag", Look(kind="dark field"), 2),
    "copper_bright": Case("copper-label-gradient", Look(kind="bright field"), 3),
    "rainbow_plain": Case("rainbow-bookmark"),
    "rainbow_fine": Case("rainbow-bookmark", has_grating=True),
    "rainbow_aslant": Case("rainbow-bookmark", seed=1, has_grating=True, change=aslant),
}


def bare(rig: Rig, *, has_grating: bool) -> Rig:
    """Return the rig with a foil of bare metal, its grating kept or taken off.

    A rig file refuses a rainbow without a grating, so that look becomes a bright field; it
    changes no light.
    """
    eta, k = METALS[METAL_OF[rig.sheet.foil.kind]]
    metal = Conductor(eta=tuple(eta), k=tuple(k))
    if has_grating:
        return replace(rig, sheet=replace(rig.sheet, foil=replace(rig.sheet.foil, conductor=metal)))
    kind = "silver foil" if rig.sheet.foil.grating is not None else rig.sheet.foil.kind
    foil = Foil(kind=kind, conductor=metal, roughness=rig.sheet.foil.roughness)
    look = Look() if rig.look.kind == "rainbow" else rig.look
    return replace(rig, look=look, sheet=replace(rig.sheet, foil=foil))


def planned(case: Case) -> tuple[LoadedRig, Rig]:
    """Return a preset, and its plan with a bare foil.

    `rainbow_plain` has its grating while it is planned, not for the rendering.
    """
    source = load_rig(RIGS / f"{case.preset}.toml")
    rig = source.rig if case.look is None else replace(source.rig, look=case.look)
    rig = case.change(rig)
    if rig.sheet.foil.grating is None or case.has_grating:
        rig = bare(rig, has_grating=case.has_grating)
    found = plan(rig, seed=case.seed, effort=SMALL)
    if not found:
        raise SystemExit(f"{case.preset}: {found.reason}")
    print(f"{case.preset} for {rig.look.kind}: {found.score:.1f}, was {found.start_score:.1f}")
    return source, bare(found.rig, has_grating=case.has_grating)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help="default: all")
    parser.add_argument("--noise", type=float, default=0.007, help="rms error over mean")
    parser.add_argument("--seconds", type=float, default=30.0, help="most, per picture")
    options = parser.parse_args()
    mi = start()
    for name in options.names if options.names else CASES:
        began = time.process_time()
        source, rig = planned(CASES[name])
        loaded = write_rig(source, FOLDER / f"{name}.toml", rig=rig, replace=True)
        scene = scene_of(*framed(loaded.rig)) | {"name": name}
        arrays = render_scene(mi, scene, noise=options.noise, seconds=options.seconds)
        store(FOLDER / f"{name}.npz", arrays)
        print(f"{name}: {time.process_time() - began:.0f} s of processor time", flush=True)


if __name__ == "__main__":
    main()
