"""The form of every file of kb/vocabulary. That the words in them exist is checked in `vocabulary_check`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rousewort.knowledge.schema_parts import FOR_READERS, SOURCE, Schema, closed, many, mapped, text, words
from rousewort.knowledge.vocabulary import DERIVED

# What the reasoning uses a trait for. Each is some trait's; only `level` can be that of several.
ROLES = {
    "class": "The class of dormancy.",
    "level": "How deep dormancy of a class goes.",
    "size": "Size of the seed.",
    "count": "Seeds in a gram.",
    "climate": "Climate of its home.",
    "survives_drying": "Whether drying kills it.",
    "hazard": "Whether it harms people.",
    "native_cue": "What wakes it where it grows.",
}
HELD = text("How it is held: a word of held.yaml.")
MEANS = text("What it means.")
LABEL = text("What people call it.")
NOTE = text("What a reader should know.")
CONDITION = mapped(many(text("A word of it."), "Any of these."), "Traits or reports, each with the words that count.")
FACTS = mapped(text("Its word."), "Traits or reports, each with its word.")


def _flag(description: str) -> Schema:
    return {"type": "boolean", "description": description}


def _number(description: str, least: float = 0, whole: bool = False, null: bool = False) -> Schema:
    kind = "integer" if whole else "number"
    return {"type": [kind, "null"] if null else kind, "minimum": least, "description": description}


def _table(entry: Schema, description: str, pattern: str = "^[a-z][a-z0-9_]*$") -> Schema:
    """Word → what is said of it."""
    named = {"type": "string", "pattern": pattern, "description": "Small letters, figures and _."}
    return {**mapped(entry, description), "propertyNames": named, "minProperties": 1}


def _plain(description: str, required: Iterable[str] = ("means",), **more: Schema) -> Schema:
    """Words of which only a meaning, and perhaps a label, is said."""
    return _table(closed({"label": LABEL, "means": MEANS, **more}, list(required), "One word."), description)


def vocabulary_schemas(files: dict[str, Any]) -> dict[str, Schema]:
    """Every schema by its file's stem. `files` may be broken: only names that a file uses as keys are taken from them."""
    return {
        **_of_plants(),
        **_of_reasoning(),
        **_of_the_bench(files),
        "observations": _observations(),
        "trials": _trials(_ids(files.get("trials"), "arms")),
    }


def _ids(data: Any, key: str) -> list[str]:
    items = data.get(key) if isinstance(data, dict) else None
    return (
        [i["id"] for i in items if isinstance(i, dict) and isinstance(i.get("id"), str)]
        if isinstance(items, list)
        else []
    )


def _claims() -> Schema:
    question = closed(
        {
            "means": MEANS,
            "does": text("What it is about, as the subject of `is needed`."),
            "group": text("A group of treatment_groups.yaml that a plan gives or leaves."),
            "lasting": text("What a claim on its length is called."),
            "kind": text("A kind of treatment that a plan gives or leaves."),
            "trait": text("A trait that a plan takes the seed to have."),
            "yes": many(text("A word of the trait."), "Words of the trait that make the claim true."),
            "decides": _flag("The weakest claim of a plan is sought among these."),
            "by": many(words(["side", "home", "ground", "accord"], "A part."), "How its record is kept."),
        },
        ["means", "does", "by"],
        "A question.",
    )
    return closed(
        {
            "questions": _table(question, "What a plan claims."),
            "grounds": _plain("On what a claim rests, the nearest first.", own=_flag("On the species itself.")),
            "accords": _plain("Whether what it rests on agrees."),
            "homes": _plain(
                "Kinds of home climate.",
                winter=_flag("It has a winter."),
                words=many(text("A word of the climate."), "The words of home climate that are of this kind.", least=0),
            ),
        },
        ["questions", "grounds", "accords", "homes"],
        "What a plan claims, and on what ground.",
    )


