"""Names as they stand on packets and in lists: a plant's name found within what is written around it.

`read` looks for a genus that exists, and reads on from there: epithet, rank, cultivar, cross, doubt. Whatever stands
before and after (lot codes, authors, prices, places) is left aside. `phrases` gives what may be a common name.
Asked only after the plain look-up found nothing; knows no plant itself, but asks what it is told to ask.

Why not a library: gbif-name-parser 0.4 reads authorship well, yet takes any two words for a name ("Red maple",
"Seed of", "Bat house"), drops the genus of "Quercus sp." and refuses crosses. Of 565 lines that name a species (tests/outside/data)
it finds the name in 298 and another pair of words in 60, so that a genus must be found first all the same. What is left is less than its
adapter would be, and where it has no wheel names would be read differently.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import NamedTuple

RANKS = {
    **dict.fromkeys(("subsp", "ssp", "subspecies", "nothosubsp"), "subsp."),
    **dict.fromkeys(("var", "v", "varietas", "convar", "nothovar"), "var."),
    **dict.fromkeys(("f", "fo", "forma"), "f."),
}
ONLY_GENUS = {
    "cv",
    "series",
    "sp",
    "spp",
    "spec",
    "species",
    "hybrid",
    "hybrids",
    "hyb",
    "mix",
    "mixed",
    "sect",
    "section",
}
SYNONYM = {"syn", "syns", "synonym", "formerly", "ex", "aka", "was"}
# Words of the trade and of ordinary English that stand where an epithet could, or around a common name.
TRADE = set(
    [
        "seed",
        "seeds",
        "seedling",
        "seedlings",
        "sapling",
        "transplant",
        "transplants",
        "plants",
        "bulbs",
        "bulbil",
        "bulbils",
        "bulblet",
        "bulblets",
        "corm",
        "corms",
        "cormlet",
        "cormlets",
        "packet",
        "packets",
        "pkt",
        "pkts",
        "pack",
        "package",
        "pac",
        "bag",
        "organic",
        "certified",
        "native",
        "species",
        "collected",
        "cultivated",
        "grown",
        "fresh",
        "dried",
        "stratified",
        "lot",
        "batch",
        "item",
        "code",
        "no",
        "nr",
        "each",
        "sold",
        "out",
        "limited",
        "available",
        "approx",
        "about",
        "of",
        "from",
        "with",
        "the",
        "a",
        "an",
        "and",
        "or",
        "in",
        "per",
        "year",
        "years",
        "yr",
        "yrs",
        "old",
        "new",
        "oz",
        "ounce",
        "ounces",
        "lb",
        "lbs",
        "pound",
        "pounds",
        "kg",
        "gram",
        "grams",
        "gal",
        "gallon",
        "bareroot",
        "pollinated",
    ]
)
NOT_EPITHETS = TRADE | set(
    [
        "white",
        "red",
        "pink",
        "blue",
        "yellow",
        "purple",
        "orange",
        "green",
        "black",
        "grey",
        "gray",
        "double",
        "single",
        "dwarf",
        "giant",
        "tall",
        "common",
        "see",
        "note",
        "for",
        "to",
        "tree",
        "trees",
        "shrub",
        "shrubs",
        "plant",
        "bulb",
        "wild",
        "hand",
        "garden",
        "origin",
        "open",
        "pot",
        "flower",
        "flowers",
        "flowered",
        "leaf",
        "leaves",
        "form",
        "forms",
        "selection",
        "strain",
        "shades",
        "near",
        "by",
        "not",
        "is",
        "are",
        "was",
        "unknown",
        "unnamed",
        "various",
        "type",
    ]
)
_EPITHET = re.compile(r"[a-zà-öø-ÿ]{3,}(-[a-zà-öø-ÿ]{2,})*")
_WORD = re.compile(r"[^\W\d_]+(?:['-][^\W\d_]+)*")
_CULTIVAR = re.compile(r"(?<!\w)'([^\W\d_].*?)'(?!\w)|(?<!\w)'([^\W\d_][^']*)$|\bcv\.?\s+(?!Seeds?\b)([A-Z]\S+)")
_LABELS = "|".join(sorted({*RANKS, "cf", "aff", "sp", "cv"}, key=len, reverse=True))


class Reading(NamedTuple):
    """A name found. `epithet` is None where only the genus is meant. `aside`: what was not read as the plant, in words."""

    genus: str
    epithet: str | None = None
    infra: str | None = None
    others: tuple[str, ...] = ()
    aside: tuple[str, ...] = ()

    @property
    def species(self) -> str:
        return f"{self.genus} {self.epithet}" if self.epithet else self.genus


class Known(NamedTuple):
    """What a reader may ask: does this genus exist, is this the name of an entry, and which epithets of a genus begin so."""

    genus: Callable[[str], bool]
    named: Callable[[str], bool]
    begin: Callable[[str, str], list[str]]


def plain(text: str) -> str:
    """One line with the usual marks: straight quotes, `x` for a cross, spaced dashes, labels apart from their words."""
    text = unicodedata.normalize("NFC", text)
    text = re.sub("[‘’‛`´]", "'", text)
    text = re.sub("[“”„″]", '"', text)
    text = text.replace("×", " x ")
    text = re.sub(r"\s*(?:[–—]|--+)\s*|\s+-\s+", " - ", text)
    text = re.sub(r"(?<=\d)[.)](?=[^\W\d])", ". ", text)
    text = re.sub(rf"(?<!\S)({_LABELS})\.(?=\w)", r"\1. ", text, flags=re.IGNORECASE)
    return " ".join(text.split())


def read(text: str, known: Known, under: str | None = None) -> Reading | None:
    """The plant that a line names by its scientific name, or None. `under`: the genus that the list's heading names."""
    text = plain(text)
    cultivars = [next(filter(None, found)) for found in _CULTIVAR.findall(text)]
    text = _CULTIVAR.sub(" ' ", text)
    item = re.match(r"(?:\d+\s*(?:[-.):]\s*)+|(?:[-*+•]\s*)+)(?=[^\W\d])", text)
    text = text[item.end() :] if item else text
    main = re.sub(r"[(\[][^()\[\]]*[)\]]?", " ", text)
    inside = re.findall(r"[(\[]([^()\[\]]*)", text)
    found: list[_Found] = []
    for part in (main, *inside):
        found = list(_finds(part.split(), known, under, bool(item)))
        named = [one for one in found if one.epithet or one.note]
        if named:
            return _said(named, cultivars, text)
    first = next(iter(_finds(main.split(), known, under, bool(item))), None)
    if first and (first.at_start or cultivars):
        return _said([first], cultivars, text)
    return _run_together(main, known)


