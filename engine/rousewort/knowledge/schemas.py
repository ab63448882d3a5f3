"""Writes kb/schema/*.schema.yaml: word lists come from kb/vocabulary, so a word is stated once.

`python -m rousewort.knowledge.write_schemas` rewrites them; a test fails while they are stale.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from rousewort.knowledge.cases import LOT
from rousewort.knowledge.protocols import UNITS
from rousewort.knowledge.reason_schema import reason, work
from rousewort.knowledge.schema_parts import (
    FOR_READERS,
    SCIENTIFIC_NAME,
    SOURCE,
    Schema,
    closed,
    held,
    many,
    mapped,
    sourced,
    span,
    text,
    words,
)
from rousewort.knowledge.taxon_schema import taxon
from rousewort.knowledge.vocabulary import Vocabulary

HEAD = "# Written by `python -m rousewort.knowledge.write_schemas` from kb/vocabulary; do not edit by hand.\n"
PHASES = {
    "traits": "Concludes traits and findings from what is known of the species.",
    "obstacles": "Names what stops the seed, from traits and findings.",
    "treatments": "Offers treatments for obstacles, or rules one out.",
    "cautions": "Adds warnings, or says that only a laboratory can help.",
}


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
                    "hazard": hazard(vocabulary),
                    "on_sheet": {
                        "type": "boolean",
                        "description": "false: the sheet says it elsewhere, in the text of a step.",
                    },
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


def hazard(vocabulary: Vocabulary) -> Schema:
    return words(
        vocabulary.files["hazards"], "The danger to people or land that it warns of; the sheet says each once."
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
            {"if": {"required": ["held"]}, "then": sourced(), "else": {"required": ["source"], "properties": {"source": SOURCE}}},
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
            {"text": text("The caution."), "hazard": hazard(vocabulary), "source": SOURCE, "held": held(vocabulary)},
            ["text", "held"],
            "A caution.",
        ),
        "Cautions, shown wherever the step shows.",
        least=0,
    )
    at_seed = words(
        {
            "across": "Cut right through.",
            "broad_side": "One small place on the broad side, away from scar and root tip.",
            "all_over": "The whole surface.",
            "seam": "Along the seam.",
            "none": "Nowhere after all.",
        },
        "Where on the seed it is done, for the drawing on a printed sheet.",
    )
    parts = {
        "label": text("Name."),
        "also": lines,
        "do": lines,
        "short": lines,
        "at_seed": at_seed,
        "watch": lines,
        "until": text("Event."),
        "success": text("Sign."),
        "takes": text("As `takes` of the treatment."),
        "if_nothing": text("As `if_nothing` of the treatment."),
        "cautions": cautions,
    }
    override = closed(parts, [], "Replaces these parts.")
    measures = words(list(UNITS), "In what its amount is counted.")
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
                {**{key: span("As for a report.", 3000) for key in UNITS}},
                [],
                "Between these lie all but about one in a hundred of the lengths entered of it; an end beyond is doubted.",
            ),
            "at_most": closed(
                {u: {"type": "number", "minimum": 0, "description": f"{u}."} for u in (*UNITS, "temperature_c")},
                [],
                "A limit that no report may exceed; that of temperature binds all but reports on the species itself.",
            ),
            "ranges": many(a_range, "Ranges, from special to general.", least=0),
            "temperature_c": degrees,
            "warmth": many(
                closed({**case_of(vocabulary), "temperature_c": degrees}, ["when", "temperature_c"], "One case."),
                "Other temperatures: the first case that holds.",
            ),
            "medium": text("What it is done in."),
            "media": mapped({"type": "string"}, "Other media by name."),
            "do": lines,
            "short": many(
                text("One sentence or two."),
                "For the sheet: only what differs from plant to plant, with the places of `do` and {until}. Left out where `do` "
                "is as short. What replaces `do` replaces it too.",
            ),
            "at_seed": at_seed,
            "takes": text("For the sheet, what it needs beyond `needs`, in few words; the medium where nothing is said."),
            "if_nothing": text("For the sheet: when no seedling came and this was given, what to look for and do. {days}: its days."),
            "watch": many(text("What to look for."), "What to watch for.", least=0),
            "until": text("The event that ends it."),
            "success": text("How to tell that it worked."),
            "by_obstacle": {
                **mapped(override, "Parts that differ by obstacle."),
                "propertyNames": {"enum": list(vocabulary.obstacles)},
            },
            "by_way": mapped(override, "Parts that differ by way."),
            "by_medium": mapped(override, "Parts that differ where it is done in another of its `media`."),
            "by_lot": closed(
                {"small": override, "bulk": override}, [], "Parts that differ for a small lot, or one by the thousand (vocabulary/bands.yaml)."
            ),
            "by_case": many(
                closed({**case_of(vocabulary), **parts}, ["when"], "Replaces these parts where the case holds; the last that holds decides."),
                "Parts that differ by what is known of the seed or stands in its way, of a small lot too.",
            ),
            "sowing": sowing(vocabulary, degrees, source_list),
            "cautions": cautions,
            "sources": source_list,
        },
        ["kind", "group", "rank", "container", "drawn", "label", "what", "why", "needs", "do", "watch", "until", "success", "cautions", "sources"],
        "How one kind of treatment is done at the bench.",
    )  # fmt: skip


def case_of(vocabulary: Vocabulary) -> dict[str, Schema]:
    """When a case holds: by the words that rules read and conclude, and the size of the lot. knowledge/cases.py checks the words."""
    known = sorted({*vocabulary.keys, LOT})
    facts = {
        "type": "object",
        "additionalProperties": {"type": ["string", "array"], "items": {"type": "string"}},
        "propertyNames": {"enum": known},
    }
    return {
        "when": {**facts, "description": "Key and word, or a list of words of which any will do; all lines hold. Nothing here: always."},
        "unless": {**facts, "description": "None of these is so."},
        "optional": {"type": "boolean", "description": "Whether its obstacle only slows the seed."},
    }  # fmt: skip


# What is decided of a sowing, each on its own; water, position and light have words, for whoever reads the plan's JSON.
SOWING_PARTS = {
    "storage": "How the seed is kept until the plan begins; said with its first step.",
    "container": "What it is sown in.",
    "medium": "In or on what.",
    "water": "How wet.",
    "temperature_c": "How warm.",
    "light": "What light is to this seed.",
    "position": "How the seed lies, and how deep.",
    "salinity": "Salt in the water.",
    "host": "Another plant that must be there.",
    "expect": "When seedlings come, and when to give up.",
}
SOWING_FIELDS = {  # what a case of these parts says in place of `is`
    "temperature_c": ["temperature_c"],
    "expect": ["days", "give_up"],
}
SOWING_WORDS = {
    "water": ["drained", "moist", "wet", "submerged", "brackish", "none"],
    "light": ["needed", "helps", "dark", "no matter"],
}


def sowing(vocabulary: Vocabulary, degrees: Schema, source_list: Schema) -> Schema:
    """For sowing: each part decided by the first of its cases that holds."""

    def cases(part: str, means: str) -> Schema:
        said = words(SOWING_WORDS[part], means) if part in SOWING_WORDS else text(means)
        own = {
            "temperature_c": {
                "temperature_c": degrees,
                "firm": {"type": "boolean", "description": "No test raises it."},
            },
            "expect": {"days": span("Days from sowing.", 1500), "give_up": text("When to give up.")},
        }
        lies = {
            "depth_mm": span("Millimetres of cover.", 300, use=True),
            "by_size": {"type": "boolean", "description": "As deep as its size asks (vocabulary/bands.yaml)."},
        }
        case = {
            **case_of(vocabulary),
            **own.get(part, {"is": said}),
            **(lies if part == "position" else {}),
            "do": text("What to do; {depth}, {temperature}, {medium} and {container} are filled in."),
            "short": text("The same for the sheet, in few words; how seed is kept stands there only so."),
            "held": held(vocabulary),
            "sources": source_list,
            "note": text("Why."),
        }
        needed = ["when"] if part in ("host", "salinity") else ["when", *SOWING_FIELDS.get(part, ["is"])]
        return many(closed(case, needed, f"One case. {means}"), means)

    parts = {part: cases(part, means) for part, means in SOWING_PARTS.items()}
    return closed(parts, list(parts), "For sowing: each part is decided by the first of its cases that holds.")


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
    share = {"type": ["number", "null"], "minimum": 0, "maximum": 1, "description": "A share of those tried."}
    step = {
        "type": "object",
        "description": "A chosen treatment with its numbers.",
        "required": [
            "id",
            "kind",
            "removes",
            "optional",
            "only_if",
            "first_look_days",
            "do",
            "watch",
            "until",
            "success",
            "because",
            "cautions",
        ],
        "properties": {
            "id": text("Kind and turn, unique in the plan."),
            "kind": words(kinds, "Kind of treatment."),
            "removes": {**strings, "description": "Obstacles that it removes."},
            "optional": {"type": "boolean", "description": "May be left out."},
            "only_if": {"type": ["string", "null"], "description": "When it is done at all, in words; null: always."},
            "first_look_days": {"type": ["integer", "null"], "description": "Days after which it is first looked at."},
            "sowing": {
                "type": "object",
                "description": "Of the last step: water, medium, position, depth and light, what it is sown in, how it is kept till "
                "then, and salt and host where they matter; null where nothing is known.",
                "required": [
                    "light",
                    "depth_mm",
                    "water",
                    "medium",
                    "position",
                    "container",
                    "storage",
                    "salinity",
                    "host",
                ],
            },
            "days": amount,
            "hours": amount,
            "minutes": amount,
            "temperature_c": amount,
            "because": {"type": "array", "description": "Why it stands in the plan.", "items": reason()},
        },
    }
    claim = closed(
        {
            "about": text("coat, cold, warm, class, or a length: cold_days, warm_days, coat_days."),
            "says": {"type": ["boolean", "string", "integer"], "description": "What the plan says."},
            "rests_on": text("On what kind of ground."),
            "right": share,
            "right_from": share,
            "right_to": share,
            "tried": {"type": ["integer", "null"], "description": "How many such claims were tried."},
        },
        ["about", "says", "rests_on", "right", "tried"],
        "One claim; a share is null where nothing was measured.",
    )
    return {
        "type": "object",
        "description": "A plan: ordered steps with reasons, alternatives and sources.",
        "required": [
                "format", "query", "outcome", "taxon", "line", "follows", "claims", "expect",
                "others", "basis", "dormancy", "steps", "alternatives", "ruled_out", "cautions", "unknowns", "sources"],
        "properties": {
            "format": {"const": "rousewort-plan-2", "description": "Form of this document."},
            "query": {"type": "string", "description": "What was asked for."},
            "outcome": words(["plan", "laboratory", "unreachable", "unknown"], "How it ends."),
            "taxon": {"type": "object", "description": "Accepted name, family and how it was matched.", "required": ["name", "family", "matched_by"]},
            "basis": {"type": "object", "description": "What the plan rests on and how sure it is.", "required": ["kind", "confidence", "note"]},
            "line": {"type": ["string", "null"], "description": "The plan in one line."},
            "follows": {"type": ["object", "null"], "description": "The protocol that it follows, with what came of it."},
            "claims": {"type": "array", "description": "What it says, question by question, and how often such claims were right.", "items": claim},
            "expect": {"type": ["object", "null"], "description": "How much comes, and in how many days."},
            "others": {"type": ["array", "null"], "description": "Other protocols of the species."},
            "dormancy": {"type": "object", "description": "Class and level, null where unknown."},
            "steps": {"type": "array", "items": step, "description": "In order; empty only where the outcome is not `plan`."},
            "alternatives": {"type": "array", "description": "Whole sequences for other equipment."},
            "ruled_out": {"type": "array", "description": "What must not be used, or could not be, and why."},
            "cautions": {**strings, "description": "Cautions on the whole plan."},
            "unknowns": {**strings, "description": "What is not known and would matter."},
            "sources": {"type": "array", "description": "Every work that the plan rests on, nearest role first.", "items": work()},
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
