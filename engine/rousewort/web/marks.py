"""The square code on a batch's label: drawn for the printed label, and read from a photograph of one."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any

from rousewort.base.errors import UserError

MOST_PIXELS = 40_000_000


def can_scan() -> bool:
    return find_spec("zxingcpp") is not None and find_spec("PIL") is not None


def read_mark(picture: Any) -> str:
    """The text of the code on a photographed label. Raises UserError where none can be read."""
    if picture is None or not picture.filename:
        raise UserError("No picture came. Photograph the square code on the label, or type its letters.")
    import zxingcpp
    from PIL import Image, ImageOps

    try:
        image = Image.open(picture.stream)
        if image.width * image.height > MOST_PIXELS:
            raise UserError("That picture is too large.")
        found = zxingcpp.read_barcodes(ImageOps.exif_transpose(image).convert("L"))
    except (OSError, ValueError, Image.DecompressionBombError):
        raise UserError("That file is no picture that can be read.") from None
    if not found:
        raise UserError("No code was found in the picture. Come nearer, hold still, or type the letters on the label.")
    return found[0].text


def mark(code: str) -> str | None:
    """The code as a square to scan, as a data address for an image; None where segno is not installed."""
    try:
        import segno
    except ImportError:
        return None
    return segno.make(code, micro=False, error="m").svg_data_uri(scale=4, border=2)