def _run_together(text: str, known: Known) -> Reading | None:
    """A first word in which a genus and an epithet were printed as one."""
    word = _bare(text)
    if word[:1].isupper() and word[1:].islower() and len(word) > 9:
        for cut in range(len(word) - 5, 4, -1):
            if known.genus(word[:cut]):
                name = f"{word[:cut]} {word[cut:]}"
                return Reading(word[:cut], word[cut:], aside=(f"“{word}” is read as {name}.",))
    return None


class _Found(NamedTuple):
    genus: str
    epithet: str | None
    note: str = ""
    infra: str | None = None
    at_start: bool = False
    synonym: bool = False
    cross: bool = False


def _finds(tokens: list[str], known: Known, under: str | None, item: bool) -> Iterator[_Found]:
    """Every name in a row of words, from left to right. `item`: the line bears a number or a dash as items of lists do."""
    place, worded, genus_before = 0, False, None
    while place < len(tokens):
        word = _bare(tokens[place])
        genus = _genus_at(tokens, place, known, under or genus_before, not worded, item)
        if genus is None:
            worded = worded or len(word) > 2
            place += 1
            continue
        name, place_after = genus
        before = _bare(tokens[place - 1]).lower() if place else ""
        one, after = _after_genus(name, tokens, place_after, known, word.isupper())
        yield one._replace(
            at_start=not worded, synonym=before in SYNONYM or tokens[place].startswith("="), cross=before == "x"
        )
        worded, genus_before, place = True, name, max(after, place + 1)


