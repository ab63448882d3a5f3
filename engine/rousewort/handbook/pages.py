"""Every page of the handbook as Markdown with its front matter, and the JSON beside it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from html import escape
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from rousewort.handbook import metadata, page_models, relatives
from rousewort.handbook.catalogue import WANTED, Catalogue, Entry
from rousewort.handbook.drawings import SeedDrawing
from rousewort.handbook.escape import as_data, escaped
from rousewort.handbook.findable import anchor
from rousewort.handbook.planner import call, page_data, shared_tables
from rousewort.handbook.responses import response_plots
from rousewort.handbook.settings import same_bytes, settings
from rousewort.knowledge.names import slug
from rousewort.knowledge.rules import PHASES
from rousewort.planning.plan import Plan
from rousewort.planning.sheet import make_sheet
from rousewort.planning.wording import OF_ANY_PLANT, fill
from rousewort.schedule.model import Schedule

# Of a long list a page shows so many names, which weigh under 300 kB; all of them are in the download.
MOST_NAMES = 1250


class _Missing(StrictUndefined):
    """A key that is not there may be asked about, never printed."""

    def __bool__(self) -> bool:  # type: ignore[override]  # that of jinja2 never returns
        return False


class Page(NamedTuple):
    """One file of the handbook before mkdocs: its path below the pages folder, and its text."""

    path: str
    text: str


class Writer:
    """Fills the templates of `site/pages` from the catalogue."""

    def __init__(self, catalogue: Catalogue, templates: Path) -> None:
        self.catalogue, self.kb = catalogue, catalogue.kb
        self._done: dict[bytes, tuple[str, str]] = {}
        self.lent: dict[str, Markup] = {}  # genus or family → the plan of a species of it without entry
        self.draw_seed = SeedDrawing(templates.parent, self.kb.vocabulary)
        self.templates = Environment(
            loader=FileSystemLoader(templates),
            autoescape=True,
            finalize=escaped,
            undefined=_Missing,
            trim_blocks=True,
            lstrip_blocks=True,
            keep_trailing_newline=True,
        )
        vocabulary = self.kb.vocabulary
        self.templates.globals |= {
            "link": catalogue.places.linker(),
            "equipment": vocabulary.files["equipment"],
            "obstacles": vocabulary.obstacles,
            "treatments": self.kb.treatments,
            "classes": vocabulary.classes,
            "label": vocabulary.label,
            "sources": self.kb.sources,
            "short": page_models.short_citation,
            "wanted": page_models.day_text(WANTED),
            "most": MOST_NAMES,
            "months": page_models.MONTHS,
            "anchor": anchor,
            "held_words": vocabulary.files["held"],
            "version": version("rousewort"),
        }
        self.templates.filters |= {
            "words": lambda text: str(text).replace("_", " ").replace("-", " "),
            "first_up": first_up,
        }

    def species_pages(self, name: str) -> Iterator[Page]:
        """The pages of a species, which is an entry of the catalogue from then on."""
        yield from self._species(*self.catalogue.plan(name))

    def other_pages(self) -> Iterator[Page]:
        """Pages of all other things: after the species, since their lists are of the catalogue's entries."""
        yield from self._groups()
        yield self.relatives_page()
        yield from self._treatments()
        yield from self._classes()
        yield from self._obstacles()
        yield from map(self._rule, self.kb.rules)
        yield from self._sources()
        yield Page("data/planner.js", call("rousewortTables", shared_tables(self.kb)))

    def page(
        self,
        path: str,
        template: str,
        title: str,
        describe: str = "",
        meta: Mapping[str, Any] | None = None,
        **data: Any,
    ) -> Page:
        # Theme templates print title and description as they stand, so both are made safe for HTML here.
        head = {"title": escape(title), "description": escape(describe), "hide": ["navigation"], **(meta or {})}
        root = "../" * path.count("/")
        body = self.templates.get_template(template).render(root=root, title=title, **data)
        return Page(path + ".md", f"---\n{json.dumps(head, sort_keys=True)}\n---\n\n{body}")

    # --- one species

    def _species(self, entry: Entry, plan: Plan, data: dict[str, Any], dated: Schedule | None) -> Iterator[Page]:
        record = self.kb.taxon(entry.name) or {}
        path = self.catalogue.places.path("species", entry.name) or ""
        known, words, lent = page_models.known_words(self.kb, plan)
        stem = Path(path).name
        choices = settings(self.catalogue.planner, plan)
        unknown = [line.partition(": ")[::2] for line in data["unknowns"]]
        page = self.page(
            path,
            "species.md",
            entry.name,
            f"How to wake seed of {entry.name}: {data['dormancy']['words']}.",
            {"json": f"{stem}.json", "ld": as_data(_metadata(entry, data))}
            | ({"plans": f"{stem}.plans.js"} if choices.changes_something else {})
            | ({"year": True} if dated else {}),
            entry=entry,
            plan=data,
            sheet=(sheet := make_sheet(self.kb, plan)),
            sure=page_models.sure_lines(sheet, plan),
            picture=self.draw_seed(known, words, entry.family),
            responses=response_plots(self.kb, record),
            seed_words=words,
            lent=lent,
            line=page_models.timeline(self.kb, dated) if dated else None,
            traits=page_models.traits(self.kb, record),
            protocols=page_models.protocols(self.kb, record),
            lots=[{"says": lot["says"], **page_models.origin(self.kb, lot)} for lot in record.get("lots", ())],
            plots=page_models.lengths(self.kb, record, data),
            disagreements=page_models.disagreements(self.kb, record, plan),
            unknown_traits=[item for item in unknown if item[0] in self.kb.vocabulary.traits],
            unknown_reports=[key for key, _ in unknown if key in self.kb.vocabulary.responses],
            address=path + ".html",
            relatives=[name for name in self.catalogue.of_genus[entry.genus] if name != entry.name],
            needs=entry.needs,
            choices=choices.changes_something,
            choosable=[field.word for field in choices.fields if field.name == "have"],
            json_path=path + ".json",
            file=f"kb/species/{slug(entry.genus)}/{slug(entry.name)}.yaml",
        )
        yield page
        yield Page(path + ".json", json_text({"entry": record, "plan": data}))
        if choices.changes_something:
            yield Page(path + ".plans.js", call("rousewortPlans", page_data(self.kb, choices, self._liner())))

    def _liner(self) -> Callable[[Mapping[str, Any]], tuple[str, ...]]:
        """What makes the lines of HTML of one species' steps. Species share what is done; reasons are a species' own."""
        parts, done, reasons = self._parts, self._done, {}

        def lines_of(step: Mapping[str, Any]) -> tuple[str, ...]:
            key, because = same_bytes({**step, "because": None}), same_bytes(step["because"])
            if key not in done:
                done[key] = (str(parts.bench(step)), str(parts.numbers_from(step)))
            if because not in reasons:
                reasons[because] = str(parts.why(step)) if step["because"] else ""
            before, after = done[key]
            return tuple(line for line in f"{before}\n{reasons[because]}\n{after}\n</li>".split("\n") if line.strip())

        return lines_of

    @cached_property
    def _parts(self) -> Any:
        """The pieces of the species page, for steps that are not on it when it is built."""
        return self.templates.get_template("_parts.md").make_module({"root": "../"})

    # --- genera and families

    def _groups(self) -> Iterator[Page]:
        for rank in ("genus", "family"):
            for name in self.catalogue.places.all(rank):
                record = self.kb.taxon(name) or {}
                group = self.kb.store.group(rank, name)
                members = self.catalogue.by[rank].get(name, [])
                votes = {
                    key: sorted(
                        ((word, len(names)) for word, names in words.items()), key=lambda item: (-item[1], item[0])
                    )
                    for key, words in sorted(group["votes"].items())
                    if key in self.kb.vocabulary.traits
                }
                yield self.page(
                    self.catalogue.places.path(rank, name) or "",
                    "group.md",
                    name,
                    f"What is known of the seed of {name}, and the plan of its species that have no entry.",
                    {"script": "relatives.js"},
                    rank=rank,
                    name=name,
                    family=record.get("family") or self.kb.genus_family(name) if rank == "genus" else None,
                    genera=sorted({entry.genus for entry in members}) if rank == "family" else [],
                    members=members,
                    lent=self.lent.get(name, ""),
                    votes=votes,
                    traits=page_models.traits(self.kb, record),
                    protocols=page_models.protocols(self.kb, record),
                )

    def relatives_page(self) -> Page:
        """The page of every plant without an entry whose genus has no page."""
        return self.page(
            "genera/without-entry",
            "without-entry.md",
            "Any plant",
            "A plan for a plant without an entry, from its relatives.",
            {"script": "relatives.js"},
        )

    def lent_pages(self, family: str, genera: list[str]) -> tuple[list[Page], dict[str, Markup]]:
        """The file of a family's plans for genera without a page, and the plans that stand on pages: name → HTML."""
        made = relatives.lent_by(self.catalogue, family, genera)
        texts = [Markup(_lines(self._parts.lent(**relatives.shown(self.kb, plan)))) for plan in made.plans]
        places = self.catalogue.places
        on_pages = {
            name: Markup(texts[place].replace(relatives.NAME, escaped(name)))
            for name, place in made.of.items()
            if places.path("family" if name == family else "genus", name)
        }
        data = {
            "family": family,
            "page": places.path("family", family),
            "name": relatives.NAME,
            "texts": texts,
            "of": {name: place for name, place in made.of.items() if name not in on_pages},
        }
        return [Page(relatives.data_path(family), call("rousewortRelatives", data))], on_pages

    # --- treatments, classes, obstacles, rules, sources

    def _treatments(self) -> Iterator[Page]:
        vocabulary, by = self.kb.vocabulary, self.catalogue.by
        planned = sum(entry.outcome == "plan" for entry in self.catalogue.entries.values())
        for kind, treatment in sorted(self.kb.treatments.items()):
            users = by["kinds"].get(kind, [])
            everywhere = len(users) == planned
            removes = sorted(
                {then["for"] for rule in self.kb.rules for then in rule["then"] if then.get("offer") == kind},
                key=vocabulary.obstacle_rank.__getitem__,
            )
            yield self.page(
                f"treatments/{kind}",
                "treatment.md",
                first_up(treatment["label"]),
                treatment["what"],
                kind=kind,
                treatment=_spoken(treatment),
                users=users,
                everywhere=everywhere,
                removes=removes,
            )

    def _classes(self) -> Iterator[Page]:
        vocabulary = self.kb.vocabulary
        for word, entry in vocabulary.classes.items():
            bound = (vocabulary.traits[key] for key in vocabulary.level_keys)
            levels = [t["values"] for t in bound if word in t.get("only_with", {}).get(vocabulary.class_key, ())]
            yield self.page(
                self.catalogue.places.path("class", word) or "",
                "class.md",
                first_up(entry["label"]),
                entry["means"],
                word=word,
                about=entry,
                levels=levels[0] if levels else {},
                users=self.catalogue.by["dormancy"].get(word, []),
            )

    def _obstacles(self) -> Iterator[Page]:
        vocabulary = self.kb.vocabulary
        for key, obstacle in vocabulary.obstacles.items():
            named = [rule for rule in self.kb.rules if any(then.get("obstacle") == key for then in rule["then"])]
            offers = [
                (then["offer"], then["standing"], rule)
                for rule in self.kb.rules
                for then in rule["then"]
                if then.get("for") == key and "offer" in then
            ]
            offers.sort(key=lambda item: (vocabulary.standing_rank[item[1]], item[0], item[2]["id"]))
            yield self.page(
                self.catalogue.places.path("obstacle", key) or "",
                "obstacle.md",
                first_up(obstacle["label"]),
                obstacle["means"],
                key=key,
                obstacle=obstacle,
                named=named,
                offers=offers,
                standings=vocabulary.files["standing"],
                users=self.catalogue.by["obstacles"].get(key, []),
            )

    def _sources(self) -> Iterator[Page]:
        for source in self.catalogue.places.all("source"):
            citation = self.kb.sources[source]["citation"]
            yield self.page(
                self.catalogue.places.path("source", source) or "",
                "source.md",
                page_models.short_citation(citation),
                citation,
                source=source,
                citation=citation,
                resting=self.catalogue.resting_on.get(source, {}),
            )

    def _rule(self, rule: Mapping[str, Any]) -> Page:
        because = {key: fill(text, OF_ANY_PLANT) for key, text in rule["because"].items()}
        return self.page(
            self.catalogue.places.path("rule", rule["id"]) or "",
            "rule.md",
            first_up(rule["id"].replace("-", " ")),
            because["why"],
            rule=rule,
            because=because,
            status=self.kb.vocabulary.files["rule_status"][rule["status"]],
            fires=[example | page_models.origin(self.kb, example) for example in rule["examples"]["fires"]],
            silent=[example | page_models.origin(self.kb, example) for example in rule["examples"]["silent"]],
            phase=f"{PHASES.index(rule['phase']) + 1} of {len(PHASES)}: {rule['phase']}",
            origins=[
                page_models.origin(self.kb, {**s, "source": s.get("id")}) | {"says": s["says"]} for s in rule["sources"]
            ],
            users=self.catalogue.by["rules"].get(rule["id"], []),
        )


