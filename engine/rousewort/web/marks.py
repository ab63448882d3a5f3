"""The square code on a batch's label: drawn for the printed label, and read from a photograph of one."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any

from rousewort.base.errors import UserError

KINDS = ("JPEG", "PNG", "WEBP")  # what phones make; other kinds start programs of their own, or decode to anything
MOST_PIXELS = 40_000_000
LONGEST_SIDE = 12_000
ENOUGH = 2_000  # pixels a side: a code that fills a tenth of the picture is still 200 wide


def can_scan() -> bool:
    return find_spec("zxingcpp") is not None and find_spec("PIL") is not None


def read_mark(picture: Any) -> str:
    """The text of the code on a photographed label. Raises UserError where none can be read."""
    if picture is None or not picture.filename:
        raise UserError("No picture came. Photograph the square code on the label, or type its letters.")
    import zxingcpp

    found = zxingcpp.read_barcodes(_grey(picture.stream))
    if not found:
        raise UserError("No code was found in the picture. Come nearer, hold still, or type the letters on the label.")
    return found[0].text


def _grey(stream: Any) -> Any:
    """The picture upright, in grey, no larger than it need be. Its size is looked at before anything is unpacked."""
    from PIL import Image, ImageOps

    try:
        with Image.open(stream, formats=KINDS) as image:
            if max(image.size) > LONGEST_SIDE or image.width * image.height > MOST_PIXELS:
                raise UserError("That picture is too large.")
            image.draft("L", (ENOUGH, ENOUGH))  # a JPEG need not be unpacked whole
            grey = image.convert("L")
            grey.thumbnail((ENOUGH, ENOUGH))
            return ImageOps.exif_transpose(grey) or grey
    except UserError:
        raise
    except Exception:  # a damaged picture fails in as many ways as there are decoders
        raise UserError("That file is no picture that can be read: a JPEG, PNG or WebP.") from None


def mark(code: str) -> str | None:
    """The code as a square to scan, as a data address for an image; None where segno is not installed."""
    try:
        import segno
    except ImportError:
        return None
    return segno.make(code, micro=False, error="m").svg_data_uri(scale=4, border=2)