def _genus_at(
    tokens: list[str], place: int, known: Known, under: str | None, first: bool, item: bool
) -> tuple[str, int] | None:
    """The genus that stands here, and where its epithet is looked for."""
    word = _bare(tokens[place])
    if not word:
        return None
    following = _bare(tokens[place + 1]) if place + 1 < len(tokens) else ""
    if under and word == under[0] and tokens[place].endswith(".") and _EPITHET.fullmatch(following):
        return under, place + 1
    if under and first and _is_epithet(word.lower()) and known.named(f"{under} {word.lower()}"):
        return under, place
    if under and first and item and _is_epithet(word):
        return under, place
    capital = word[0].isupper() and (word[1:].islower() or word.isupper())
    if (len(word) > 2 or word[1:].islower()) and (capital or first) and known.genus(word.capitalize()):
        return word.capitalize(), place + 1
    return None


def _after_genus(genus: str, tokens: list[str], place: int, known: Known, capitals: bool) -> tuple[_Found, int]:
    """Read on from a genus."""
    note = ""
    if place < len(tokens) and tokens[place - 1][-1:] in ",;:":
        return _Found(genus, None), place
    word = _bare(tokens[place]) if place < len(tokens) else ""
    low = word.lower()
    if low in ("cf", "cfr", "aff", "affin"):
        note = "aff" if low.startswith("aff") else "cf"
    elif low == "x":
        note = "x"
    elif low in ONLY_GENUS:
        return _Found(genus, None, "genus"), place + 1
    if note:
        place += 1
        word = _bare(tokens[place]) if place < len(tokens) else ""
        low = word.lower()
    epithet = None
    if (
        _is_epithet(word)
        or (capitals and word.isupper() and _is_epithet(low))
        or (word and word[0].isupper() and _is_epithet(low) and known.named(f"{genus} {low}"))
    ):
        epithet = low
    if place < len(tokens) and len(low) <= 4 and re.search(r"[.,]$", tokens[place]) and word.islower():
        whole = known.begin(genus, low)
        epithet = whole[0] if len(whole) == 1 and not known.named(f"{genus} {low}") else epithet
    if epithet is None:
        return _Found(genus, None, "genus" if note else ""), place
    if tokens[place].endswith("?"):
        note = note or "cf"
    if re.search(r"\w/[a-z]", tokens[place]):
        return _Found(genus, None, "genus"), place + 1
    infra, place = _infra(tokens, place + 1)
    return _Found(genus, f"x {epithet}" if note == "x" else epithet, note, infra), place


def _infra(tokens: list[str], place: int) -> tuple[str | None, int]:
    """What is written below the species: `var. occidentalis`, labelled or not, authors between; and where to go on."""
    for ahead in range(place, min(place + 9, len(tokens) - 1)):
        label, word = RANKS.get(_bare(tokens[ahead])), _bare(tokens[ahead + 1])
        if label and (_is_epithet(word) or (word.isupper() and len(word) > 3)):
            return f"{label} {word.lower()}", ahead + 2
        if _bare(tokens[ahead]).lower() in ("x", "-"):
            break
    word = _bare(tokens[place]) if place < len(tokens) else ""
    return (word, place + 1) if _is_epithet(word) else (None, place)


