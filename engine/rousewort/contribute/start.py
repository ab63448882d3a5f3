"""Starting an entry: what its author says, and what is known of its relatives as comments to be confirmed."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.base.atomic_write import read_text, write_atomically
from rousewort.base.errors import UserError
from rousewort.contribute.layout import place_of
from rousewort.contribute.tidy import SCHEMA_LINE
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.check import nearest
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.names import fold, slug
from rousewort.knowledge.schema_parts import FAMILY_NAME
from rousewort.knowledge.schemas import HEAD, all_schemas, report_kinds
from rousewort.observe.conclude import conclude, match_for, read_all
from rousewort.observe.draft import draft
from rousewort.observe.entries import load_file
from rousewort.observe.result import analyse
from rousewort.observe.sheet import read_sheet
from rousewort.observe.trial import arms_of

MOST_WORDS = 2  # of a trait, shown of relatives


class Said(NamedTuple):
    """What the author says of the plant. `traits`: trait → words; `phases`: what was done, in order."""

    name: str
    family: str | None = None
    common_names: tuple[str, ...] = ()
    synonyms: tuple[str, ...] = ()
    source: str | None = None
    held: str | None = None
    where: str | None = None
    traits: Mapping[str, tuple[str, ...]] = {}
    phases: tuple[Mapping[str, Any], ...] = ()
    note: str | None = None
    germinated: Mapping[str, Any] | None = None  # results, and the phase of sowing, as parts of a protocol
    own: Mapping[str, Any] | None = None  # statements and protocols of an own trial, each with its ground


def accepted_form(name: str) -> str:
    """`sallowia  Ripensis` → `Sallowia ripensis`. Raises UserError for what is no name of a species."""
    words = name.replace("×", " × ").split()
    if len([w for w in words if w != "×"]) < 2 or not all(
        w == "×" or w.replace("-", "").replace(".", "").isalpha() for w in words
    ):
        raise UserError(
            f"'{name}' is no name of a species. Write genus and epithet, without author: 'Sallowia ripensis'."
        )
    first = next(i for i, w in enumerate(words) if w != "×")
    return " ".join(w.capitalize() if i == first else w if w == "×" else w.lower() for i, w in enumerate(words))


def parse_trait(kb: KnowledgeBase, text: str) -> tuple[str, str]:
    """`dormancy_class=physical` → (trait, word). Raises UserError naming the words there are."""
    key, sign, word = (part.strip().replace("-", "_") for part in text.partition("="))
    traits = {k: t for k, t in kb.vocabulary.traits.items() if not t.get("number")}
    if not sign or key not in traits:
        raise UserError(f"'{text}': {nearest(key, list(traits))}Write TRAIT=WORD. Traits: {', '.join(traits)}.")
    if word not in traits[key]["values"]:
        raise UserError(
            f"'{text}': '{word}' is no word for {key}. {nearest(word, list(traits[key]['values']))}Words: {', '.join(traits[key]['values'])}."
        )
    return key, word


_UNITS = {"d": "days", "h": "hours", "min": "minutes"}
_NUMBER = r"\d+(?:\.\d+)?"
_SPAN = rf"(?P<{{0}}>{_NUMBER})?(?P<{{0}}_to>-(?P<{{0}}_high>{_NUMBER})?)?"
_AMOUNT = re.compile(
    (
        _SPAN.format("low") + r"\s*(?P<unit>d|h|min)?(?:@(?:(?P<day>N)/(?P<night>N)|" + _SPAN.format("warm") + "))?"
    ).replace("N)", f"{_NUMBER})")
)
PHASE_FORM = "KIND:FOUND[=AMOUNT][@DEGREES]"
# What a phase typed on one line may say for `found` besides the words of the vocabulary: its design, in a word.
ADVISED, TRIED = "advised", "tried"


def parse_phase(kb: KnowledgeBase, text: str) -> dict[str, Any]:
    """`cold_moist:needed=60-90@4` → a phase. Raises UserError.

    The amount is in the treatment's own unit, or says d, h or min; an end left out (`60-`) is open. Degrees are °C, one
    number, two (`4-6`), or day and night (`28/14`). Hot water says its way: `hot_water/held:effective=5@80`. `advised` and
    `tried` say that the source found nothing out of it.
    """
    head, sign, amount = text.partition("=")
    if not sign:
        head, sign, amount = text.partition("@")
        amount = sign + amount
    kind, _, found = (part.strip().replace("-", "_") for part in head.partition(":"))
    kind, _, way = kind.partition("/")
    kinds, words = report_kinds(kb.vocabulary, kb.treatments), list(kb.vocabulary.found)
    problems = []
    if kind not in kinds:
        problems.append(f"'{text}': '{kind}' is no treatment. {nearest(kind, kinds)}Treatments: {', '.join(kinds)}.")
    if found not in words:
        problems.append(f"'{text}': write {PHASE_FORM}, what was found one of: {', '.join(words)}.")
    ways = kb.vocabulary.kinds.ways(kind)
    if way and way not in ways:
        known = ", ".join(f"{k}/{w}" for k in kb.treatments for w in kb.vocabulary.kinds.ways(k))
        problems.append(f"'{text}': {kind} has no way `{way}`. Ways: {known}.")
    told = None if amount.rstrip().endswith("@") else _AMOUNT.fullmatch(amount.strip())
    if not told:
        problems.append(f"'{text}': write the amount and the degrees as {kind}:{found}=60-90@4, or 60-, 24h, @28/14.")
    if problems or not told:
        raise UserError(*problems)
    made: dict[str, Any] = {"kind": kind} | ({"found": found} if found not in (ADVISED, TRIED) else {})
    length = _range(told["low"], told["low_to"], told["low_high"])
    if length is not None:
        usual = ways.get(way, {}).get("measures") or kb.treatments.get(kind, {}).get("measures", "days")
        made[_UNITS.get(told["unit"], usual)] = length
    if found == ADVISED or (found == TRIED and length is not None):
        made["length_basis"] = "advice" if found == ADVISED else "only_tried"
    if (degrees := _degrees(told)) is not None:
        made["temperature_c"] = degrees
    if ways:
        made["way"] = way or "unknown"
    return made


def _number(text: str | None) -> int | float | None:
    return None if text is None else float(text) if "." in text else int(text)


def _range(low: str | None, to: str | None, high: str | None) -> Any:
    """60 → 60; 60-90 → from, to; 60- → open above; -90 → open below; nothing → None."""
    if low is None and high is None:
        return None
    if not to:
        return _number(low)
    return {key: _number(end) for key, end in (("low", low), ("high", high)) if end is not None}


def parse_germinated(text: str, sowing: str) -> dict[str, Any]:
    """`84-93/2@20/10` → {"results": per cent of seed, treated/untreated, either of which may be left out; "sown": the phase of
    sowing with its degrees}. `sowing`: the kind with which plans end. Raises UserError.
    """
    percent, _, degrees = text.replace("%", "").partition("@")
    results: list[dict[str, Any]] = []
    parts = [re.fullmatch(_SPAN.format("low"), part.strip()) for part in percent.split("/")]
    warm = _AMOUNT.fullmatch(f"@{degrees.strip()}") if degrees else None
    if len(parts) > 2 or not all(parts) or (degrees and not warm):
        raise UserError(f"'{text}': write per cent, treated/untreated, and perhaps degrees: 84-93/2, /0, 70@20/10.")
    for key, found in zip(({}, {"untreated": True}), parts, strict=False):
        if found and (share := _range(found["low"], found["low_to"], found["low_high"])) is not None:
            results.append({**key, "germinated_pct": share})
    sown = {"sown": {"kind": sowing, "temperature_c": _degrees(warm)}} if warm else {}
    return ({"results": results} if results else {}) | sown


def _degrees(found: re.Match[str]) -> Any:
    if found["day"]:
        return {"day": _number(found["day"]), "night": _number(found["night"])}
    warm = _range(found["warm"], found["warm_to"], found["warm_high"])
    if isinstance(warm, dict) and len(warm) == 1:  # an open end is a limit
        return {"above": warm["low"]} if "low" in warm else {"below": warm["high"]}
    return warm


def protocol_of(said: Said, ground: Mapping[str, Any]) -> dict[str, Any]:
    """One protocol of what was said. What holds of the one phase, or of every phase, stands beside the phases."""
    phases = [dict(phase) for phase in said.phases]
    germinated = said.germinated or {}
    made: dict[str, Any] = {
        "id": "-and-".join(dict.fromkeys(p["kind"].replace("_", "-") for p in phases)) or "germination"
    }
    made |= ground
    if phases and all(phase.get("length_basis") == "advice" for phase in phases):
        made["design"] = "practice" if ground["held"] == "practice" else "advice"
        for phase in phases:
            del phase["length_basis"]
    found = phases[0].pop("found", None) if len(phases) == 1 else None
    if "sown" in germinated:
        phases.append(germinated["sown"])
    made |= ({"phases": phases} if phases else {}) | ({"found": found} if found else {})
    made |= {"results": germinated["results"]} if "results" in germinated else {}
    return made | ({"note": said.note} if said.note else {})


def entry_of(kb: KnowledgeBase, said: Said, own: str | None = None) -> dict[str, Any]:
    """The entry as data: only what was said. `own`: a source that is about to be added. Raises UserError for every thing
    that is missing or wrong."""
    genus = said.name.split()[0]
    family = said.family or kb.genus_family(genus)
    problems = []
    if not family:
        problems.append(f"The family of {genus} is not known here. Give it: --family Rosaceae")
    elif fault := family_fault(family):
        problems.append(fault)
    held = said.held or ("read" if said.source else "practice")
    if said.source and said.source not in {*kb.sources, own}:
        known = nearest(said.source, sorted(kb.sources))
        problems.append(
            f"'{said.source}' is not in sources.yaml. {known}Add the work first: rousewort source add --help"
        )
    if held != "practice" and not said.source and (said.traits or said.phases or said.germinated):
        problems.append(f"What is held as {held} names its work. Give it: --source ID")
    if problems:
        raise UserError(*problems)
    ground = {
        **({"source": said.source} if said.source else {}),
        "held": held,
        **({"where": said.where} if said.where else {}),
    }
    entry: dict[str, Any] = {"name": said.name, "rank": "species", "family": family}
    if "adds_to" in (said.own or {}) and not (said.traits or said.phases):
        entry["adds_to"] = (said.own or {})["adds_to"]  # it has an entry beneath: the trial adds to it
    for key in ("synonyms", "common_names"):
        if getattr(said, key):
            entry[key] = list(getattr(said, key))
    if said.traits and held == "practice":
        words = {key: said.traits[key] for key in kb.vocabulary.traits if key in said.traits}
        entry["practice"] = {key: of[0] if len(of) == 1 else list(of) for key, of in words.items()}
    elif said.traits:
        # a note is of what was done, where that is told; else of each trait
        about = {"note": said.note} if said.note and not (said.phases or said.germinated) else {}
        order = [key for key in kb.vocabulary.traits if key in said.traits]
        entry["traits"] = {key: [{"is": word, **ground, **about} for word in said.traits[key]] for key in order}
    if said.phases or said.germinated:
        entry["protocols"] = [protocol_of(said, ground)]
    for key, statements in (said.own or {}).get("traits", {}).items():
        entry.setdefault("traits", {}).setdefault(key, list(statements))
    if (said.own or {}).get("protocols"):
        entry["protocols"] = [*entry.get("protocols", ()), *(said.own or {})["protocols"]]
    return entry


def family_fault(family: str) -> str | None:
    return None if re.match(FAMILY_NAME, family) else f"'{family}' is no name of a family; it ends in -aceae: Fabaceae."


def text_of(kb: KnowledgeBase, entry: Mapping[str, Any], schema: str) -> str:
    """The file: what was said, then what relatives show, then how to write more, in comments."""
    lines = [f"{SCHEMA_LINE}{schema}", dump(dict(entry)).rstrip("\n")]
    if "adds_to" in entry:
        return "\n".join(lines) + "\n"
    prompts = list(_prompts(kb, entry))
    if prompts:
        lines += [
            "#",
            "# Known of its relatives. None of it is said of this species until a work says so:",
            *(f"#   {p}" for p in prompts),
        ]
    if "traits" not in entry or "protocols" not in entry:
        lines += [
            "#",
            "# How to write more: take away the `# ` and keep the indentation. rousewort entry check names the words.",
        ]
    if "traits" not in entry:
        lines += [
            "# traits:",
            "#   dormancy_class:",
            "#     - {is: physiological, source: ID-IN-SOURCES, held: read, where: 'p. 12, table 3'}",
        ]
    if "protocols" not in entry:
        lines += [
            "# protocols:",
            "#   - id: sixty-days-of-cold",
            "#     source: ID-IN-SOURCES",
            "#     held: read",
            "#     where: 'p. 12, table 3'",
            "#     design: treatment_and_control",
            "#     lot: {stored: dry, provenance: Kentucky}",
            "#     phases:",
            "#       - {kind: cold_moist, days: 60, length_basis: best_of_tried, temperature_c: 4}",
            "#       - {kind: sow, temperature_c: {day: 20, night: 10}}",
            "#     found: needed",
            "#     results:",
            "#       - {germinated: 84, sown: 100}",
            "#       - {untreated: true, germinated: 2, sown: 100}",
        ]
    return "\n".join(lines) + "\n"


def _prompts(kb: KnowledgeBase, entry: Mapping[str, Any]) -> Iterator[str]:
    genus, have = entry["name"].split()[0], {**entry.get("traits", {}), **entry.get("practice", {})}
    groups = [
        (name, kb.store.group(rank, name), kb.store.summary(name) or {})
        for rank, name in (("genus", genus), ("family", entry["family"]))
    ]
    for key, trait in kb.vocabulary.traits.items():
        if key in have or trait.get("number") or trait["inherits"] == "no":
            continue
        for name, group, summary in groups if trait["inherits"] == "family" else groups[:1]:
            told = _told(key, name, group, summary)
            if told:
                yield f"{key}: {told}"
                break
    for kind in (*kb.vocabulary.kinds.indoors("cold"), *kb.vocabulary.kinds.indoors("warm")):
        for name, group, _ in groups[:1]:
            doses = [d for d in group["doses"] if d["kind"] == kind and "days" in d and not d["doubtful"]]
            ends = [e for d in doses for e in (d["days"]["low"], d["days"]["high"]) if e is not None]
            if ends:
                yield f"{kind}: {min(ends)}–{max(ends)} days in {len(doses)} protocols of {len({d['species'] for d in doses})} species of {name}"


def _told(key: str, name: str, group: Mapping[str, Any], summary: Mapping[str, Any]) -> str:
    """`physical (12 of 14 species of Acacia)`, `hard (said of all Cercis)`."""
    whole = [word for word, *_ in summary.get("traits", {}).get(key, ())]
    stated = [f"{word} (said of {name} as a whole)" for word in whole]
    votes = group["votes"].get(key, {})
    total = len({species for members in votes.values() for species in members})
    ranked = sorted(votes.keys() - set(whole), key=lambda word: (-len(votes[word]), word))[:MOST_WORDS]
    return "; ".join(stated + [f"{word} ({len(votes[word])} of {total} species of {name})" for word in ranked])


def target_for(folder: Path, name: str) -> Path:
    """Where the entry goes. Raises UserError where there is one already: nothing is ever overwritten."""
    path = folder / place_of(name, "species")
    if path.exists():
        raise UserError(f"{path} is there already. Open it to add to it; rousewort entry check {path} checks it.")
    return path


def known_already(kb: KnowledgeBase, name: str) -> str | None:
    """The accepted name of the entry that has this name already, if any."""
    for accepted, kind in kb.store.named(fold(name)):
        if kind in ("accepted", "synonym"):
            return accepted
    return None


def write_schemas(kb: KnowledgeBase, folder: Path) -> None:
    """Give a private layer the schemas, so that an editor can complete and explain; made anew where words changed."""
    for stem, schema in all_schemas(kb.vocabulary, kb.treatments).items():
        path, text = folder / "schema" / f"{stem}.schema.yaml", HEAD + dump(schema)
        if not path.exists() or path.read_text("utf-8") != text:
            write_atomically(path, text.encode())


class Question(NamedTuple):
    """One thing worth asking of an author. `choices`: allowed words with what they mean; none: free text."""

    key: str
    text: str
    choices: Mapping[str, str]


def questions(kb: KnowledgeBase, said: Said) -> Iterator[Question]:
    """The few that matter, and only those that are still open. Every one may be left blank."""
    if not (said.family or kb.genus_family(said.name.split()[0])):
        yield Question("family", "Its family?", {})
    if not said.common_names:
        yield Question("common_names", "A common name?", {})
    if not said.source:
        yield Question("source", "The work that the facts are from (its id in sources.yaml)?", {})
    if said.source and not said.where:
        yield Question("where", "Where in the work (page, table, abstract)?", {})
    for key, trait in kb.vocabulary.traits.items():
        if "asked" in trait and key not in said.traits:
            yield Question(key, trait["asked"], {w: e["label"] for w, e in trait["values"].items()})
    if not said.phases:
        yield Question(
            "phase",
            "What did the work find to wake it? KIND:FOUND=AMOUNT@DEGREES, in order, parted by commas, e.g. "
            "cold_moist:needed=60-90@4, hot_water/held:effective=5@80, nick:effective",
            {},
        )
    if not said.germinated:
        yield Question("germinated", "Per cent that germinated, treated/untreated@DEGREES (e.g. 84-93/2@20)?", {})


def answered(kb: KnowledgeBase, said: Said, key: str, answer: str) -> Said:
    """`said` with one answer more. Raises UserError for an answer that cannot be taken."""
    if key == "germinated":
        return said._replace(germinated=parse_germinated(answer, kb.vocabulary.kinds.last))
    if key in ("family", "source", "where"):
        fault = family_fault(answer) if key == "family" else None
        if fault:
            raise UserError(f"{fault} Enter leaves it out.")
        if key == "source" and answer not in kb.sources:
            raise UserError(
                f"'{answer}' is not in sources.yaml. {nearest(answer, sorted(kb.sources))}Enter leaves it out."
            )
        one: dict[str, Any] = {key: answer}
        return said._replace(**one)
    if key == "common_names":
        return said._replace(common_names=(answer,))
    if key == "phase":
        return said._replace(phases=(*said.phases, *(parse_phase(kb, part) for part in answer.split(","))))
    trait, word = parse_trait(kb, f"{key}={answer}")
    return said._replace(traits={**said.traits, trait: (word,)})


def from_observations(kb: KnowledgeBase, path: Path) -> tuple[str | None, dict[str, tuple[str, ...]]]:
    """The plant and the traits that a file of observations settles. Raises UserError for a file that cannot be read."""
    seen = load_file(path, kb.vocabulary)
    words = conclude(kb.vocabulary, read_all(seen, kb.vocabulary), seen.found, seen.left).words
    return seen.plant, {key: (word,) for key, word in words.items() if key in kb.vocabulary.traits}


def merged(said: Said, traits: Mapping[str, Sequence[str]]) -> Said:
    """Observed traits beside those that were said; what was said stands."""
    return said._replace(traits={**{k: tuple(w) for k, w in traits.items()}, **said.traits})


def own_source(said: Said, what: str, when: date) -> str:
    """The id of a source for what the author saw: `own-observations-sallowia-ripensis-2026-11-25`."""
    return f"own-{what}-{slug(said.name)}-{when.isoformat()}"


def from_trial(kb: KnowledgeBase, path: Path, said: Said, when: date) -> tuple[Mapping[str, Any], str | None]:
    """What a filled-in sheet of a germination trial says: statements and protocols, and the id of its own source where the
    author names none. Raises UserError for a sheet that cannot be read or says nothing.
    """

    try:
        lines = read_text(path).splitlines()
        result = analyse(kb.vocabulary, read_sheet(lines, arms_of(kb.vocabulary)), None)
    except (OSError, UnicodeDecodeError) as error:
        raise UserError(f"{path} cannot be read: {getattr(error, 'strerror', None) or 'not UTF-8 text'}.") from None
    except UserError as trouble:
        raise UserError(*(f"{path}: {problem}" for problem in trouble.problems)) from None
    made = draft(kb, match_for(kb, said.name, said.family), result, when)
    facts = [*(s for of in made.get("traits", {}).values() for s in of), *made.get("protocols", ())]
    own = facts[0]["source"] if facts and not said.source else None
    for fact in facts:
        ground = {"source": said.source or fact["source"], "held": fact["held"], "where": said.where or path.name}
        head = {k: fact[k] for k in ("id", "is") if k in fact}
        rest = {k: v for k, v in fact.items() if k not in (*head, *ground)}
        fact.clear()
        fact.update(head | ground | rest)
    return made, own
