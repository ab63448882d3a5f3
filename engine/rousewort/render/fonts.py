"""Fonts for print: which one has a letter, and a file of only the letters used. Decides nothing about texts.

Noto Sans comes with the extra `labels` (SIL Open Font License 1.1): Latin, Greek, Cyrillic. Chinese, Japanese and
Korean letters come with `labels-cjk`; Arabic, Hebrew and Devanagari, and what sets letters that must be joined or
reordered, with `labels-shaped`. Other letters need a font file of the user's. A letter that no font has is never
printed as an empty box: it is refused.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from functools import cached_property
from hashlib import blake2b
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from rousewort.base.errors import UserError
from rousewort.render.shaped import UNSEEN, can_shape, must_be_shaped

if TYPE_CHECKING:
    from fontTools.ttLib import TTFont

# Package, upright file, slanted file (None: none). The first that has a letter prints it.
PACKAGED = (
    ("fontpkg_noto_sans", "files/NotoSans[wdth,wght].ttf", "files/NotoSans-Italic[wdth,wght].ttf"),
    ("justmytype_intl_cjk", "fonts/ofl/notosansjp/NotoSansJP[wght].ttf", None),
    ("justmytype_intl_cjk", "fonts/ofl/notosanssc/NotoSansSC[wght].ttf", None),
    ("justmytype_intl_cjk", "fonts/ofl/notosanstc/NotoSansTC[wght].ttf", None),
    ("justmytype_intl_cjk", "fonts/ofl/notosanskr/NotoSansKR[wght].ttf", None),
    ("fontpkg_noto_sans_arabic", "files/NotoSansArabic[wdth,wght].ttf", None),
    ("fontpkg_noto_sans_devanagari", "files/NotoSansDevanagari[wdth,wght].ttf", None),
    ("fontpkg_heebo", "files/Heebo[wght].ttf", None),
)
NO_BREAK = "\u00a0"
WEIGHTS = {"plain": 400, "bold": 700, "name": 700}  # `name`: bold and slanted, for plants


class FontFile:
    """One font file, upright and slanted."""

    def __init__(self, upright: Path, slanted: Path | None = None) -> None:
        self.upright, self.slanted = upright, slanted

    @cached_property
    def letters(self) -> frozenset[int]:
        with self._open(self.upright) as font:
            return frozenset(font.getBestCmap())

    def _open(self, path: Path) -> TTFont:
        from fontTools.ttLib import TTFont, TTLibError

        if path.exists() and not path.is_file():  # a pipe would be waited for
            raise UserError(f"{path} is no font that can be read here: it is a folder, device or pipe")
        try:
            return TTFont(path, lazy=True, recalcTimestamp=False)
        except (OSError, TTLibError) as error:
            raise UserError(f"{path} is no font that can be read here: {error}") from error

    def cut_down(self, letters: Iterable[str], style: str, name: str) -> bytes:
        """A TrueType file of these letters alone, at the weight of the style, under a name of its own.

        Two fonts of one name in one PDF would print each other's letters.
        """
        from fontTools import subset
        from fontTools.varLib import instancer

        with self._open(self.slanted if style == "name" and self.slanted else self.upright) as font:
            if "glyf" not in font:
                raise UserError(f"{self.upright} has no TrueType outlines, which printing needs. Give a .ttf file.")
            options = subset.Options(layout_features=[], hinting=False, notdef_outline=True)
            cutter = subset.Subsetter(options)
            cutter.populate(text="".join(sorted(letters)))
            cutter.subset(font)
            if "fvar" in font:
                axes = {axis.axisTag: axis.defaultValue for axis in font["fvar"].axes}
                instancer.instantiateVariableFont(
                    font, axes | ({"wght": WEIGHTS[style]} if "wght" in axes else {}), inplace=True
                )
            for name_id in (1, 3, 4, 6):
                font["name"].setName(name, name_id, 3, 1, 0x409)
                font["name"].removeNames(nameID=name_id, platformID=1)
            out = BytesIO()
            font.save(out)
            return out.getvalue()


def font_files(own: Sequence[str] = ()) -> list[FontFile]:
    """The user's own files first, then those of installed packages."""
    found = [FontFile(Path(path)) for path in own]
    for package, upright, slanted in PACKAGED:
        spec = find_spec(package)
        if spec and spec.submodule_search_locations:
            folder = Path(spec.submodule_search_locations[0])
            if (folder / upright).exists():
                found.append(FontFile(folder / upright, folder / slanted if slanted else None))
    if not found:
        raise UserError("Printing needs a font, and none is installed. Get one with: pip install 'rousewort[labels]'")
    return found