def _of_plants() -> dict[str, Schema]:
    inherits = words(
        {"no": "Never lent.", "genus": "Taken from the genus.", "family": "From the genus, else the family."},
        "Where a missing value may be taken from.",
    )
    word = closed(
        {
            "label": LABEL,
            "means": MEANS,
            "short": text("Its usual abbreviation."),
            "served_by": text("The word of this trait whose treatment does this one no harm."),
            "shows": {**CONDITION, "description": "What seed of this word is like, by definition."},
            "only_with": {**CONDITION, "description": "Relatives lend the word only beside these."},
            "families": many(text("A family."), "Relatives lend the word only within these families."),
            "lent": _flag("false: relatives never lend it."),
            "must_not_dry": _flag("Seed of this word must never be dried."),
            "no_winter": _flag("A home without any winter."),
            "winter_varies": _flag("A home that tells nothing of winters."),
        },
        ["means"],
        "One word of a trait.",
    )
    only = {**CONDITION, "description": "An inherited value is used only beside one of these."}
    never = {**CONDITION, "description": "Not lent to a plant of which only these are known."}
    terms: Schema = {"only_with": only, "never_with": never}
    from_family = closed(terms, [], "Further conditions where the family lends it.")
    trait = closed(
        {
            "means": MEANS,
            "role": words(ROLES, "What the reasoning uses it for, where it needs one by name."),
            "typical": _flag("What is typical of a genus or family tells on the class."),
            "for_readers": FOR_READERS,
            "shared": _flag("A genus may say it once for all its species."),
            "asked": text("The question to whoever starts an entry."),
            "listed": closed(
                {"path": text("Folder of its pages."), "title": text("Title of the list.")}, ["path", "title"], "The handbook lists species by it."
            ),
            "inherits": inherits,
            "number": _flag("It is a number with a low and a high end, and has no words."),
            "many": _flag("A species can have several of its words."),
            "as_stated": _flag("Lent only where it is said of the genus or family itself, however many of its species have it."),
            "only_with": only,
            "never_with": never,
            "from_family": from_family,
            "values": _table(word, "Its words."),
        },
        ["means", "inherits"],
        "One trait.",
    )  # fmt: skip
    its_words = {"values": {"description": "Its words, each with what it means."}}
    without_words = {"required": ["number"], "properties": {"number": {"const": True, "description": "A number."}}}
    response = closed(
        {
            "kinds": many(text("A kind of treatment, or one of report_kinds.yaml."), "Reports of these kinds vote."),
            "failing_tells_nothing": many(text("One of its kinds."), "That these made no difference is no vote."),
            "inherits": inherits,
            "only_with": only,
            "never_with": never,
            "from_family": from_family,
            "means": MEANS,
            "for_readers": FOR_READERS,
        },
        ["kinds", "inherits", "means"],
        "What reports of some kinds let us say.",
    )
    clash = closed(
        {
            "words": {**CONDITION, "minProperties": 2},
            "why": text("What makes them clash."),
            "mend": text("What to look at."),
        },
        ["words", "why", "mend"],
        "Words that hardly go together.",
    )
    answers = {key: _plain(meaning, ["label", "means"]) for key, meaning in DERIVED.items()}
    return {
        "traits": _table({**trait, "if": without_words, "else": {"required": ["values"], "properties": its_words}}, "Every trait."),
        "responses": _table(response, "What reports say, by treatment."),
        "answers": closed(
            {"answer": _plain("Answers of votes.", ["label", "means"]), **answers},
            ["answer", *answers],
            "Answers that are read off an entry.",
        ),
        "contradictions": many(clash, "Words that clash."),
        "held": _plain("How a fact is held.", ["label", "means"]),
        "parts_read": _plain("What of a work was read."),
        "claims": _claims(),
        "report_kinds": _plain(
            "Kinds that only reports name.", ["means"], group=text("A group of treatment_groups.yaml.")
        ),
        "inferred_from": _plain("From what a trait was inferred that no work states.", ["label", "means"]),
        "protocol": _protocol(),
        "doubts": _table(
            closed(
                {
                    "means": MEANS,
                    "judged": _flag("An author may say why it stands."),
                    "quiet": _flag("Counted, and listed only when asked for."),
                    "not_plants": many(text("A genus."), "Genera whose names in a title are those of places."),
                },
                ["means"],
                "One doubt.",
            ),
            "What a check of entries doubts.",
            "^[a-z][a-z-]*$",
        ),
    }  # fmt: skip