def _lines(html: Any) -> str:
    """HTML without empty lines, at which Markdown would end it."""
    return "\n".join(line for line in str(html).split("\n") if line.strip())


def _metadata(entry: Entry, plan: Mapping[str, Any]) -> dict[str, Any]:
    return metadata.species(entry.name, entry.family, entry.genus, entry.common_names, entry.synonyms, plan)


def _spoken(treatment: Mapping[str, Any]) -> dict[str, Any]:
    """A treatment's bench lines with the places for numbers said in words."""
    words = {
        "days": "so many days",
        "hours": "so many hours",
        "minutes": "so many minutes",
        "temperature": "its temperature",
        "name": "the species",
        "look": "look weekly",
        "expect_text": "seedlings show",
        "seeds": "so few",
    }
    lines = {key: [fill(line, words) for line in treatment[key]] for key in ("do", "watch")}
    differ = [*treatment.get("by_lot", {}).values(), *treatment.get("by_case", ())]
    cases = [{**case, "do": [fill(line, words) for line in case["do"]]} for case in differ if "do" in case]
    return {
        **treatment,
        **lines,
        "cases": cases,
        "until": fill(treatment["until"], words),
        "success": fill(treatment["success"], words),
    }


def first_up(text: Any) -> str | Markup:
    if isinstance(text, Markup):
        return text
    said = str(text)
    return said[:1].upper() + said[1:]


def json_text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, default=list) + "\n"
