"""The pages that lead to others: by name, kinship, time, cue, equipment and so on; glossary, trust; the data as a whole."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date
from itertools import groupby
from typing import Any

from rousewort.handbook import metadata, page_models
from rousewort.handbook.browse import browse_data
from rousewort.handbook.catalogue import WANTED, Entry
from rousewort.handbook.downloads import download_pages
from rousewort.handbook.escape import as_data
from rousewort.handbook.findable import findable
from rousewort.handbook.keypage import key_pages
from rousewort.handbook.pages import MOST_NAMES, Page, Writer, first_up
from rousewort.handbook.places import site_folder
from rousewort.handbook.planner import call
from rousewort.handbook.schemapages import contributor_pages
from rousewort.knowledge.names import fold
from rousewort.knowledge.rules import PHASES
from rousewort.knowledge.strict_yaml import read
from rousewort.planning.wording import OF_ANY_PLANT, fill

SOUTH = date(WANTED.year, 11, 1)  # the same season as WANTED in the southern half of the Earth


class WaysIn:
    """Lists over the whole catalogue, written with the templates of a Writer.

    `figures` gives what was measured of the plans; it is asked last. None: of a few species nothing is measured.
    """

    def __init__(self, write: Writer, figures: Callable[[], Mapping[str, Any]] | None = None) -> None:
        self.write, self.catalogue, self.kb, self.figures = write, write.catalogue, write.kb, figures

    def every_page(self) -> Iterator[Page]:
        """All of them, and the data files. Read after every species page is written."""
        entries = list(self.catalogue.entries.values())
        yield self._first_page(entries)
        yield from self._letters(entries)
        yield from self._browse(entries)
        yield self._families()
        yield from self._times(entries)
        yield from self._words()
        yield from self._gear(entries)
        yield from self._knowledge()
        yield self._glossary()
        yield from key_pages(self.write)
        yield from contributor_pages(self.write)
        yield from self._downloads()
        yield self._trust(entries)

    def _first_page(self, entries: list[Entry]) -> Page:
        return self.write.page(
            "index",
            "index.md",
            "Handbook",
            "How to wake a dormant seed, and why.",
            count=len(entries),
            genera=len(self.catalogue.places.all("genus")),
            families=len(self.catalogue.places.all("family")),
            cited=len(self.catalogue.places.all("source")),
            rules=len(self.kb.rules),
        )

    def _browse(self, entries: list[Entry]) -> Iterator[Page]:
        script = {"script": "browse.js", "data": "data/browse.js"}
        lead = "Every species, narrowed and sorted."
        yield self.write.page("browse", "browse.md", "Narrow and sort", lead, script, count=len(entries))
        yield Page("data/browse.js", call("rousewortBrowse", browse_data(self.catalogue)))

    def _families(self) -> Page:
        by_family = [
            (family, sorted({entry.genus for entry in members}))
            for family, members in sorted(self.catalogue.by["family"].items())
        ]
        return self.write.page(
            "families", "families.md", "Families and genera", "Ways in by kinship.", families=by_family
        )

    def _words(self) -> Iterator[Page]:
        """By the words of the traits that are listed so."""
        for key, trait in self.kb.vocabulary.traits.items():
            if "listed" not in trait:
                continue
            found = {word: self.catalogue.having(key, word) for word in trait["values"]}
            groups = [(word, about["label"], about["means"], found[word]) for word, about in trait["values"].items()]
            path, title = trait["listed"]["path"], trait["listed"]["title"]
            yield from self._ways(path, title, trait["means"], groups, len(self.catalogue.having(key, "unknown")))

    def _gear(self, entries: list[Entry]) -> Iterator[Page]:
        gear = [
            (
                "nothing",
                "nothing special",
                "No equipment beyond pots and hands.",
                [e for e in entries if e.outcome == "plan" and not e.needs],
            )
        ]
        gear += [
            (word, item["label"], item["means"], self.catalogue.by["needs"].get(word, []))
            for word, item in self.kb.vocabulary.files["equipment"].items()
        ]
        lead = (
            "What the plan of each species takes, for a grower with the usual things. "
            "Where you lack one, the species page says what to do instead."
        )
        yield from self._ways("equipment", "By equipment", lead, gear, 0)

    def _knowledge(self) -> Iterator[Page]:
        """Lists of what is not about one plant."""
        yield self.write.page(
            "treatments",
            "treatments.md",
            "Treatments",
            "Every kind of step.",
            kinds=sorted(self.kb.treatments.items()),
            by=self.catalogue.by["kinds"],
        )
        yield self.write.page(
            "obstacles",
            "obstacles.md",
            "Obstacles",
            "What stops a seed, in the order of removal.",
            by=self.catalogue.by["obstacles"],
        )
        yield self.write.page(
            "rules",
            "rules.md",
            "Rules",
            "Every rule, by phase.",
            phases=[(phase, [r for r in self.kb.rules if r["phase"] == phase]) for phase in PHASES],
            by=self.catalogue.by["rules"],
            status=self.kb.vocabulary.files["rule_status"],
            why=lambda rule: fill(rule["because"]["why"], OF_ANY_PLANT),
        )
        cited = [(key, self.kb.sources[key]["citation"]) for key in self.catalogue.places.all("source")]
        cited.sort(key=lambda item: (_letter(item[1]), item[1].casefold(), item[0]))
        yield self.write.page(
            "sources",
            "sources.md",
            "Sources",
            "Every work cited.",
            letters=[(letter, list(works)) for letter, works in groupby(cited, key=lambda item: _letter(item[1]))],
            resting=self.catalogue.resting_on,
        )

    def _glossary(self) -> Page:
        vocabulary = self.kb.vocabulary
        terms = glossary()
        return self.write.page(
            "glossary",
            "glossary.md",
            "Glossary",
            "The field's terms.",
            {"ld": as_data(metadata.glossary(terms))},
            terms=terms,
            equipment_words=vocabulary.files["equipment"],
            traits=vocabulary.traits,
            levels=vocabulary.found,
            standings=vocabulary.files["standing"],
        )

    def _trust(self, entries: list[Entry]) -> Page:
        return self.write.page(
            "trust",
            "trust.md",
            "How far to trust this",
            "What was measured of our plans.",
            calibration=self.kb.calibration,
            measured=self.figures() if self.figures else None,
            held=self._held(),
            outcomes=_outcomes(entries),
        )

    def _ways(
        self, path: str, title: str, lead: str, groups: list[tuple[str, str, str, list[Entry]]], unknown: int
    ) -> Iterator[Page]:
        """A page of words with their counts, and for each word a page of its species. Classes have pages of their own."""
        rows = []
        for word, name, means, entries in groups:
            page = self.catalogue.places.path("class", word) if path == "dormancy" else f"{path}/{word}"
            rows.append((name, means, page, len(entries)))
            if entries and path != "dormancy":
                yield self.write.page(
                    f"{path}/{word}",
                    "list.md",
                    first_up(name),
                    means,
                    up=(path, title),
                    lead=means,
                    entries=entries,
                    by_days=False,
                )
        yield self.write.page(path, "ways.md", title, lead, lead=lead, groups=rows, unknown=unknown)

    def _letters(self, entries: Iterable[Entry]) -> Iterator[Page]:
        """Every name of every species, a page a letter, or several where one would be too heavy for a phone."""
        letters: dict[str, list[tuple[str, Entry]]] = {}
        for entry in entries:
            for name in (entry.name, *entry.common_names, *entry.synonyms):
                letters.setdefault(_letter(name), []).append((name, entry))
        pages = []
        for number, (letter, found) in enumerate(sorted(letters.items()), 1):
            path = f"names/{letter.lower() if letter.isascii() and letter.isalpha() else f'other-{number}'}"
            found.sort(key=lambda item: (item[0].casefold(), item[1].name))
            parts = [found[i : i + MOST_NAMES] for i in range(0, len(found), MOST_NAMES)]
            for part, names in enumerate(parts, 1):
                label, own = (letter, path) if part == 1 else (f"{letter} {part}", f"{path}-{part}")
                pages.append((label, own, len(names)))
                of = f", part {part} of {len(parts)}" if len(parts) > 1 else ""
                yield self.write.page(own, "letter.md", f"Names with {letter}{of}", found=names)
        yield self.write.page(
            "find", "find.md", "Every name", "All names, old names and common names, A to Z.", letters=pages
        )

    def _times(self, entries: Iterable[Entry]) -> Iterator[Page]:
        """Species by the last month in which they can be begun for seedlings on WANTED, latest first; and those sown outside."""
        months: dict[tuple[int, int], list[Entry]] = {}
        outside = [entry for entry in entries if entry.outdoors]
        for entry in entries:
            if entry.begin and entry.lead is not None and not entry.outdoors:
                months.setdefault((entry.begin.year, entry.begin.month), []).append(entry)
        rows: list[dict[str, Any]] = []
        for (year, month), found in sorted(months.items(), reverse=True):
            found.sort(key=lambda e: (e.lead or 0, e.name))
            before = WANTED.year - year
            ago = "" if not before else ", the year before" if before == 1 else f", {before} years before"
            name, path = (
                page_models.MONTHS[month - 1] + ago,
                f"time/{page_models.MONTHS[month - 1].lower()}" + (f"-{before}" if before else ""),
            )
            row = {
                "name": name,
                "month": page_models.MONTHS[month - 1],
                "before": before,
                "number": month,
                "ago": ago,
                "page": path,
                "n": len(found),
                "south": page_models.MONTHS[(month + 5) % 12],
                "least": found[0].lead,
                "most": found[-1].lead,
            }
            lead = (
                f"Begin in {name} at the latest, for seedlings by {page_models.day_text(WANTED)}; in the southern half of the Earth "
                f"in {row['south']}, for seedlings by {page_models.day_text(SOUTH)}. Days are those before sowing."
            )
            yield self.write.page(
                path,
                "list.md",
                f"Begin by {name}",
                lead,
                up=("time", "By the time it takes"),
                lead=lead,
                entries=found,
                by_days=True,
                later=list(rows),
            )
            rows.append(row)
        if outside:
            lead = "Sown outside in its season; winter and spring do the rest."
            yield self.write.page(
                "time/outside",
                "list.md",
                "Sown outside",
                lead,
                up=("time", "By the time it takes"),
                lead=lead,
                entries=outside,
                by_days=False,
            )
        yield self.write.page(
            "time",
            "time.md",
            "By the time it takes",
            "What can still be started this month.",
            months=rows,
            outside=len(outside),
            south_wanted=page_models.day_text(SOUTH),
        )

    def _held(self) -> list[tuple[str, int]]:
        """How the facts of all species are held: word → number of facts."""
        counts = dict.fromkeys(self.kb.vocabulary.files["held"], 0)
        for name in self.catalogue.species:
            record = self.kb.taxon(name) or {}
            for fact in (
                *(s for group in record.get("traits", {}).values() for s in group),
                *record.get("protocols", ()),
            ):
                counts[fact["held"]] += 1
        return list(counts.items())

    def _downloads(self) -> Iterator[Page]:
        """The whole as data, and the names that the search box knows."""
        yield from download_pages(self.write)
        yield Page(
            "data/names.js",
            f"window.rousewortNames={as_data(list(findable(self.catalogue, glossary())), separators=(',', ':'))};\n",
        )


def glossary() -> dict[str, dict[str, Any]]:
    """Terms of the trade, A to Z: what each means, and other words for it."""
    path = site_folder() / "glossary.yaml"
    return dict(sorted(read(path.read_bytes(), str(path)).data.items()))


def _outcomes(entries: Iterable[Entry]) -> list[tuple[str, int]]:
    counts: dict[str, int] = {}
    for entry in entries:
        counts[entry.outcome] = counts.get(entry.outcome, 0) + 1
    return sorted(counts.items(), key=lambda item: -item[1])


def _letter(name: str) -> str:
    folded = fold(name)[:1].upper()
    return folded if folded.isalpha() else "#"