def _protocol() -> Schema:
    """The words of a protocol: lists of words by the key that takes them."""
    found = _plain(
        "What a source found of a phase.",
        ["rank", "vote", "label", "means"],
        rank=_number("1 is the strongest evidence for a length; 0 none.", whole=True),
        vote={"type": ["string", "null"], "description": "A word of `answer` in answers.yaml, or null: no vote."},
        written=_flag("false: what a phase without `found` counts as; nobody writes it."),
    )
    counts = text("The word of `found` that a phase amounts to.")
    grounds = _plain("Words.", ["label", "means"], counts_as=counts)
    evidence = words(
        {"experiment": "Seed was treated and counted.", "advice": "It is advised.", "standard": "A standard prescribes it.",
         "practice": "It is what is usually done."}, "What kind of evidence it is, for a reason and a plan that follows it.")  # fmt: skip
    designs = _plain(
        "How a work was laid out.",
        ["label", "means", "evidence", "support"],
        counts_as=counts,
        evidence=evidence,
        support=_number("How much it weighs; over 1 it counted seed.", whole=True),
    )
    columns = _plain(
        "Words.",
        ["label", "means"],
        length=_flag("It holds the length of the phase that was varied."),
        within=_flag("It counts what sprouted within the phase."),
    )
    lists = ("end_sign", "only_if", "maturity", "gathered", "water", "light", "agent", "counted_of")
    return closed(
        {"found": found, "design": designs, "length_basis": grounds, "columns": columns}
        | {name: _plain("Words.", ["label", "means"]) for name in lists},
        ["found", "design", "length_basis", "columns", *lists],
        "The words of a protocol.",
    )


def _of_reasoning() -> dict[str, Schema]:
    lean = words({"short": "The short end.", "long": "The long end."}, "Which end of a range of cold to use.")
    obstacle = closed(
        {
            "id": text("The word that rules use.", "^[a-z][a-z0-9_]*$"),
            "label": LABEL,
            "means": MEANS,
            "minor": _flag("It slows rather than stops: its steps are optional."),
            "gone_when_cleaned": _flag("A lot that came cleaned has it no more."),
            "turn": words({"first": "The first.", "last": "The last."}, "Which of two cold seasons removes it."),
            "opposite": text("The obstacle that asks for the opposite."),
            "only_if": text("In which case it is there at all."),
            "only_if_sorted": text("The same, where an earlier step sorts the lot."),
            "sorts": _flag("Its step sorts the lot for those after it."),
        },
        ["id", "label", "means"],
        "What stops a seed.",
    )
    advice = closed(
        {
            "when": {
                **closed(
                    {"finding": text("A finding."), "obstacle": text("An obstacle.")}, [], "What holds: a finding or an obstacle."
                ),
                "minProperties": 1,
            },
            "say": text("What to say then."),
        },
        ["when", "say"],
        "One piece of advice.",
    )  # fmt: skip
    lot = _plain("What can be said of a lot.", ["label"], lean=lean, advice=many(advice, "What to say of it."))
    return {
        "obstacles": many(obstacle, "In the order in which they must be removed."),
        "findings": _plain("What rules find.", waits=_flag("Such seed must not simply be sown."), lean=lean),
        "standing": _plain("How well an offer stands, best first."),
        "rule_status": _plain("How far a rule can be trusted.", ["label", "means"]),
        "lots": closed({"stored": lot, "provenance": lot}, ["stored", "provenance"], "What is said of a lot."),
        "treatment_groups": _plain(
            "Treatments that do the same for a seed.",
            claim=_flag("Plans are compared with published sources on it."),
            obstacles=many(text("An obstacle."), "Only what is done against these counts in comparisons."),
            wakes=_flag("false: it prepares or ends a plan and wakes no seed by itself."),
            season=_flag("It is one of the seasons of a year."),
            may_replace_season=_flag("Told beside a season without an order, it may stand in for it."),
            fills=_flag("It goes between steps, whoever's they are."),
        ),
    }


