"""`report.json` and `layers.npz`: what other programs read of a prediction."""

from __future__ import annotations

import io
import json
import zipfile
from concurrent.futures import Future
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.manifest import write_output
from lightplan.optics.exposure_values import ev_100
from lightplan.process import beside
from lightplan.shown import writable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from lightplan.arrays import Singles
    from lightplan.light import Layers
    from lightplan.light.exposure import Settings
    from lightplan.measures import Finding, Judgement, Measures

ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest time a ZIP can hold: no clock in the file
ZIP_LEVEL = 1  # level 6 takes seven tenths of a second more and saves one byte in a hundred
FORMAT = 1


def report_document(
    *,
    judgement: Judgement,
    measures: Measures,
    findings: Sequence[Finding],
    settings: Settings,
    tool_version: str,
    rig_digest: str,
    title: str = "",
    look: str = "",
    mirrored: Mapping[str, float] | None = None,
) -> dict[str, Any]:
    """Return the report of one prediction as plain values.

    Parameters
    ----------
    judgement, measures, findings
        What the measures layer made of the predicted picture; causes and moves filled in.
    settings : Settings
        Exposure of the prediction.
    tool_version, rig_digest : str
    title, look : str
        Of the rig.
    mirrored : mapping, optional
        Share of the foil that mirrors each thing, by name.
    """
    return {
        "format": FORMAT,
        "title": title,
        "look": look,
        "score": judgement.score,
        "uncertainty": judgement.uncertainty,
        "verdict": judgement.verdict,
        "reasons": list(judgement.reasons),
        "measures": measures.values_by_name(),
        "uncertainties": {name: pair[1] for name, pair in measures.pairs().items()},
        "findings": [finding_entry(finding) for finding in findings],
        "parts": [
            {"name": p.name, "points": p.points, "of": p.weight, "reason": p.reason}
            for p in judgement.parts
        ],
        "gates": [
            {"name": g.name, "passed": g.passed, "reason": g.reason} for g in judgement.gates
        ],
        "exposure": exposure_entry(settings),
        "foil_mirrors": {} if mirrored is None else dict(mirrored),
        "tool_version": tool_version,
        "rig_digest": rig_digest,
    }


def finding_entry(finding: Finding) -> dict[str, Any]:
    """Return one finding as plain values.

    `gain` is in points of the score; `where_mm` is [x, y] from the sheet's middle.
    """
    return {
        "code": finding.code,
        "what": finding.what,
        "where_mm": [float(v) for v in finding.where_mm],
        "cause": finding.cause,
        "move": finding.move,
        "gain": float(finding.gain),
        "measures": list(finding.measures),
    }


def exposure_entry(settings: Settings) -> dict[str, Any]:
    """Return an exposure as plain values."""
    return {
        "f_number": settings.f_number,
        "time_s": settings.time_s,
        "iso": settings.iso,
        "ev_100": ev_100(f_number=settings.f_number, time_s=settings.time_s, iso=settings.iso),
        "clip_luminance_cd_m2": settings.clip_cd_m2,
        "is_suggested": settings.is_suggested,
    }


