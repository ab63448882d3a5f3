"""The drawing of a trial as PNG, for programs that show no SVG. Decides nothing."""

from __future__ import annotations

import struct
import zlib
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from rousewort.render.fonts import PACKAGED

SCALE = 2.0  # sharp on paper and on dense screens
SIGNATURE = b"\x89PNG\r\n\x1a\n"
MARK = b"Software\0Rousewort"


def to_png(svg: str) -> bytes:
    """The drawing at twice its size, with our name as the file's software, by which an earlier one is known again.

    Raises ModuleNotFoundError where resvg_py (the extra `plot`) is missing. Letters are those of the packaged Noto Sans
    where it is installed, so that every machine draws the same; else of the machine's own sans serif.
    """

    from resvg_py import svg_to_bytes  # the extra `plot`

    package, upright, _ = PACKAGED[0]
    found = find_spec(package)
    font = Path(next(iter(found.submodule_search_locations or ())), upright) if found else None
    own: dict[str, Any] = (
        {"skip_system_fonts": True, "font_files": [str(font)], "sans_serif_family": "Noto Sans"} if font else {}
    )
    return _marked(bytes(svg_to_bytes(svg_string=svg, zoom=SCALE, **own)))


def _marked(png: bytes) -> bytes:
    """With a tEXt chunk after the header (PNG, Third Edition, 11.3.3.2)."""
    header = len(SIGNATURE) + 12 + struct.unpack(">I", png[8:12])[0]
    body = b"tEXt" + MARK
    chunk = struct.pack(">I", len(MARK)) + body + struct.pack(">I", zlib.crc32(body))
    return png[:header] + chunk + png[header:]