class Fonts:
    """Fonts ready for one document: `runs` splits a text by the font that has its letters."""

    def __init__(self, texts: Iterable[tuple[str, str]], own: Sequence[str] = ()) -> None:
        """`texts`: (style, text) of all that will be printed. Raises UserError naming letters that cannot be."""
        self.files = font_files(own)
        wanted: dict[tuple[str, int], set[str]] = {}
        missing: set[str] = set()
        shapes = can_shape()
        for style, text in texts:
            whole = self.shaped(text)
            for letter in tidy(text):
                index = self._which(letter)
                if index is None or (must_be_shaped(letter) and not shapes):
                    missing.add(letter)
                elif not whole:
                    wanted.setdefault((style, index), set()).add(letter)
        if missing:
            raise _refused(missing, shapes)
        self.names = {key: self._register(*key, letters | {" ", NO_BREAK}) for key, letters in wanted.items()}

    def _which(self, letter: str) -> int | None:
        if letter in UNSEEN:
            return 0
        return next((i for i, file in enumerate(self.files) if ord(letter) in file.letters), None)

    def shaped(self, text: str) -> bool:
        """Whether a text has letters that must be joined or reordered; it is then set by shaped.py as a whole."""
        return any(map(must_be_shaped, text))

    def file_of(self, letter: str) -> str:
        """The file that has a letter, for a text that is shaped."""
        index = self._which(letter)
        assert index is not None  # looked at when this was made
        return str(self.files[index].upright)

    def _register(self, style: str, index: int, letters: set[str]) -> str:
        """The name, made from the content: the same letters give the same file and the same name."""
        from reportlab.pdfbase import pdfmetrics, ttfonts

        file = self.files[index]
        content = "\x1f".join((str(file.upright), style, *sorted(letters)))
        name = f"Rousewort-{style}-{blake2b(content.encode(), digest_size=6).hexdigest()}"
        data = file.cut_down({c for c in letters if ord(c) in file.letters}, style, name)
        pdfmetrics.registerFont(ttfonts.TTFont(name, BytesIO(data)))
        return name

    def runs(self, style: str, text: str) -> list[tuple[str, str]]:
        """(font name, part of the text), in order."""
        parts: list[tuple[str, str]] = []
        for letter in tidy(text):
            index = self._which(letter)
            assert index is not None  # looked at when this was made
            name = self.names[style, index]
            if parts and parts[-1][0] == name:
                parts[-1] = (name, parts[-1][1] + letter)
            else:
                parts.append((name, letter))
        return parts


def tidy(text: str) -> str:
    """Composed letters, single spaces (a no-break one stays), nothing invisible."""
    composed = "".join(" " if c.isspace() and c != NO_BREAK else c for c in unicodedata.normalize("NFC", text))
    seen = "".join(c for c in composed if unicodedata.category(c) not in ("Cc", "Cf") or _joins(c, composed))
    return " ".join(word for word in seen.split(" ") if word)


def _joins(letter: str, text: str) -> bool:
    """Joiners and marks of direction are kept where there are letters that they are for."""
    return letter in UNSEEN and any(map(must_be_shaped, text))


def _refused(letters: set[str], shapes: bool) -> UserError:
    joined = sorted(filter(must_be_shaped, letters)) if not shapes else []
    others = sorted(letters - set(joined))
    problems = []
    if joined:
        problems.append(
            f"These letters must be joined or reordered for print: {' '.join(joined)}. What does it comes with: "
            "pip install 'rousewort[labels-shaped]'. Or write the word in Latin letters."
        )
    if others:
        problems.append(
            f"No font here has these letters: {' '.join(others)}. Give a TrueType file that has them with --font FILE; "
            "for Chinese, Japanese and Korean: pip install 'rousewort[labels-cjk]'; for Arabic, Hebrew and Devanagari: "
            "'rousewort[labels-shaped]'."
        )
    return UserError(*problems)