def _of_the_bench(files: dict[str, Any]) -> dict[str, Schema]:
    traits = files.get("traits")
    size = (
        [k for k, t in traits.items() if isinstance(t, dict) and t.get("role") == "size"]
        if isinstance(traits, dict)
        else []
    )
    held = {"held": HELD, "note": NOTE}
    day = closed(
        {"month": _number("Month.", 1, whole=True), "day": _number("Day.", 1, whole=True)},
        ["month", "day"],
        "A day of the year.",
    )
    season = closed(
        {
            "season": text("Its name."),
            "removes": many(text("An obstacle."), "Only for steps that remove one of these."),
            "from": day,
            "to": day,
        },
        ["season", "from", "to"],
        "A season in which a step outside may begin.",
    )
    use = closed({k: _number("Millimetres.") for k in ("low", "use", "high")}, ["low", "use", "high"], "Depth.")
    banded = closed({"is": text("The word."), "least": _number("From this number up.")}, ["is", "least"], "One word.")
    band = closed(
        {"from": text("The number it is read off."), "words": many(banded, "From the largest number down."), **held},
        ["from", "words", "held"],
        "A banded number.",
    )
    small = closed(
        {"most": _number("Seeds.", whole=True), "irreversible": text("What to say."), **held},
        ["most", "irreversible", "held"],
        "A small lot.",
    )
    share = _number("A share, 0 to 1.")
    sheet = closed(
        {
            "page": text("Size of the page."),
            **{k: _number("Millimetres.") for k in ("width", "height", "left", "top")},
            **{k: _number("How many.", 1, whole=True) for k in ("columns", "rows")},
            "gap": closed(
                {"x": _number("Millimetres."), "y": _number("Millimetres.")}, ["x", "y"], "Between neighbours."
            ),
            "for": many(words(["bag", "pot", "tray"], "What it is for."), "What it is for."),
            "cut": words(["yes"], "Plain card, cut along the lines printed."),
            "held": HELD,
        },
        ["page", "width", "height", "left", "top", "columns", "rows", "gap", "for", "held"],
        "One sheet of labels.",
    )
    row = closed(
        {
            "high": _number("Average, %.", whole=True),
            "low": _number("Average, %.", whole=True),
            "four": _number("Widest range of four, points.", whole=True, null=True),
            "two": _number("Widest range of two, points.", whole=True, null=True),
        },
        ["high", "low", "four", "two"],
        "One line of the table.",
    )
    return {
        "bands": closed(
            {
                **{
key: band
                    for key in size[:1]
                },
                "sowing_depth_mm": closed({"words": _table(use, "By size of seed."), **held}, ["words", "held"], "How deep to sow."),
                "small_lot": small,
                "bulk_lot": closed({"least": _number("Seeds.", whole=True), **held}, ["least", "held"], "A lot too large to handle seed by seed."),
                "split_lot": closed({"least": _number("Seeds.", whole=True), **held}, ["least", "held"], "A lot that can be split."),
            },
            [*size[:1], "sowing_depth_mm", "small_lot", "bulk_lot", "split_lot"],
            "Thresholds, applied before any rule reads a fact.",
        ),
        "bench": closed(
            {
                "finds": _plain(
                    "What is seen at a look.",
                    ["label", "means", "held"],
                    held=HELD,
                    do=text("What to do then."),
                    ends=_flag("A step may end with it, before its days are over."),
                ),
                "own_record": closed(
                    {
                        "held": HELD,
                        "published_seeds": _number("Seeds.", 1, whole=True),
                        "likeness": share,
                        "count_every": _number("Days.", 1, whole=True),
                        "sure": share,
                    },
                    ["held", "published_seeds", "likeness", "count_every", "sure"],
                    "How an own record counts beside what is published.",
                ),
            },
            ["finds", "own_record"],
            "Looks and own records.",
        ),
        "calendar": closed(
            {
                "sow_outside": closed({**held, "seasons": many(season, "The first that fits is used.")}, ["held", "seasons"], "When a step outside may begin."),
                "look_every": closed({"held": HELD, "usual": _number("Days.", 1, whole=True)}, ["held", "usual"], "Days between looks."),
                "first_look": closed(
                    {"at_latest": _number("Days.", 1, whole=True), "held": HELD}, ["at_latest", "held"], "When a moist bag is first opened."
                ),
                "expected": closed({"share": share, **held}, ["share", "held"], "When seedlings are counted on."),
                "overnight": closed({"hours": _number("Hours."), "held": HELD}, ["hours", "held"], "What is over on the day it begins."),
            },
            ["sow_outside", "look_every", "first_look", "expected", "overnight"],
            "What dating a plan needs.",
        ),
        "colours": _plain(
            "How a step is drawn along the year.",
            ["means", "label", "sign"],
            label=text("In a word or two, for a legend."),
            sign=text("One sign for each week, where there is no colour.", "^.$"),
        ),
        "hazards": _plain(
            "Dangers to people or land, the gravest first.",
            ["means", "short"],
            short=text("For the sheet: danger and what to do, in one breath. {note}: what the entry says of the poison."),
            in_full=_flag("The sheet prints every caution of the step in its whole length."),
        ),
        "equipment": _plain(
            "What a grower can have.",
            ["label", "means", "assumed"],
            assumed=_flag("Taken as there unless the grower says otherwise."),
            permission=_flag("Used only when the grower allows it by name."),
            sold=_flag("Sold for seed, and harmless as sold: what it would only help is shown, to be got."),
        ),
        "label_sheets": _table(sheet, "Sheets of labels.", r"^\d+(\.\d+)?x\d+(\.\d+)?$"),
        "replicate_ranges": closed(
            {
                "source": SOURCE,
                "citation": text("The work."),
                **held,
                "seeds": _number("Seeds in a replicate.", 1, whole=True),
                "rows": many(row, "The table."),
            },
            ["source", "held", "seeds", "rows"],
            "How far replicates may differ.",
        ),
    }  # fmt: skip


