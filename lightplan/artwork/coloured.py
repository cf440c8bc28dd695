"""Artwork in its colours, with the layers of a PDF: what a maker points at to say what is metal."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.artwork.drawing import Unfit, svg_as_png
from lightplan.errors import ArtworkError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

LONG_SIDE = 1600
MOST_SIDE = 12000
_MOST_SCALE = 20.0  # of a PDF's page, pixels to a point: a page of a few points stays small


@dataclass(frozen=True, eq=False)
class Coloured:
    """Artwork as pixels.

    Parameters
    ----------
    pixels : (rows, cols, 4) uint8
        sRGB codes and how much is there at all.
    layers : dict of str to (h, w) uint8
        Of a PDF, by name: how much of each pixel a layer covers.
    """

    pixels: NDArray[np.uint8]
    layers: Mapping[str, NDArray[np.uint8]] = field(default_factory=dict)


def coloured(content: bytes, suffix: str) -> Coloured:
    """Return artwork from the bytes of a PNG, JPEG, SVG or PDF file (its first page).

    To be called where a decoder that takes all memory, or ends its process, does no harm.

    Raises
    ------
    ArtworkError
        When it cannot be read.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # sizes are checked, metadata does not matter
            picture = _opened(content, suffix)
            layers = _layers(content) if suffix == ".pdf" else {}
            return Coloured(np.asarray(picture.convert("RGBA")), layers)
    except (ArtworkError, MemoryError):
        raise
    except Unfit as why:
        raise refused(
            "an SVG drawing without scripts, outside files and endless filters",
            str(why),
            "save it as plain SVG or as PNG",
        ) from None
    except Exception as error:  # noqa: BLE001 - decoders fail in every way there is
        raise refused(
            "a picture that can be read", type(error).__name__, "save it as PNG"
        ) from None


def refused(wanted: str, got: str, cure: str) -> ArtworkError:
    """Return the refusal of artwork; the file's name is for who knows it."""
    return ArtworkError(field="artwork", wanted=wanted, got=got, cure=cure)


def _opened(content: bytes, suffix: str) -> Any:
    from PIL import Image

    if suffix == ".svg":
        content = svg_as_png(content)
    elif suffix == ".pdf":
        return _page(content)
    Image.MAX_IMAGE_PIXELS = MOST_SIDE**2
    picture = Image.open(io.BytesIO(content))
    if max(picture.size) > MOST_SIDE:
        raise refused(f"at most {MOST_SIDE} pixels long", f"{picture.size}", "save it smaller")
    picture.thumbnail((LONG_SIDE, LONG_SIDE))
    return picture


def _page(content: bytes) -> Any:
    import pypdfium2

    page = pypdfium2.PdfDocument(content)[0]
    return page.render(scale=min(LONG_SIDE / max(page.get_size()), _MOST_SCALE)).to_pil()


def _layers(content: bytes) -> dict[str, NDArray[np.uint8]]:
    from lightplan.artwork.pdf_layers import layers_of

    found = layers_of(content, LONG_SIDE)
    return {name: np.round(255 * share).astype(np.uint8) for name, share in found.items()}
