"""Writes kb/schema/*.schema.yaml: word lists come from kb/vocabulary, so a word is stated once.

`python -m rousewort.knowledge.write_schemas` rewrites them; a test fails while they are stale.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from rousewort.knowledge.vocabulary import Vocabulary

Schema = dict[str, Any]
HEAD = "# Written by `python -m rousewort.knowledge.write_schemas` from kb/vocabulary; do not edit by hand.\n"
PHASES = {
    "traits": "Concludes traits and findings from what is known of the species.",
    "obstacles": "Names what stops the seed, from traits and findings.",
    "treatments": "Offers treatments for obstacles, or rules one out.",
    "cautions": "Adds warnings, or says that only a laboratory can help.",
}


# Genus and epithets, hybrids (×) and ranks below species; author and cultivar stand elsewhere. The code of names allows
# a hyphen and the diaeresis, and no other accents.
_WORD = "[a-zëïöü]+(-[a-zëïöü]+)*"
SCIENTIFIC_NAME = f"^(× )?[A-Z]{_WORD}( (×|subsp\\.|var\\.|f\\.|sect\\.|subg\\.|{_WORD}))*$"
FAMILY_NAME = "^[A-Z][a-z]+aceae$"
# Any script, but nothing that a page or a terminal takes for markup, and nothing that cannot be seen.
_NO_MARKUP = r"\u0000-\u001f\u007f-\u009f\u200b\u2028-\u202e\u2066-\u2069\ufeff<>{}\[\]|\\`*_#&"
COMMON_NAME = f"^[^{_NO_MARKUP} ]([^{_NO_MARKUP}]*[^{_NO_MARKUP} ])?$"


def text(description: str, pattern: str = "") -> Schema:
    return {"type": "string", "minLength": 1, **({"pattern": pattern} if pattern else {}), "description": description}


def words(entries: dict[str, Any] | list[str], description: str) -> Schema:
    """One of a list of words, each with its meaning, so that an editor can explain it."""
    options: list[Schema] = []
    for word in entries:
        entry = entries[word] if isinstance(entries, dict) else {}
        means = entry if isinstance(entry, str) else entry.get("means")
        options.append({"const": word, **({"description": means} if means else {})})
    return {"description": description, "oneOf": options}


def closed(properties: dict[str, Schema], required: list[str], description: str) -> Schema:
    return {
        "type": "object",
        "description": description,
        "properties": properties,
        "required": required,
        "additionalProperties": False,
    }


def many(items: Schema, description: str, least: int = 1) -> Schema:
    return {"type": "array", "items": items, "minItems": least, "description": description}


def mapped(values: Schema, description: str) -> Schema:
    return {"type": "object", "description": description, "additionalProperties": values}


def span(description: str, top: float, whole: bool = False, use: bool = False) -> Schema:
    """A range; an open end is null. That low ≤ high is checked in Python: JSON Schema cannot say it."""
    one = {"type": ["integer" if whole else "number", "null"], "minimum": -90, "maximum": top}
    ends = {"low": {**one, "description": "Lower end."}, "high": {**one, "description": "Upper end."}}
    if use:
        ends["use"] = {
            "type": ["number", "object", "null"],
            "description": "The value to use; {day, night} for a temperature.",
        }
    return closed(ends, ["low", "high"], description)


def temperature(description: str) -> Schema:
    degrees = {"type": "number", "minimum": -20, "maximum": 250}
    day_night = closed(
        {"day": {**degrees, "description": "By day."}, "night": {**degrees, "description": "By night."}},
        ["day", "night"],
        "Day and night, °C.",
    )
    return {"description": description, "anyOf": [span("From, to, °C.", 250), day_night]}


SOURCE = text("The id of a work in sources.yaml.")
FOR_READERS = text("Set where no rule reads or offers it, and none should: why. It is shown to readers.")
AMOUNTS = {
    "days": span("Days.", 2500, whole=True),
    "hours": span("Hours.", 500),
    "minutes": span("Minutes.", 3000),
}


def held(vocabulary: Vocabulary) -> Schema:
    return words(vocabulary.files["held"], "How the fact is held.")


def provenance(vocabulary: Vocabulary) -> dict[str, Schema]:
    return {
        "source": SOURCE,
        "held": held(vocabulary),
        "where": text("Place in the work: page, table, abstract."),
        "low_standing": text("Why this counts less: alignment inferred, second-hand, pooled, believed."),
        "note": text("What a reader should know, in our own words."),
    }


def judged(vocabulary: Vocabulary) -> Schema:
    """Why a doubted fact stands, by the code of the doubt; a word or two is no reason."""
    codes = {code: entry["means"] for code, entry in vocabulary.files["doubts"].items() if entry.get("judged")}
    reasons = {
        code: {**text(f"Why it stands, though a check doubts: {means}."), "minLength": 30}
        for code, means in codes.items()
    }
    about = "Set where somebody looked at a doubt again: why the fact stands. On a number, the reason repeats it."
    return {**closed(reasons, [], about), "minProperties": 1}


def sourced(vocabulary: Vocabulary) -> Schema:
    """`read` and `memory` name a source; `practice` and `demo` have none."""
    named = {"properties": {"held": {"enum": ["read", "memory"]}}, "required": ["held"]}
    return {"if": named, "then": {"required": ["source"]}}


def taxon(vocabulary: Vocabulary, kinds: list[str], ways: Mapping[str, Any]) -> Schema:
    return {
        **closed(
            {
                "name": text(
                    "The accepted name, such as `Acer rubrum`, `Acer rubrum var. trilobum` or `Salix × fragilis`; without author.",
                    SCIENTIFIC_NAME,
                ),
                "rank": words(
                    {"species": {"means": "A species or a taxon below it."}, "genus": {}, "family": {}},
                    "What the entry is about.",
                ),
                "family": text(
                    "The family, by APG IV or for gymnosperms by current use; it ends in -aceae.", FAMILY_NAME
                ),
                "adds_to": text(
                    "Only in a private layer: the accepted name whose entry this file adds reports to.", SCIENTIFIC_NAME
                ),
                "synonyms": many(
                    text("A scientific name no longer used, without author.", SCIENTIFIC_NAME),
                    "Other scientific names.",
                ),
                "common_names": many(
                    text("A name in any language and script; no markup, no invisible characters.", COMMON_NAME),
                    "Common names.",
                ),
                "traits": closed(
                    {key: _statements(key, trait, vocabulary) for key, trait in vocabulary.traits.items()},
                    [],
                    "What is known of the seed and the plant: each trait a list of statements; where sources differ, both stand.",
                ),
                "lots": many(
                    closed(
                        {
                            **{k: v for k, v in provenance(vocabulary).items() if k in ("source", "held", "where")},
                            "says": text("How lots or provenances differ, in our own words."),
                            "provenance": text("What the difference follows: latitude, height, ripeness."),
                        },
                        ["held", "says"],
                        "One source on how lots differ.",
                    ),
                    "How lots and provenances of this plant differ.",
                ),
                "reports": many(
                    _report(vocabulary, kinds, ways), "What sources did to the seed, one source on one lot each."
                ),
            },
            ["name", "rank"],
            "One taxon: what is known of its seed, and what was tried on it.",
        ),
        "if": {"properties": {"rank": {"const": "family"}}},
        "else": {"required": ["family"]},
    }


def _statements(key: str, trait: dict, vocabulary: Vocabulary) -> Schema:
    common = {
        **provenance(vocabulary),
        "inferred_from": text("Set where somebody inferred it: from what."),
        "judged": judged(vocabulary),
    }
    if trait.get("number"):
        number = {"type": "number", "exclusiveMinimum": 0, "maximum": 2_000_000}
        value = {"low": {**number, "description": "Lower count."}, "high": {**number, "description": "Upper count."}}
        one = closed({**value, **common}, ["low", "high", "held"], trait["means"])
    else:
        one = closed({"is": words(trait["values"], trait["means"]), **common}, ["is", "held"], trait["means"])
    return many({**one, **sourced(vocabulary)}, trait["means"])


def _report(vocabulary: Vocabulary, kinds: list[str], ways: Mapping[str, Any]) -> Schema:
    only_reported = vocabulary.files["report_kinds"]
    treatment = closed(
        {
            "kind": words({kind: only_reported.get(kind, {}) for kind in kinds}, "What was done."),
            "means": words(vocabulary.files["report_meanings"], "What the number is; choose with care."),
            **AMOUNTS,
            "temperature_c": temperature("Temperature it was given at."),
            "way": words(
                {
                    **{way: entry for told in ways.values() for way, entry in told.items()},
                    "unknown": {"means": "The source does not say; no times are then given."},
                },
                "Where a treatment can be done in ways that say nothing of each other: which.",
            ),
            "strength_pct": {
                "type": "number",
                "minimum": 0,
                "maximum": 100,
                "description": "Strength of acid or solution, per cent.",
            },
            "low_standing": text("Why this treatment counts less than the rest of the report."),
            "note": text("What a reader should know, in our own words."),
            "judged": judged(vocabulary),
        },
        ["kind", "means"],
        "One treatment. Give at most one of days, hours and minutes.",
    )
    treatment["if"] = {"properties": {"kind": {"enum": list(ways)}}}
    treatment["then"] = {"required": ["way"]}
    percent = span("Per cent of seed.", 100)
    lot = closed(
        {
            "state": words(["fresh", "stored_dry", "stored_moist"], "State of the seed that was treated."),
            "provenance": text("Where the seed came from."),
        },
        [],
        "The lot that the source worked on.",
    )
    one = closed(
        {
            **provenance(vocabulary),
            "treatments": many(treatment, "What was done, in the order given."),
            "lot": lot,
            "germination_pct": closed(
                {
                    "treated": {**percent, "description": "After the treatments."},
                    "untreated": {**percent, "description": "Without them."},
                },
                [],
                "How much germinated.",
            ),
            "germination_temperature_c": temperature("Temperature of the germination test or sowing."),
            "judged": judged(vocabulary),
        },
        ["held"],
        "One source, one lot.",
    )
    return {**one, **sourced(vocabulary)}


def rule(vocabulary: Vocabulary, kinds: list[str]) -> Schema:
    fact = {
        "type": "object",
        "minProperties": 1,
        "maxProperties": 1,
        "description": "One key of the vocabulary and its word, or a list of words of which any will do.",
        "additionalProperties": {"type": ["string", "array"], "items": {"type": "string"}},
    }
    kind, obstacle = words(kinds, "Kind of treatment."), words(vocabulary.obstacles, "The obstacle.")
    then = {
        "description": "What the rule does.",
        "anyOf": [
            closed(
                {"conclude": {**fact, "description": "A trait and its word."}},
                ["conclude"],
                "Phase traits: a trait follows.",
            ),
            closed(
                {"finding": words(vocabulary.files["findings"], "The finding.")},
                ["finding"],
                "Phase traits: a finding follows.",
            ),
            closed(
                {
                    "obstacle": obstacle,
                    "optional": {
                        "type": "boolean",
                        "description": "Worth removing, but part of the lot comes without.",
                    },
                },
                ["obstacle"],
                "Phase obstacles: this stands in the way.",
            ),
            closed(
                {
                    "offer": kind,
                    "for": obstacle,
                    "standing": words(vocabulary.files["standing"], "How well the offer stands."),
                    "medium": text("A medium named in the treatment's `media`."),
                },
                ["offer", "for", "standing"],
                "Phase treatments: this removes the obstacle.",
            ),
            closed(
                {"rules_out": kind, "for": obstacle},
                ["rules_out"],
                "Phase treatments: this must not be used (for that obstacle).",
            ),
            closed(
                {
                    "caution": text("The warning."),
                    "shows_on": many(words([*kinds, "plan"], "Where it shows."), "Steps that show it."),
                },
                ["caution", "shows_on"],
                "Phase cautions: a warning.",
            ),
            closed(
                {
                    "outcome": words(["laboratory"], "How it ends."),
                    "do": many(text("What to do instead."), "What to do instead."),
                },
                ["outcome", "do"],
                "Phase cautions: no bench plan.",
            ),
        ],
    }
    return closed(
        {
            "id": {"type": "string", "pattern": "^[a-z][a-z0-9-]+$", "description": "The file's name without `.yaml`."},
            "status": words(
                vocabulary.files["rule_status"],
                "How far it can be trusted: " + ", ".join(vocabulary.files["rule_status"]) + ".",
            ),
            "date": text(
                "The day, as '2026-12-01', on which somebody last went over its grounds, limits and examples.",
                r"^20\d\d-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$",
            ),
            "author": text("Who answers for it, where that is one person or one nursery."),
            "phase": words(PHASES, "When it is read; a rule reads only what earlier phases settled."),
            "when": many(fact, "All of these hold."),
            "unless": many(fact, "None of these holds: findings or obstacles of an earlier phase, never a trait."),
            "then": many(then, "What follows."),
            "because": closed(
                {
                    "why": text("Why the rule may fire. {name} is the plant."),
                    "what": text("What it does."),
                    "ground": text("The physiology or ecology behind it."),
                },
                ["why", "what", "ground"],
                "The reason, as a grower should read it.",
            ),
            "limits": many(
                {**text("One case in which the rule misleads or says nothing, as a whole sentence."), "minLength": 25},
                "Where it may be wrong: for which seed, in which lots, against which report.",
            ),
            "sources": many(
                {
                    **closed(
                        {"id": SOURCE, "held": held(vocabulary), "says": text("What the work says, in our own words.")},
                        ["held", "says"],
                        "One source of the rule.",
                    ),
                    "if": {"properties": {"held": {"enum": ["read", "memory"]}}},
                    "then": {"required": ["id"]},
                },
                "What the rule rests on.",
            ),
            "examples": closed(
                {
                    "fires": many(rule_example(vocabulary), "On these it must fire."),
                    "silent": many(
                        rule_example(vocabulary),
                        "On these it must not, though they come near: they share a condition, or a plant of the family fires it.",
                    ),
                },
                ["fires", "silent"],
                "What the rule was tried on: plants as they are on record, run through all the rules by every check.",
            ),
        },
        ["id", "status", "date", "phase", "when", "then", "because", "limits", "sources", "examples"],
        "One rule of the reasoning.",
    )


def rule_example(vocabulary: Vocabulary) -> Schema:
    """A species of the knowledge base, or a lot where none shows the case; with who says it, and what was seen."""
    species = text(
        "A species of the knowledge base, by its accepted name: the rule is run on all that is known of it.",
        SCIENTIFIC_NAME,
    )
    lot = {
        "type": "object",
        "minProperties": 1,
        "description": "Only where no species shows it: what is known of such seed, a trait or report and its word a line; "
        "more than `when` says, and never a finding or an obstacle.",
        "additionalProperties": {"type": "string"},
    }
    example = closed(
        {
            "species": species,
            "lot": lot,
            "source": text(
                "The id of the work that says it; for a species, one that its entry names for what the rule reads."
            ),
            "held": words(vocabulary.files["held"], "How it is held, where no work says it."),
            "saw": {
                **text("What is known of this seed that makes the rule fire or keeps it silent, in our own words."),
                "minLength": 15,
            },
        },
        ["saw"],
        "`{species: a name, source: an id or held: practice, saw: what was seen}`; `lot:` for `species:` where no species shows it.",
    )
    return {
        **example,
        "allOf": [
            {"if": {"required": ["lot"]}, "else": {"required": ["species"], "properties": {"species": species}}},
            {"if": {"required": ["held"]}, "then": sourced(vocabulary), "else": {"required": ["source"], "properties": {"source": SOURCE}}},
        ],
    }  # fmt: skip


def treatment(vocabulary: Vocabulary, kinds: list[str]) -> Schema:
    source_list = many(
        closed(
            {"id": SOURCE, "held": held(vocabulary), "says": text("What it says, in our own words.")},
            ["id", "held"],
            "A source.",
        ),
        "Sources.",
        least=0,
    )
    lines = many(text("One instruction."), "Instructions.")
    amounts = {
        "days": span("Days.", 1500, use=True),
        "hours": span("Hours.", 500, use=True),
        "minutes": span("Minutes.", 3000, use=True),
    }
    degrees = closed(
        {
            **span("°C.", 160, use=True)["properties"],
            "sources": source_list,
            "held": held(vocabulary),
            "note": text("A note."),
        },
        ["low", "use", "high"],
        "Temperature, °C.",
    )
    a_range = closed(
        {
            "for": many(words(vocabulary.obstacles, "Obstacle."), "Obstacles that the range is for."),
            "class": words(vocabulary.classes, "Dormancy class it is for."),
            "level": words(vocabulary.levels, "Level it is for."),
            **amounts,
            "temperature_c": span("°C.", 160, use=True),
            "sources": source_list,
            "held": held(vocabulary),
            "note": text("A note."),
        },
        [],
        "A range where no report on species or genus gives one; the first that fits is used.",
    )
    cautions = many(
        closed(
            {"text": text("The caution."), "source": SOURCE, "held": held(vocabulary)}, ["text", "held"], "A caution."
        ),
        "Cautions, shown wherever the step shows.",
        least=0,
    )
    parts = {
        "label": text("Name."),
        "also": lines,
        "do": lines,
        "watch": lines,
        "until": text("Event."),
        "success": text("Sign."),
        "cautions": cautions,
    }
    override = closed(parts, [], "Replaces these parts.")
    measures = words(["days", "hours", "minutes"], "In what its amount is counted.")
    sizes = [size["is"] for size in vocabulary.files["bands"][vocabulary.size_key]["words"]]
    of_sizes = many(words(sizes, "Size of seed."), "Of these sizes.")
    return closed(
        {
            "kind": words(kinds, "The kind, and the file's name."),
            "label": text("What people call it."),
            "what": text("What it is, in a sentence."),
            "why": text("Why it works."),
            "needs": many(words(vocabulary.files["equipment"], "Equipment."), "What it takes.", least=0),
            "irreversible": {"type": "boolean", "description": "Cannot be undone: tried on a few seeds first, never on a tiny lot."},
            "wet": {"type": "boolean", "description": "The seed takes up water in it."},
            "measures": measures,
            "group": words(vocabulary.files["treatment_groups"], "What it does for the seed."),
            "rank": {"type": "integer", "minimum": 0, "description": "The gentler of two of one group has the lower."},
            "for_readers": FOR_READERS,
            "place": words({"first": "Every plan begins with it.", "last": "Every plan ends with it."}, "Its fixed place, if any."),
            "container": words(
                {"bag": "In a bag meanwhile.", "pot": "In pots or trays from here on.", "none": "In neither."},
                "What the seed is in, for labels.",
            ),
            "drawn": words(vocabulary.files["colours"], "How it is drawn along the year."),
            "begun": text("What a label says of the day on which it began: sown, potted."),
            "emergence": words(
                {"expected": "Some days after it.", "in_season": "At the end of its own days."}, "How seedlings are dated from it."
            ),
            "waits_for_season": {"type": "boolean", "description": "Done outside, in its season; seed then stays there."},
            "look_every": {"type": "integer", "minimum": 1, "description": "Days between looks, where not the usual."},
            "given_before": {"type": "boolean", "description": "A lot can have had it before it came, and is credited."},
            "moist_volume": {"type": "boolean", "description": "Its medium takes room in bags and fridge."},
            "leans": {"type": "boolean", "description": "Its length leans with the lot's provenance (vocabulary/lots.yaml)."},
            "strength_pct_from": {
                "type": "number",
                "description": "Reports of a weaker solution say nothing of its lengths.",
            },
            "ways": mapped(
                closed(
                    {
                        "means": text("How it is done."),
                        "label": text("In few words."),
                        "measures": measures,
                        "lent": {"type": "boolean", "description": "Whether relatives\' reports count for it."},
                    },
                    ["means", "label", "measures", "lent"],
                    "One way.",
                ),
                "Ways so different that the lengths of one say nothing of the other.",
            ),
            "usual_way": text("The way taken where no report says which."),
            "lots": closed(
                {
                    "most": {"type": "integer", "minimum": 1, "description": "Largest lot it is practical for."},
                    "least": {"type": "integer", "minimum": 1, "description": "Smallest lot it should be tried on."},
                    "held": held(vocabulary),
                },
                ["held"],
                "Lot size it suits.",
            ),
            "usual": closed(
                {**{key: span("As for a report.", 3000) for key in ("days", "hours", "minutes")}},
                [],
                "Between these lie all but about one in a hundred of the lengths entered of it; an end beyond is doubted.",
            ),
            "at_most": closed(
                {u: {"type": "number", "minimum": 0, "description": f"{u}."} for u in (*AMOUNTS, "temperature_c")},
                [],
                "A limit that no report may exceed; that of temperature binds all but reports on the species itself.",
            ),
            "ranges": many(a_range, "Ranges, from special to general.", least=0),
            "temperature_c": degrees,
            "by_climate": mapped(
                closed({"temperature_c": degrees}, ["temperature_c"], "By climate."), "Other temperatures by home climate."
            ),
            "after_cold_at_most": closed(
                {
                    "temperature_c": {"type": "number", "description": "Degrees Celsius."},
                    "held": held(vocabulary),
                    "note": text("Why."),
                    "sources": source_list,
                },
                ["temperature_c", "held"],
                "For sowing: the warmest value to use after a cold period, whatever tests used.",
            ),
            "expect": mapped(
                closed(
                    {"days": span("Days.", 1500), "give_up": text("When to give up."), "held": held(vocabulary)},
                    ["days", "give_up", "held"],
                    "By class.",
                ),
                "For sowing: when seedlings come and when to give up, by dormancy class.",
            ),
            "medium": text("What it is done in."),
            "media": mapped({"type": "string"}, "Other media by name."),
            "do": lines,
            "watch": many(text("What to look for."), "What to watch for.", least=0),
            "until": text("The event that ends it."),
            "success": text("How to tell that it worked."),
            "by_obstacle": {
                **mapped(override, "Parts that differ by obstacle."),
                "propertyNames": {"enum": list(vocabulary.obstacles)},
            },
            "by_way": mapped(override, "Parts that differ by way."),
            "by_lot": closed({"small": override}, [], "Parts that differ for a small lot (vocabulary/bands.yaml)."),
            "by_size": many(
                closed({"sizes": of_sizes, **parts}, ["sizes"], "Replaces these parts for seed of these sizes."),
                "Parts that differ by size of seed, of a small lot too.",
            ),
            "sowing": many(sowing_case(vocabulary), "For sowing: light, medium and depth; the first case that holds is used."),
            "cautions": cautions,
            "sources": source_list,
        },
        ["kind", "group", "rank", "container", "drawn", "label", "what", "why", "needs", "do", "watch", "until", "success", "cautions", "sources"],
        "How one kind of treatment is done at the bench.",
    )  # fmt: skip


def sowing_case(vocabulary: Vocabulary) -> Schema:
    sizes = [size["is"] for size in vocabulary.files["bands"][vocabulary.size_key]["words"]]
    when = closed(
        {
            "obstacle": words(vocabulary.obstacles, "It stands in the way."),
            "optional": {"type": "boolean", "description": "Whether that obstacle only slows the seed."},
            "sizes": many(words(sizes, "Size of seed."), "The seed is of one of these sizes."),
        },
        [],
        "All of these hold; nothing here: always.",
    )
    return closed(
        {
            "when": when,
            "light": words(["needed", "helps", "dark", "no matter"], "What light is to this seed."),
            "medium": text("One of the treatment's `media`."),
            "surface": {"type": "boolean", "description": "It is left on the surface."},
        },
        ["when", "light", "medium"],
        "One case of sowing.",
    )


DOI = r"^10\.\d{4,9}/\S+$"
# Fields of a work that somebody may have recalled, or worked out, rather than seen in a text.
RECALLED = ["author", "year", "title", "doi", "isbn", "report", "pmc", "pmid", "handle"]


def sources(vocabulary: Vocabulary) -> Schema:
    year = {
        "type": "integer",
        "minimum": 1500,
        "maximum": 2100,
        "description": "Year of the work. Left out where it is not known, and of a web page that bears no date.",
    }
    one = closed(
        {
            "citation": text("The work, as one would cite it; author and year stand in it as below."),
            "author": text("Who wrote it, as in the citation: persons, or the body whose page or book it is."),
            "year": year,
            "doi": text("Digital object identifier, without an address before it.", DOI),
            "isbn": text("International standard book number, digits only.", "^(97[89])?\\d{9}[\\dX]$"),
            "report": text("Series and number of a report or public handbook."),
            "pmc": text("Number in the open archive of life-science papers.", "^PMC\\d+$"),
            "pmid": text("Number in the catalogue of medical papers.", "^\\d+$"),
            "handle": text("Handle of a university's archive.", "^\\d+(\\.\\d+)*/\\S+$"),
            "read": words(vocabulary.files["parts_read"], "What of it was read."),
            "recalled": many(words(RECALLED, "A field."), "Fields that nobody here saw in a text; to be checked."),
            "note": text("What of it is uncertain."),
        },
        ["citation"],
        "A published work.",
    )
    return {
        "type": "object",
        "description": "Every published work cited, by id.",
        "propertyNames": {"pattern": "^[a-z0-9-]+$"},
        "additionalProperties": one,
    }


def plan(vocabulary: Vocabulary, kinds: list[str]) -> Schema:
    strings = {"type": "array", "items": {"type": "string"}}
    amount = {
        "type": ["object", "null"],
        "description": "low, use, high and from: species, genus, class, treatment; open ends null.",
    }
    step = {
        "type": "object",
        "description": "A chosen treatment with its numbers.",
        "required": ["id", "kind", "removes", "optional", "do", "watch", "until", "success", "because", "cautions"],
        "properties": {
            "id": text("Kind and turn, unique in the plan."),
            "kind": words(kinds, "Kind of treatment."),
            "removes": {**strings, "description": "Obstacles that it removes."},
            "optional": {"type": "boolean", "description": "May be left out."},
            "days": amount,
            "hours": amount,
            "minutes": amount,
            "temperature_c": amount,
            "because": {"type": "array", "description": "Reasons, each with its rule and sources."},
        },
    }
    return {
        "type": "object",
        "description": "A plan: ordered steps with reasons, alternatives and sources.",
        "required": ["format", "query", "outcome", "taxon", "basis", "dormancy", "steps", "alternatives", "ruled_out", "cautions", "unknowns", "sources"],
        "properties": {
            "format": {"const": "rousewort-plan-1", "description": "Form of this document."},
            "query": {"type": "string", "description": "What was asked for."},
            "outcome": words(["plan", "laboratory", "unreachable", "unknown"], "How it ends."),
            "taxon": {"type": "object", "description": "Accepted name, family and how it was matched.", "required": ["name", "family", "matched_by"]},
            "basis": {"type": "object", "description": "What the plan rests on and how sure it is.", "required": ["kind", "confidence", "note"]},
            "dormancy": {"type": "object", "description": "Class and level, null where unknown."},
            "steps": {"type": "array", "items": step, "description": "In order; empty only where the outcome is not `plan`."},
            "alternatives": {"type": "array", "description": "Whole sequences for other equipment."},
            "ruled_out": {"type": "array", "description": "What must not be used, or could not be, and why."},
            "cautions": {**strings, "description": "Cautions on the whole plan."},
            "unknowns": {**strings, "description": "What is not known and would matter."},
            "sources": {"type": "array", "description": "Every work that the plan rests on."},
        },
    }  # fmt: skip


def report_kinds(vocabulary: Vocabulary, treatments: Iterable[str]) -> list[str]:
    """What a report may name: what can be done, and what was done in some way that it does not tell."""
    return sorted({*treatments, *vocabulary.files["report_kinds"]})


def all_schemas(vocabulary: Vocabulary, treatments: Mapping[str, Any]) -> dict[str, Schema]:
    """Every schema by its stem. `treatments`: kind → its file, as far as it can be read."""
    kinds = sorted(treatments)
    ways = {
        kind: told["ways"] for kind, told in sorted(treatments.items()) if isinstance(told, dict) and "ways" in told
    }
    built = {
        "taxon": taxon(vocabulary, report_kinds(vocabulary, kinds), ways),
        "rule": rule(vocabulary, kinds),
        "treatment": treatment(vocabulary, kinds),
        "sources": sources(vocabulary),
        "plan": plan(vocabulary, kinds),
    }
    return {
        stem: {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema} for stem, schema in built.items()
    }