def _observations() -> Schema:
    one = closed(
        {"if": text("A condition, as a formula."), "say": text("What to tell, with formulas in braces.")},
        ["if", "say"],
        "One thing that cannot be.",
    )
    each = closed(
        {"each": text("A series."), "refuses": many(one, "Rules on a value.")},
        ["each", "refuses"],
        "Rules on each value of a series.",
    )
    # Told apart by `each` and not by `anyOf`, so that a misspelt key is named.
    refusal: Schema = {"description": "What cannot be.", "if": {"required": ["each"]}, "then": each, "else": one}
    lines = many(text("What to say."), "What to say.")
    held = {"held": HELD, "note": NOTE}
    share = closed({"share": _number("A share, 0 to 1."), **held}, ["share", "held"], "A share.")
    field = closed(
        {
            "kind": words(["count", "number", "list", "series", "word"], "What is written down."),
            "ask": text("The question."),
            "words": many(text("A word."), "The words it may be."),
            "default": _number("Where nothing is written."),
            "optional": _flag("May be left out."),
        },
        ["kind", "ask"],
        "What to write down.",
    )
    bound = {
        "type": ["object", "string"],
        "description": "A word, or a number: {at_least, below}.",
        "properties": {"at_least": _number("From here up."), "below": _number("Below this.")},
        "additionalProperties": False,
        "minProperties": 1,
    }
    reading = closed(
        {
            "when": mapped(bound, "What holds of what was written down or reckoned; nothing: always."),
            "says": text("What it means."),
            "stop": _flag("No other test is worth doing."),
            "then": {**FACTS, "description": "Trait → the word that follows."},
            "leaves": {**CONDITION, "description": "What of classes and levels is still possible."},
            "share": _number("How often it comes where nothing is known."),
            "source": SOURCE,
            **held,
        },
        ["when", "says", "held"],
        "One reading of the result.",
    )
    test = closed(
        {
            "id": text("The test's name.", "^[a-z][a-z0-9_]*$"),
            "label": LABEL,
            "ask": text("The question."),
            "why": text("What it is good for."),
            "gate": _flag("Without it no other result counts."),
            "spends": _number("Seeds used up.", whole=True),
            "days": _number("Days until the answer.", whole=True),
            "needs": many(text("Equipment."), "What it takes."),
            "asked_when": closed(
                {
                    "facts": CONDITION,
                    "families": many(text("A family."), "Or the plant is of one of these."),
                    "without": CONDITION,
                },
                [],
                "Without these it is not asked.",
            ),
            "without_known": many(text("A trait."), "Asked only where one of these is not known."),
            "do": lines,
            "fields": _table(field, "What to write down."),
            "gives": mapped(text("What it is."), "Numbers that a reader is shown, each with its label."),
            "sums": mapped({"type": ["string", "number"], "description": "The formula."}, "Numbers worked out from the fields."),
            "refuses": many(refusal, "What cannot be; the first that holds is told."),
            "page": closed(
                {
                    "asks": _table(field, "What the page asks in its place."),
                    "fields": mapped({"type": ["string", "number"], "description": "The formula."}, "How the field is made of it."),
                },
                [],
                "What the key page asks in place of a series.",
            ),
            "words": {**FACTS, "description": "Trait → the field whose word it gets."},
            "bands": {**FACTS, "description": "Trait → the number that bands.yaml turns into its word."},
            "model": closed(
                {
                    **{k: {"type": "number", "description": "Coefficient."} for k in ("intercept", "coat_ratio", "log10_mass")},
                    "source": SOURCE,
                    **held,
                },
                ["intercept", "coat_ratio", "log10_mass", "source", "held"],
                "A published model.",
            ),
            "reads": many(reading, "The first whose `when` holds is the result."),
        },
        ["id", "label", "ask", "why", "spends", "days", "do", "fields", "gives", "reads"],
        "One test at the bench.",
    )  # fmt: skip
    ending = {"type": ["object", "string"], "description": "The next step, or what the seed is."}
    comparison = many(many(text("Value, sign, value."), "Value, sign, value.", least=3), "Comparisons.")
    key_step = closed({"all": comparison, "any": comparison, "yes": ending, "no": ending}, ["yes", "no"], "One step.")
    hedge = closed(
        {
            "only_if": text("When it is done."),
            "because": text("Why only half."),
            "where_home_is_mixed": text(
                "When cold lent by relatives is given, whose homes have winters and have none."
            ),
        },
        ["only_if", "because", "where_home_is_mixed"],
        "A split.",
    )
    sow = closed(
        {
            "when": many(text("A finding."), "All hold.", least=0),
            "say": lines,
            "hedge": _flag("The lot is split: part of it is chilled."),
            "keep_whole": _flag("Such seed is not nicked to see."),
            "only_if": text("When the chilled part is chilled, where `hedge` says more than need be."),
        },
        ["when", "say"],
        "One case.",
    )
    return closed(
        {
            "lot": closed(
                {"least": _number("Seeds.", whole=True), "share": _number("A share, 0 to 1."), **held},
                ["least", "share", "held"],
                "How much of a lot tests may use.",
            ),
            "surprise": share,
            "likely": share,
            "small_gain": _number("A share, 0 to 1."),
            "soon_days": _number("Days within which an answer is had soon."),
            "unknown": closed(
                {
                    "held": HELD,
                    "class_known": lines,
                    "home_unknown": lines,
                    "how_to_sow": many(sow, "The first that holds is said."),
                    "hedge": hedge,
                    "may_be_nicked": lines,
                    "class_unknown": lines,
                    "then": lines,
                },
                [
                    "held",
                    "class_known",
                    "home_unknown",
                    "how_to_sow",
                    "hedge",
                    "may_be_nicked",
                    "class_unknown",
                    "then",
                ],
                "What a plan says where nothing is known.",
            ),
            "tests": many(test, "In the order in which they are worth doing."),
            "alpine_key": closed(
                {
                    "source": SOURCE,
                    "where": text("Place in the work."),
                    **held,
                    "pass": _number("Per cent.", whole=True),
                    "starts": mapped(text("A step."), "Where to begin."),
                    "steps": mapped(key_step, "Its steps."),
                },
                ["source", "held", "pass", "starts", "steps"],
                "A published key.",
            ),
        },
        ["lot", "surprise", "likely", "small_gain", "soon_days", "unknown", "tests", "alpine_key"],
        "What can be seen at the bench.",
    )