def _said(found: list[_Found], cultivars: list[str], text: str) -> Reading:
    """One reading of the names found: the first, with what the others and the marks mean."""
    first, *rest = found
    aside = []
    crossed = next((one for one in rest if one.cross), None) or _crossed(first, text)
    if crossed and first.epithet:
        return Reading(
            first.genus,
            aside=(
                f"A cross of {first.genus} {first.epithet} with another: planned from its genus; seedlings will differ.",
            ),
        )
    others = tuple(
        f"{one.genus} {one.epithet}"
        for one in rest
        if one.epithet and not one.synonym and (one.genus, one.epithet) != (first.genus, first.epithet)
    )
    reading = Reading(first.genus, first.epithet, first.infra, others)
    if first.note == "cf":
        aside.append(f"The name is not certain; planned as {reading.species}. Ask who named it.")
    if first.note == "aff":
        aside.append(f"“aff. {first.epithet}” is near {reading.species} but not it: planned from its genus.")
        reading = reading._replace(epithet=None, infra=None)
    if first.note == "genus":
        aside.append("The species is not named: planned from its genus.")
    for cultivar in cultivars:
        aside.append(
            f"'{cultivar.strip()}' is a cultivar: planned as {reading.species}; cultivars may not come true from seed."
        )
    return reading._replace(aside=tuple(aside))


def _crossed(first: _Found, text: str) -> bool:
    """Whether a second parent is written shortly: `robur x petraea`, `robur x Q. petraea`."""
    if not first.epithet:
        return False
    parent = re.search(rf"\b{re.escape(first.epithet)}\b[^,;:(]{{0,40}}?\s[xX]\s+(?:([A-Z])\.\s*)?([^\W\d_]+|')", text)
    return bool(parent and (parent[2] == "'" or _is_epithet(parent[2])))


def phrases(text: str) -> list[str]:
    """What may be the common name in a line: `Dogwood, Red Osier` → `Red Osier Dogwood`, and `Dogwood` last."""
    text = plain(text)
    without = _CULTIVAR.sub(" ", text)
    text = without if _WORD.search(without) else text
    inside = " ".join(re.findall(r"\(([^()]*)", text))
    parts = [_common(part) for part in re.split(r"[,;:]| - ", re.sub(r"\([^()]*\)?", " , ", text))]
    parts = [part for part in parts if part][:3]
    if not parts:
        return []
    qualities = [part for part in (_common(inside), *parts[1:2]) if part]
    made = [f"{quality} {parts[0]}" for quality in qualities] + parts[:1]
    usual = [name[7:] for name in made if name.lower().startswith("common ")]
    return [*made[:-1], *usual, made[-1]]


def _common(part: str) -> str:
    """The words of a part without sizes, prices, codes and the trade's words."""
    words: list[str] = []
    for token in part.split():
        if re.search(r"\d|[$€£%\"]", token):
            if words:
                break
            continue
        word = token.strip(".*!?'\"+&/=#·•")
        if word and word.lower() not in TRADE:
            words.append(word)
    return " ".join(words)


def pairs(text: str) -> Iterator[tuple[str, str]]:
    """Two words that are written as genus and epithet are: what a misspelt name looks like."""
    tokens = re.sub(r"[(\[][^()\[\]]*[)\]]?", " ", _CULTIVAR.sub(" ' ", plain(text))).split()
    for one, two in pairwise(tokens):
        first, second = _bare(one), _bare(two)
        if (
            len(first) > 3
            and first[0].isupper()
            and first[1:].islower()
            and _is_epithet(second)
            and one[-1] not in ",;:"
        ):
            yield first, second


def genders(epithet: str) -> list[str]:
    """An epithet in the other genders of Latin: *Dalea purpureum* is *Dalea purpurea* miswritten, no other plant."""
    return [
        epithet[: -len(ending)] + other
        for endings in (("us", "a", "um"), ("is", "e"), ("er", "ra", "rum"))
        for ending in endings
        if epithet.endswith(ending) and len(epithet) > len(ending) + 3
        for other in endings
        if other != ending
    ]


def ditto(line: str) -> bool:
    """Whether a list says `the same again`: a row of dashes where the name would stand."""
    return bool(re.match(r"\s*(\d+\.?\s*)?([-–—]\s*){3,}", line))


def _is_epithet(word: str) -> bool:
    return bool(_EPITHET.fullmatch(word)) and word not in NOT_EPITHETS and word not in RANKS and word not in ONLY_GENUS


def _bare(token: str) -> str:
    """The word in a token, without the marks around it."""
    found = _WORD.search(token)
    return found[0] if found else ""