def json_text(document: Mapping[str, Any] | Sequence[Any]) -> str:
    r"""Return plain values as JSON text; refuses NaN and infinity, which JSON does not know.

    >>> json_text({"score": None})
    '{\n  "score": null\n}\n'
    """
    return json.dumps(writable(document), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def write_report(path: Path, document: Mapping[str, Any], *, replace: bool) -> Path:
    """Write a report as JSON, whole or not at all."""
    return write_output(path, json_text(document), replace=replace)


def layers_npz(layers: Layers) -> bytes:
    """Return the layers as the bytes of an NPZ file; the same layers give the same bytes.

    Keys: `camera_paper`, `camera_foil`, `camera_surround` (r, c, 3) cd/m2, `camera_xyz_mm`
    (r, c, 3), `sheet_paper`, `sheet_foil` (rows, cols, 3) cd/m2, `sheet_x_mm` (cols,),
    `sheet_y_mm` (rows,), `sees` (rows, cols) and `sees_names`. Of stamped foil besides what its
    edge shows: `rim` (facings, r, c, 3) cd/m2, `rim_x_mm` (c,), `rim_y_mm` (r,). Loads
    without pickle. The camera's layers are rounded to 8 millionths of each value.
    """
    arrays: dict[str, np.ndarray[Any, Any]] = {
        "camera_paper": _rounded(layers.camera_paper),
        "camera_foil": _rounded(layers.camera_foil),
        "camera_xyz_mm": np.asarray(layers.camera_xyz_mm, np.float32),  # to 1/100 micrometre
        "camera_surround": _rounded(layers.camera_surround),
        "sheet_paper": layers.sheet_paper,
        "sheet_foil": layers.sheet_foil,
        "sheet_x_mm": layers.sheet_x_mm,
        "sheet_y_mm": layers.sheet_y_mm,
        "sees": np.asarray(layers.sees, np.int32),
        "sees_names": np.array(layers.sees_names, np.str_),
    }
    if layers.rim is not None:
        arrays |= {
            "rim": layers.rim.luminance,
            "rim_x_mm": layers.rim.x_mm,
            "rim_y_mm": layers.rim.y_mm,
        }
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        for name, array in arrays.items():
            entry = zipfile.ZipInfo(f"{name}.npy", ZIP_EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # the same on every system
            entry.external_attr = 0o644 << 16
            # the view is taken as bytes are, though its type is not told
            archive.writestr(entry, _npy(np.ascontiguousarray(array)), compresslevel=ZIP_LEVEL)
    return file.getvalue()


def _rounded(values: Singles) -> Singles:
    """Return luminances rounded to 17 bits, 8 millionths: two thirds of the time to pack them."""
    bits = (np.ascontiguousarray(values, np.float32).view(np.uint32) + 0x40) & 0xFFFFFF80
    found = bits.astype(np.uint32).view(np.float32)
    return np.where(np.isfinite(values), found, np.asarray(values, np.float32))


def _npy(array: np.ndarray[Any, Any]) -> memoryview:
    """Return an array as an NPY file: a view, for the bytes would be a copy of many megabytes."""
    head = io.BytesIO()
    np.lib.format.write_array_header_1_0(head, np.lib.format.header_data_from_array_1_0(array))
    start = head.tell()
    file = np.empty(start + array.nbytes, np.uint8)
    file[:start] = np.frombuffer(head.getbuffer(), np.uint8)
    file[start:].view(array.dtype)[:] = array.reshape(-1)
    return file.data


def packed_beside(layers: Layers) -> Future[bytes]:
    """Begin to pack layers, beside whatever comes next; see `layers_npz`.

    Packing takes longer than all other files of a prediction, and a second core can do it.
    """
    return beside(partial(layers_npz, layers), "packing")


def write_layers(path: Path, layers: Layers | Future[bytes], *, replace: bool) -> Path:
    """Write layers, packed already or not, as NPZ, whole or not at all."""
    packed = layers.result() if isinstance(layers, Future) else layers_npz(layers)
    return write_output(path, packed, replace=replace)


def foil_shares(layers: Layers, foil: np.ndarray[Any, Any]) -> dict[str, float]:
    """Return the share of the foil that mirrors each thing, largest first.

    Parameters
    ----------
    layers : Layers
    foil : (rows, cols) float
        Share of foil on the sheet's grid.
    """
    weight = np.asarray(foil, float)
    total = float(weight.sum())
    if total <= 0:
        return {}
    count = len(layers.sees_names)
    sums = np.bincount(layers.sees.ravel(), weights=weight.ravel(), minlength=count)
    pairs = sorted(
        ((float(s) / total, n) for s, n in zip(sums, layers.sees_names, strict=True) if s > 0),
        key=lambda pair: (-pair[0], pair[1]),
    )
    return {name: share for share, name in pairs}