def _trials(arms: list[str]) -> Schema:
    outcome = words(
        {
            "seedling": "Root and shoot.",
            "root": "Root only.",
            "none": "(Almost) nothing.",
        },
        "What the seed does in an arm.",
    )
    held = {"held": HELD, "note": NOTE}
    source = closed(
        {"id": SOURCE, "held": HELD, "says": text("What it says, in our own words.")}, ["id", "held"], "A source."
    )
    season = closed(
        {
            "kind": text("A treatment, or `grow`."),
            "days": _number("Days.", 1, whole=True),
            "temperature_c": {"type": "number", "description": "Degrees Celsius."},
        },
        ["kind"],
        "One season of an arm.",
    )
    by_arm = closed({arm: text("What it did.") for arm in arms}, [], "What other arms did.")
    shows = closed(
        {"did": text("What the arm did."), "beside": by_arm, "says": FACTS}, ["did", "says"], "What its result says."
    )
    arm = closed(
        {
            "id": text("The arm's name.", "^[a-z][a-z0-9_]*$"),
            "label": LABEL,
            "seasons": many(season, "In order."),
            "do": text("What to do."),
            "means": many(text("What its result means."), "What its result means.", least=0),
            "needs": many(text("Equipment."), "What it takes."),
            "opens": _flag("The coat is opened."),
            "shows": many(shows, "What its result says."),
            "never_with": CONDITION,
        },
        ["id", "label", "seasons", "do", "means"],
        "One arm.",
    )
    pattern = closed(
        {
            "id": text("The pattern's name.", "^[a-z][a-z0-9_]*$"),
            "is": FACTS,
            "adds": FACTS,
            **{name: outcome for name in arms},
        },
        ["id", "is"],
        "What seed of a class does in each arm.",
    )
    outdoors = closed(
        {"low": {"type": "number", "description": "°C."}, "high": {"type": "number", "description": "°C."}, "source": SOURCE, **held},
        ["low", "high", "held"],
        "Weather that counts as this treatment.",
    )  # fmt: skip
    return closed(
        {
            **held,
            "sources": many(source, "Sources."),
            "pass_pct": _number("Per cent.", whole=True),
            "control_days": _number("Days.", whole=True),
            "control_shoot_days": _number("Days.", whole=True),
            "chance": _number("0 to 1."),
            "uneven": _number("0 to 1."),
            "arms": many(arm, "Arms of a trial."),
            "patterns": many(pattern, "What each class does."),
            "outdoors": _table(outdoors, "By kind of treatment."),
        },
        ["held", "sources", "pass_pct", "control_days", "control_shoot_days", "chance", "uneven", "arms", "patterns", "outdoors"],
        "Arms of a trial and what they show.",
    )  # fmt: skip
