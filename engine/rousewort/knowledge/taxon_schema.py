"""The form of an entry of a species, genus or family: names, traits, what lots differ in, and protocols."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rousewort.knowledge.protocols import UNITS
from rousewort.knowledge.schema_parts import (
    COMMON_NAME,
    FAMILY_NAME,
    SCIENTIFIC_NAME,
    SOURCE,
    Schema,
    closed,
    held,
    many,
    provenance,
    sourced,
    text,
    words,
)
from rousewort.knowledge.vocabulary import Vocabulary

PROTOCOL_ID = "^[a-z0-9]+(-[a-z0-9]+)*$"
_MOST = {"days": 2500, "hours": 500, "minutes": 3000, "ppm": 100_000, "strength_pct": 100, "elevation_m": 6000}
_CHOSEN = (*UNITS, "ppm", "strength_pct")


def taxon(vocabulary: Vocabulary, kinds: list[str], ways: Mapping[str, Any]) -> Schema:
    """`kinds`: those that a phase may name. `ways`: kind → its ways, where they say nothing of each other."""
    word_traits = {key: trait for key, trait in vocabulary.traits.items() if not trait.get("number")}
    bare = {key: _bare(trait) for key, trait in word_traits.items()}
    names = {
        "name": text(
            "The accepted name, such as `Acer rubrum`, `Acer rubrum var. trilobum` or `Salix × fragilis`; without author.",
            SCIENTIFIC_NAME,
        ),
        "rank": words(
            {"species": {"means": "A species or a taxon below it."}, "genus": {}, "family": {}},
            "What the entry is about.",
        ),
        "family": text("The family, by APG IV or for gymnosperms by current use; it ends in -aceae.", FAMILY_NAME),
        "adds_to": text(
            "The accepted name whose entry this file adds protocols to, in a further layer.", SCIENTIFIC_NAME
        ),
        "synonyms": many(
            text("A scientific name no longer used, without author.", SCIENTIFIC_NAME), "Other scientific names."
        ),
        "common_names": many(
            text("A name in any language and script; no markup, no invisible characters.", COMMON_NAME), "Common names."
        ),
    }
    one_lot = {
        **{k: v for k, v in provenance(vocabulary).items() if k in ("source", "held", "where")},
        "says": text("How lots or provenances differ, in our own words."),
        "provenance": text("What the difference follows: latitude, height, ripeness."),
    }
    facts = {
        "practice": closed(
            bare,
            [],
            "What is common knowledge of the plant, no work named: trait: word, or [word, word] where it has several.",
        ),
        "shared": closed(
            {key: bare[key] for key in vocabulary.shared_keys},
            [],
            "Only for a genus: what holds, as common knowledge, for every species of it whose own entry says nothing else.",
        ),
        "traits": closed(
            {key: _statements(trait, vocabulary) for key, trait in vocabulary.traits.items()},
            [],
            "What works say of the seed and the plant: each trait a list of statements; where sources differ, both stand.",
        ),
        "lots": many(
            closed(one_lot, ["held", "says"], "One source on how lots differ."),
            "How lots and provenances of this plant differ.",
        ),
        "protocols": many(
            protocol(vocabulary, kinds, ways), "What sources did to the seed: one source, one lot, from first to last."
        ),
    }
    return {
        **closed({**names, **facts}, [], "One taxon: what is known of its seed, and what was tried on it."),
        "if": {"required": ["adds_to"]},
        "then": {"required": ["adds_to"]},
        "else": {
            "required": ["name", "rank"],
            "if": {"properties": {"rank": {"const": "family"}}},
            "else": {"required": ["family"]},
        },
    }


def _bare(trait: dict[str, Any]) -> Schema:
    one = words(trait["values"], trait["means"])
    if not trait.get("many"):
        return one
    return {"description": trait["means"], "anyOf": [one, many(one, "Several words of it.", least=2)]}


def judged(vocabulary: Vocabulary) -> Schema:
    """Why a doubted fact stands, by the code of the doubt; a word or two is no reason."""
    codes = {code: entry["means"] for code, entry in vocabulary.files["doubts"].items() if entry.get("judged")}
    reasons = {
        code: {**text(f"Why it stands, though a check doubts: {means}."), "minLength": 30}
        for code, means in codes.items()
    }
    about = "Set where somebody looked at a doubt again: why the fact stands. On a number, the reason repeats it."
    return {**closed(reasons, [], about), "minProperties": 1}


def _statements(trait: dict[str, Any], vocabulary: Vocabulary) -> Schema:
    common = {
        **provenance(vocabulary),
        "inferred_from": words(
            vocabulary.files["inferred_from"], "Set where somebody inferred it: from what; `note` says more."
        ),
        "judged": judged(vocabulary),
    }
    if trait.get("number"):
        number = {"type": "number", "exclusiveMinimum": 0, "maximum": 2_000_000}
        value = {"low": {**number, "description": "Lower count."}, "high": {**number, "description": "Upper count."}}
        one = closed({**value, **common}, ["low", "high", "held"], trait["means"])
    else:
        one = closed({"is": words(trait["values"], trait["means"]), **common}, ["is", "held"], trait["means"])
    return many({**one, **sourced()}, trait["means"])


def protocol(vocabulary: Vocabulary, kinds: list[str], ways: Mapping[str, Any]) -> Schema:
    """One source, one lot. Alternatives are protocols of their own; arms of one experiment stand in `results`."""
    word = vocabulary.files["protocol"]
    ground = provenance(vocabulary)
    known_by = {
        "id": text("A short name, unique in this file: `a-year-of-cold`.", PROTOCOL_ID),
        "source": SOURCE,
        "also_in": {
            "description": "Works that carry the same facts again: a compilation, a later edition.",
            "anyOf": [SOURCE, many(SOURCE, "Several works.")],
        },
        "quoting": text("The work that it is told from, where the source tells it from another."),
        "held": held(vocabulary),
        "where": ground["where"],
        "read_what": words(vocabulary.files["parts_read"], "What of the work was read for it."),
        "low_standing": ground["low_standing"],
        "design": words(word["design"], "What kind of evidence it is; left out where the source does not tell."),
        "lot": _lot(vocabulary),
    }
    outcome = {
        "order": words(
            {
                "not_read": {
                    "means": "The phases stand in no told order, and some may be alternatives; nobody has looked yet."
                }
            },
            "Set where the entry does not tell sequence from alternative.",
        ),
        "phases": many(
            _phase(vocabulary, kinds, ways), "What was done, in order, each with its own length and temperature."
        ),
        "found": _found(
            vocabulary, "What the source found of all that stands in `phases`; of one phase, it stands there."
        ),
        "chosen": closed(
            {
                "temperature_c": _temperature("The temperature chosen."),
                **{unit: _amount(f"The {unit} chosen.", unit) for unit in _CHOSEN},
            },
            [],
            "What the authors chose among what they tried.",
        ),
        "test": _test(vocabulary),
        "columns": many(words(word["columns"], "What a column holds."), "What the columns of `rows` hold, in order."),
        "results": many(
            _result(kinds, word), "What came up: by arm and lot, the control beside them; counts before per cent."
        ),
        "said": text("Words as printed, where they matter."),
        "not_given": many(text("One thing."), "What the source leaves out and one would want to know."),
        "note": ground["note"],
        "judged": judged(vocabulary),
    }
    one = closed({**known_by, **outcome}, ["id", "held"], "One source, one lot, from first to last.")
    return {**one, **sourced()}


def _found(vocabulary: Vocabulary, description: str) -> Schema:
    told = {key: w for key, w in vocabulary.files["protocol"]["found"].items() if w.get("written", True)}
    return words(told, description)


def _phase(vocabulary: Vocabulary, kinds: list[str], ways: Mapping[str, Any]) -> Schema:
    word = vocabulary.files["protocol"]
    first = {"type": "integer", "minimum": 0, "maximum": 2500}
    sprouting = {
        "first_day": {**first, "description": "Day on which the first sprouted."},
        "most_by_day": {**first, "description": "Day by which most had sprouted."},
        "pct": {**_amount("Per cent that sprouted in it.")},
    }
    every_way = {
        **{way: entry for told in ways.values() for way, entry in told.items()},
        "unknown": {"means": "The source does not say; no times are then given."},
    }
    only_reported = vocabulary.files["report_kinds"]
    phase = closed(
        {
            "kind": words({kind: only_reported.get(kind, {}) for kind in kinds}, "What was done."),
            "found": _found(vocabulary, "What the source found of this phase."),
            **{unit: _amount(f"How many {unit}: one number, or low and high.", unit) for unit in UNITS},
            "length_basis": words(
                word["length_basis"], "What the length is: the one that was needed, or the only one tried."
            ),
            "temperature_c": _temperature("Temperature, °C: one number, a range, day and night, or a limit."),
            "medium": text("What it was done in or on: sand, peat, paper, a bag."),
            "water": words(word["water"], "How wet."),
            "light": words(word["light"], "Light or dark."),
            "light_hours": {"type": "number", "minimum": 0, "maximum": 24, "description": "Hours of light a day."},
            "agent": words(word["agent"], "The compound."),
            "ppm": _amount("Strength in parts per million, or mg a litre.", "ppm"),
            "strength_pct": _amount("Strength of acid or solution, per cent."),
            "dose": text("How much, where it has no other unit: volumes of water, grams of plant smoked."),
            "way": words(every_way, "Where a treatment can be done in ways that say nothing of each other: which."),
            "place": text("Where, if outdoors: the town or region, the bed or frame."),
            "from": text("When it began, if that matters: autumn, October."),
            "end_sign": words(word["end_sign"], "What ended it, whatever the days."),
            "root_cm": {
                "type": "number",
                "minimum": 0,
                "maximum": 100,
                "description": "How long the root was then, cm.",
            },
            "sprouting": {**closed(sprouting, [], "Sprouting within this phase."), "minProperties": 1},
            "only_if": words(word["only_if"], "Done only to some of the seed."),
            "only_in": words(
                {"some_arms": {"means": "Some arms of the experiment had it; `arm` in the results says which."}},
                "Set where not every arm had it.",
            ),
            "dried_after": {"type": "boolean", "description": "The seed was dried after it."},
            "low_standing": text("Why this phase counts less than the rest of the protocol."),
            "said": text("Words as printed, where they matter."),
            "note": text("What a reader should know, in our own words."),
            "judged": judged(vocabulary),
        },
        ["kind"],
        "One phase. Give at most one of days, hours and minutes.",
    )
    return {**phase, "if": {"properties": {"kind": {"enum": list(ways)}}}, "then": {"required": ["way"]}}


def _number(top: float, whole: bool = False) -> Schema:
    return {"type": "integer" if whole else "number", "minimum": 0, "maximum": top}


def _amount(description: str, unit: str = "strength_pct") -> Schema:
    """A number, its range with one end or both, or why there is none."""
    one = _number(_MOST[unit], whole=unit == "days")
    ends = closed(
        {
            "low": {**one, "description": "From; left out where open."},
            "high": {**one, "description": "To; left out where open."},
            "across": text("What the range is over: seedlots, provenances, years."),
        },
        [],
        "From, to.",
    )
    absent = words(
        {
            "not_given": {"means": "The source does not say how much."},
            "varied": {"means": "Several were tried: `columns` and `results` say which."},
        },
        "Why there is no number.",
    )
    number = {**one, "description": "One number."}
    return {"description": description, "anyOf": [number, {**ends, "minProperties": 1}, absent]}


def _temperature(description: str) -> Schema:
    degrees = {"type": "number", "minimum": -200, "maximum": 250}

    def ends(*keys: str, about: str, needs: bool = True) -> Schema:
        made = closed(
            {key: {**degrees, "description": f"°C, {key}."} for key in keys}, list(keys) if needs else [], about
        )
        return {**made, "minProperties": 1}

    hours = {"type": "number", "minimum": 0, "maximum": 24, "description": "Hours of the day temperature."}
    day_night = ends("day", "night", about="Day and night.")
    day_night["properties"]["day_hours"] = hours
    absent = words(
        {
            "varied": {"means": "Several were tried: `columns` and `results` say which."},
            "not_given": {"means": "The source does not say."},
            "outdoors": {"means": "As the weather was; `place` and `from` say where and when."},
            "room": {"means": "At room temperature, no degrees given."},
        },
        "Why there are no degrees.",
    )
    forms = [
        {**degrees, "description": "One number."},
        ends("low", "high", about="From, to."),
        day_night,
        ends("below", "above", about="A limit: below, or above.", needs=False),
        absent,
    ]
    return {"description": description, "anyOf": forms}


def _lot(vocabulary: Vocabulary) -> Schema:
    word = vocabulary.files["protocol"]
    stored = {
        name: {"means": f"{entry['label'].capitalize()}."} for name, entry in vocabulary.files["lots"]["stored"].items()
    }
    spell = closed(
        {
            "how": words(stored, "Dry, moist or frozen."),
            "days": _amount("For how many days.", "days"),
            "temperature_c": _temperature("At what temperature."),
            "humidity_pct": _amount("Relative humidity of the air, or moisture where `note` says so."),
            "note": text("What a reader should know."),
        },
        ["how"],
        "One spell of storage.",
    )
    count = {"type": "integer", "minimum": 1, "maximum": 100_000}
    return closed(
        {
            "taxon": text("The taxon as printed, where it is narrower or other than the entry."),
            "provenance": text("Where the seed came from."),
            "elevation_m": _amount("Height above the sea, metres.", "elevation_m"),
            "collected": text("When it was gathered: September 2019."),
            "gathered": words(word["gathered"], "Where the plants grew."),
            "maturity": words(word["maturity"], "How ripe."),
            "stored": {
                "description": "How the seed was kept until then.",
                "anyOf": [words(stored, "One word."), many(spell, "Spells of storage, in order.")],
            },
            "filled_pct": _amount("Share of filled seed, per cent."),
            "viable_pct": _amount("Share alive, per cent."),
            "viable_by": text("How that was tested: cut test, tetrazolium."),
            "lots": {**count, "description": "How many lots are put together here."},
            "mother_trees": {**count, "description": "From how many mother plants."},
            "note": text("What a reader should know of the lot."),
        },
        [],
        "The lot that the source worked on.",
    )


def _test(vocabulary: Vocabulary) -> Schema:
    count = {"type": "integer", "minimum": 1, "maximum": 100_000}
    return closed(
        {
            "counted": text("What counted as germinated: root 2 mm, seedling above ground."),
            "of": words(vocabulary.files["protocol"]["counted_of"], "What the shares are of."),
            "replicates": {**count, "description": "Replicates of each arm."},
            "seeds_each": {**count, "description": "Seeds in each replicate."},
            "days": _amount("How long it was watched.", "days"),
        },
        [],
        "How germination was counted.",
    )


def _held_fixed(word: dict[str, Any]) -> dict[str, Schema]:
    """What an experiment varies besides the column of its rows: one value of it, or several that the figure holds for."""
    numbers = {
        "days": "Days",
        "hours": "Hours",
        "minutes": "Minutes",
        "ppm": "Parts per million",
        "strength_pct": "Per cent",
    }
    one = {"type": "number", "description": "One value."}
    several = many({"type": "number", "description": "A value."}, "Several values.", least=2)
    made: dict[str, Schema] = {
        key: {"description": f"{about}.", "anyOf": [one, several]} for key, about in numbers.items()
    }
    made["temperature_c"] = _temperature("Temperature of the germination test, °C.")
    made["cold_c"] = {"description": "Temperature of the moist cold, °C.", "anyOf": [one, several]}
    made["warm_c"] = {"description": "Temperature of the moist warmth, °C.", "anyOf": [one, several]}
    made["light"] = words(word["light"], "Light or dark.")
    return made


def _result(kinds: list[str], word: dict[str, Any]) -> Schema:
    count = {"type": "integer", "minimum": 0, "maximum": 1_000_000}
    of = {
        "best_lot": {"means": "The best of several lots."},
        "worst_lot": {"means": "The worst of several lots."},
        "every_lot": {"means": "The range over all lots."},
        "mean_of_lots": {"means": "The mean of several lots."},
        "best_arm": {"means": "The best of several arms."},
    }
    ends = {end: {"type": "number", "description": f"{end.capitalize()} end."} for end in ("low", "high")}
    cell = {
        "description": "One figure, or its range where that is printed.",
        "anyOf": [
            {"type": ["number", "boolean", "string", "null"], "description": "One figure."},
            closed(ends, [], "From, to."),
        ],
    }
    lot = {
        "provenance": text("Where this lot came from."),
        "lots": {**count, "description": "How many lots are put together here."},
        "name": text("The name that the source gives it."),
        "note": text("What a reader should know of it."),
    }
    return closed(
        {
            "arm": many(words(kinds, "A kind of `phases`."), "Which of the phases this arm had."),
            "untreated": {"type": "boolean", "description": "true for seed that had none of the phases before sowing."},
            "lot": closed(lot, [], "Which lot, where there are several."),
            "at": {
                **closed(_held_fixed(word), [], "The values, of what was varied, that this holds for."),
                "minProperties": 1,
            },
            "of": words(of, "What the figure is of."),
            "germinated": {**count, "description": "Seeds that germinated."},
            "sown": {**count, "description": "Seeds sown."},
            "germinated_pct": _amount("Per cent that germinated, where no counts are printed."),
            "days": _amount("In how many days.", "days"),
            "columns": many(
                words(word["columns"], "What a column holds."), "Where its columns are not those of the protocol."
            ),
            "rows": many(
                {"type": "array", "items": cell, "description": "One row."}, "One row a figure, as `columns` says."
            ),
            "verdict": text("What the authors say of it, where no figure is printed."),
            "note": text("What a reader should know."),
        },
        [],
        "One figure, or one table of them.",
    )
