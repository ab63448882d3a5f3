"""The second level of checking an entry: what is allowed, and still looks wrong. Each doubt says why.

A doubt never refuses an entry: seeds are odd, and a source may be right against all others.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from typing import Any, NamedTuple

from rousewort.base.errors import Problem
from rousewort.knowledge.check import nearest
from rousewort.knowledge.names import fold
from rousewort.knowledge.protocols import UNITS, sown_at, span, treatments
from rousewort.knowledge.spelled_out import place_of_statement, spelled_out
from rousewort.knowledge.store import Store, genus_of, halves, name_rows
from rousewort.knowledge.strict_yaml import Document, Path
from rousewort.knowledge.summary import Record, firm, speaks_of, summarise
from rousewort.knowledge.table_doubts import against_tables, class_against_table
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.knowledge.works import subjects

# How many times beyond the reported or published range a length is doubted, and how many degrees a temperature is.
TIMES_BEYOND = 2.0
DEGREES_BEYOND = 10.0
MEND_NUMBER = "Look at the number and its unit again; if it stands, say why: judged: {far-number: …}."
# A genus has a range once this many lengths, of this many other species, are known.
LEAST_LENGTHS, LEAST_SPECIES = 3, 2
# Lengths that only say what was tried, or what failed, are not held against any range.
_NOT_A_LENGTH = {"tried", "unneeded", "useless", "harmful"}


class Doubt(NamedTuple):
    """One thing that looks wrong: a code to sort by, where it stands and what it is, and why it is doubted.

    `path`: of the doubted node from the root of the entry. `judged`: why its author says that it stands, or empty.
    """

    code: str
    problem: Problem
    why: str
    path: Path = ()
    judged: str = ""


class Around:
    """What an entry is compared with: vocabulary, treatments, and every other entry.

    `hidden`: accepted names that the store holds in an older form; they are left out.
    """

    def __init__(
        self, store: Store, vocabulary: Vocabulary, hidden: Iterable[str] = (), beside: Iterable[Record] = ()
    ) -> None:
        self.store, self.vocabulary, self.hidden, self.beside = store, vocabulary, frozenset(hidden), list(beside)

    @cached_property
    def treatments(self) -> dict[str, Record]:
        treatments: dict[str, Record] = self.store.shared("treatments")
        return treatments

    @cached_property
    def clashes(self) -> list[tuple[dict[str, list[str]], str, str]]:
        """(two keys with their clashing words, why, what to look at): those of the vocabulary, and of each class's definition."""
        found = [(item["words"], item["why"], item["mend"]) for item in self.vocabulary.files["contradictions"]]
        for word, entry in self.vocabulary.classes.items():
            for key, shown in entry["shows"].items():
                if key not in self.vocabulary.traits:
                    continue  # an answer of protocols: these are looked at as such
                others = [w for w in self.vocabulary.traits[key]["values"] if w not in shown]
                why = f"By definition, the seed of this class has {key.replace('_', ' ')}: {' or '.join(shown)}."
                found.append(
                    (
                        {self.vocabulary.class_key: [word], key: others},
                        why,
                        "One of the two is wrong, or speaks of another lot or stage.",
                    )
                )
        return found

    def _alike(self, folded: str) -> list[tuple[str, str]]:
        """(folded name, accepted name) of every scientific name that could be a misspelling of `folded`."""
        parts = set(halves(folded))
        beside = (
            (known, record["name"])
            for record in self.beside
            if "adds_to" not in record
            for known, kind in name_rows(record)
            if kind != "common_name" and parts & set(halves(known))
        )
        return [row for row in self.store.alike(folded) if row[1] not in self.hidden] + list(beside)

    def claimed_by(self, name: str, but: str) -> str | None:
        """The accepted name of an entry, other than `but`, that has `name` as accepted name or synonym."""
        folded = fold(name)
        return next((accepted for known, accepted in self._alike(folded) if known == folded and accepted != but), None)

    def one_letter_from(self, name: str) -> list[str]:
        """Accepted names of entries that have a name one letter, or two changed places, from this one."""
        folded = fold(name)
        like = self._alike(folded)
        return sorted({accepted for known, accepted in like if accepted != name and _one_letter_apart(folded, known)})

    def lengths(self, genus: str, kind: str, unit: str, but: str) -> tuple[float, float] | None:
        """The shortest and the longest reported of other species of the genus, where works say enough."""
        doses = [
            d for d in self.store.group("genus", genus)["doses"]
            if d["kind"] == kind and unit in d and d["species"] != but and d["found"] not in _NOT_A_LENGTH and not d["doubtful"]
            and d.get("held") != "practice"
        ]  # fmt: skip
        if len(doses) < LEAST_LENGTHS or len({d["species"] for d in doses}) < LEAST_SPECIES:
            return None
        ends = [end for d in doses for end in (d[unit]["low"], d[unit]["high"]) if end is not None]
        return (min(ends), max(ends)) if ends else None


def _one_letter_apart(one: str, other: str) -> bool:
    """One letter more, less or other, or two neighbours that changed places. (The library for it takes 12 ms to import.)"""
    if one == other or abs(len(one) - len(other)) > 1:
        return False
    start = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    one, other = one[start:], other[start:]
    end = next(
        (i for i, (a, b) in enumerate(zip(one[::-1], other[::-1], strict=False)) if a != b), min(len(one), len(other))
    )
    one, other = one[: len(one) - end], other[: len(other) - end]
    return max(len(one), len(other)) <= 1 or (len(one) == 2 and one == other[::-1])


def doubts(document: Document, around: Around) -> Iterator[Doubt]:
    """Everything doubtful in one entry that has passed its checks; what its author judged bears the reason."""
    record = spelled_out(document.data, around.vocabulary)
    reasons = dict(_judgements(document.data))
    used: set[tuple[Path, str]] = set()
    for doubt in (
        *_names(document, record, around),
        *_contradictions(document, record, around),
        *_numbers(document, record, around),
        *_protocols_differ(document, record, around.vocabulary),
        *_subjects(document, record, around),
        *_sown_in_the_cold(document, record, around.vocabulary),
        *_tables(document, record, around),
        *_grounds(document, record),
    ):
        place = next((p for p, code in reasons if code == doubt.code and doubt.path[: len(p)] == p), None)
        reason = reasons[place, doubt.code] if place else ""
        if place:
            used.add((place, doubt.code))
        if place and not _repeats(reason, _at(document.data, doubt.path)):
            what = f"{doubt.problem.what}; its judgement names another number"
            yield doubt._replace(problem=doubt.problem._replace(what=what))
        else:
            yield doubt._replace(judged=reason)
    for place, code in reasons.keys() - used:
        problem = document.problem((*place, "judged"), f"nothing here is doubted as {code}", "Take the judgement out.")
        yield Doubt("judged-in-vain", problem, "It would silence a doubt that nobody has looked at yet.")


def _judgements(record: Record) -> Iterator[tuple[tuple[Path, str], str]]:
    facts: list[tuple[Path, Record]] = [
        (("traits", key, i), s) for key, of in record.get("traits", {}).items() for i, s in enumerate(of)
    ]
    for i, protocol in enumerate(record.get("protocols", ())):
        facts.append((("protocols", i), protocol))
        facts += [(("protocols", i, "phases", j), phase) for j, phase in enumerate(protocol.get("phases", ()))]
    for path, fact in facts:
        yield from (((path, code), reason) for code, reason in fact.get("judged", {}).items())


def _at(record: Any, path: Path) -> Any:
    for step in path:
        record = record[step]
    return record


def _repeats(reason: str, value: Any) -> bool:
    """Whether a reason names the ends of a doubted range, so that it does not outlive a change of the number."""
    ends = list((span(value) or {}).values())
    said = {float(number) for number in re.findall(r"\d+(?:\.\d+)?", reason)}
    return all(end is None or end in said for end in ends)


def _names(document: Document, record: Record, around: Around) -> Iterator[Doubt]:
    if "adds_to" in record:
        return
    for path, name in [
        (("name",), record["name"]),
        *((("synonyms", i), s) for i, s in enumerate(record.get("synonyms", ()))),
    ]:
        other = around.claimed_by(name, record["name"])
        if other:
            what = f"{name} is a name of the entry {other}"
            yield Doubt(
                "near-name",
                document.problem(path, what, "Add to that entry, or mend one of the two."),
                "One plant in two entries gets two plans, each from half of what is known.",
            )
        else:
            near = around.one_letter_from(name) if path == ("name",) else []
            if near:
                what = f"{name} is one letter from {', '.join(near)}, which has an entry"
                yield Doubt(
                    "near-name",
                    document.problem(path, what, "If it is the same plant, add to that entry."),
                    "A misspelt name makes a second entry that nobody finds.",
                )
    if record["rank"] == "species" and "family" in record:
        genus = genus_of(record["name"])
        families = around.store.shared("families")
        if not families.get(record["family"]):  # named by no list, only by an entry
            what = f"{record['family']} is none of the families known here"
            mend = nearest(record["family"], [f for f, known in families.items() if known])
            yield Doubt(
                "family",
                document.problem(
                    ("family",), what, mend + "Write it as APG IV does, or add it to names/families.yaml."
                ),
                "A plan borrows from relatives, and a family of one has none.",
            )
        family = around.store.shared("genus_family").get(genus)
        if family and family != record["family"]:
            what = f"{genus} stands in {family} elsewhere here, not in {record['family']}"
            yield Doubt(
                "family",
                document.problem(("family",), what, f"Write {family}, or move the whole genus."),
                "A plan borrows from relatives: the wrong family lends the wrong traits.",
            )


def _treatments(record: Record, vocabulary: Vocabulary) -> Iterator[tuple[Record, Record, Path]]:
    """(protocol, treatment, where it stands) of everything that counts as a vote or a length."""
    for i, protocol in enumerate(record.get("protocols", ())):
        for treatment in treatments(protocol, vocabulary):
            yield protocol, treatment, ("protocols", i, "phases", treatment["phase"])


def _stated(written: Record, record: Record, vocabulary: Vocabulary) -> dict[str, dict[str, Path]]:
    """Key → word → where it is stated; what the protocols say included. Statements that are flagged or inferred are left out."""
    found: dict[str, dict[str, Path]] = {}
    for key, statements in record.get("traits", {}).items():
        for i, statement in enumerate(statements):
            if "is" in statement and firm(statement):
                place = place_of_statement(written, key, i)
                found.setdefault(key, {}).setdefault(statement["is"], (*place, "is") if place[0] == "traits" else place)
    kinds = {key: response["kinds"] for key, response in vocabulary.responses.items()}
    for key, (word, _) in summarise(record, vocabulary)["answers"].items():
        for _, treatment, path in _treatments(record, vocabulary):
            if treatment["kind"] in kinds.get(key, ()):
                found.setdefault(key, {}).setdefault(word, path)
    return found


def _contradictions(document: Document, record: Record, around: Around) -> Iterator[Doubt]:
    stated = _stated(document.data, record, around.vocabulary)
    for words, why, mend in around.clashes:
        hits = [
            next(((key, w, stated[key][w]) for w in group if w in stated.get(key, ())), None)
            for key, group in words.items()
        ]
        both = [hit for hit in hits if hit]
        if len(both) == len(hits):
            (one, word, first), (other, word_2, second) = sorted(both, key=lambda hit: document.where(hit[2]))
            line = document.where(first)[0]
            what = f"{_say(other, word_2)} beside {_say(one, word)} (line {line})"
            yield Doubt("contradiction", document.problem(second, what, mend), why, second)


def _say(key: str, word: str) -> str:
    if key.startswith("reported_"):
        return f"{key.removeprefix('reported_').replace('_', ' ')} reported {word}"
    return f"{key}: {word}"


def _numbers(document: Document, record: Record, around: Around) -> Iterator[Doubt]:
    for protocol, treatment, path in _treatments(record, around.vocabulary):
        if treatment["found"] in _NOT_A_LENGTH or treatment.get("low_standing") or protocol.get("low_standing"):
            continue
        yield from _lengths(document, record, treatment, path, around)
        yield from _degrees(document, treatment, path, around)


def _lengths(document: Document, record: Record, treatment: Record, path: Path, around: Around) -> Iterator[Doubt]:
    kind = treatment["kind"]
    general = around.treatments.get(kind, {})
    for unit in UNITS:
        if unit not in treatment:
            continue
        low, high = treatment[unit]["low"], treatment[unit]["high"]
        most = general.get("at_most", {}).get(unit)
        if most is not None and max(low or 0, high or 0) > most:
            what = f"{kind} for {_span(low, high)} {unit} is beyond the limit of {most:g} {unit}"
            why = "No plan ever gives more than the limit of the treatment."
            yield _far_number(document, (*path, unit), what, why, "Look at the number and its unit again.")
            continue
        genus = genus_of(record["name"])
        published = _published(general, unit)
        for known, whose in (
            (around.lengths(genus, kind, unit, record["name"]), f"of other {genus}"),
            (published, "published for the treatment"),
        ):
            if known and (way := _beyond(low, high, known)):
                what = f"{kind} for {_span(low, high)} {unit} is far {way} the {known[0]:g}–{known[1]:g} {unit} {whose}"
                why = f"It is more than {TIMES_BEYOND:g} times beyond that range: often a slip of unit (hours for days, weeks for days) or of digit."
                yield _far_number(document, (*path, unit), what, why)
                break
        else:
            yield from _unusual(document, kind, unit, (low, high), general, path)


def _unusual(
    document: Document, kind: str, unit: str, ends: tuple[Any, Any], general: Record, path: Path
) -> Iterator[Doubt]:
    """An end of a length beyond nearly all that is entered of the treatment: an extra nought, weeks for days."""
    usual = general.get("usual", {}).get(unit)
    if usual and any(end and not usual["low"] <= end <= usual["high"] for end in ends):
        what = f"{kind} for {_span(*ends)} {unit} is beyond the {_span(usual['low'], usual['high'])} {unit} usual of it"
        why = "Not one in a hundred lengths that are entered of this treatment is so far out."
        yield _far_number(document, (*path, unit), what, why)


def _far_number(document: Document, path: Path, what: str, why: str, mend: str = MEND_NUMBER) -> Doubt:
    return Doubt("far-number", document.problem(path, what, mend), why, path)


def _published(treatment: Record, unit: str) -> tuple[float, float] | None:
    ends = [
        end
        for r in treatment.get("ranges", ())
        if unit in r
        for end in (r[unit]["low"], r[unit]["high"])
        if end is not None
    ]
    return (min(ends), max(ends)) if ends else None


def _beyond(low: float | None, high: float | None, known: tuple[float, float]) -> str:
    """`above` or `below` where even the near end of a reported range is far outside the known one."""
    if low is not None and low > TIMES_BEYOND * known[1]:
        return "above"
    # "none needed" is written as 0 days and is no slip
    return "below" if high is not None and low != 0 and 0 < high < known[0] / TIMES_BEYOND else ""


def _degrees(document: Document, treatment: Record, path: Path, around: Around) -> Iterator[Doubt]:
    general, given = around.treatments.get(treatment["kind"], {}).get("temperature_c"), treatment.get("temperature_c")
    if not general or not given or "low" not in given:
        return
    low, high = (given["low"], given["high"])
    over = low is not None and general["high"] is not None and low > general["high"] + DEGREES_BEYOND
    under = high is not None and general["low"] is not None and high < general["low"] - DEGREES_BEYOND
    if over or under:
        what = f"{treatment['kind']} at {_span(low, high)} °C is far {'above' if over else 'below'} the {general['low']}–{general['high']} °C of the treatment"
        why = f"It is more than {DEGREES_BEYOND:g} degrees outside."
        mend = "Look at the number again (°F? another kind of treatment?)."
        yield _far_number(document, (*path, "temperature_c"), what, why, mend)


def _span(low: Any, high: Any) -> str:
    if low == high:
        return f"{low:g}"
    return f"{'…' if low is None else f'{low:g}'}–{'…' if high is None else f'{high:g}'}"


def _protocols_differ(document: Document, record: Record, vocabulary: Vocabulary) -> Iterator[Doubt]:
    """Each treatment whose outcome is another than the first protocol's; told once, under the narrowest heading."""
    told: set[Path] = set()
    for key, response in sorted(vocabulary.responses.items(), key=lambda item: len(item[1]["kinds"])):
        votes: list[tuple[bool, str, Mapping[str, Any], Path]] = []
        for protocol, treatment, path in _treatments(record, vocabulary):
            vote = vocabulary.found[treatment["found"]]["vote"]
            flagged = protocol.get("low_standing") or treatment.get("low_standing")
            if vote and speaks_of(response, treatment["kind"], vote) and not flagged:
                votes.append(
                    (vote in ("needed", "helps"), vocabulary.found[treatment["found"]]["label"], protocol, path)
                )
        for good, label, other, path in votes[1:]:
            first = votes[0]
            if good == first[0] or other is first[2] or path in told:
                continue
            told.add(path)
            what = (
                f"{key.removeprefix('reported_').replace('_', ' ')}: {label}, but "
                f"{first[1]} on line {document.where(first[3])[0]} ({first[2].get('source', 'common practice')})"
            )
            mend = (
                "If lots or stages differ, say so in `lot` or `lots`; if one is weak, flag it with `low_standing`; "
                "if both stand, say why: judged: {protocols-differ: …}."
            )
            yield Doubt(
                "protocols-differ",
                document.problem(path, what, mend),
                "Where protocols contradict each other, the plan can only say that lots differ.",
                path,
            )


def _subjects(document: Document, record: Record, around: Around) -> Iterator[Doubt]:
    """A fact on the species whose work names genera in its title, and none of the plant's family. Once a work."""
    if record.get("rank", "species") != "species":
        return
    names = [record.get("name") or record["adds_to"], *record.get("synonyms", ())]
    own = {genus_of(name) for name in names}
    families = around.store.shared("genus_family")
    family = record.get("family") or families.get(genus_of(names[0]))
    sources = around.store.shared("sources")
    facts: list[tuple[Path, Record]] = [
        (place_of_statement(document.data, key, i), s)
        for key, of in record.get("traits", {}).items()
        for i, s in enumerate(of)
    ]
    facts += [((part, i), r) for part in ("protocols", "lots") for i, r in enumerate(record.get(part, ()))]
    places = set(around.vocabulary.files["doubts"]["wrong-subject"]["not_plants"])
    told: set[str] = set()
    for path, fact in facts:
        source = fact.get("source")
        if source is None or source in told or source not in sources:
            continue
        told.add(source)
        about = subjects(sources[source], families) - places
        if about and not about & own and family not in {families[genus] for genus in about}:
            what = f"`{source}` is a work on {', '.join(sorted(about))}, not on {family}"
            yield Doubt(
                "wrong-subject",
                document.problem(
                    (*path, "source"),
                    what,
                    "Cite the work that says this of the plant; if this one does, say where: judged: {wrong-subject: …}.",
                ),
                "A work on another family seldom says anything of this plant: often the id of another work was meant.",
                path,
            )


def _sown_in_the_cold(document: Document, record: Record, vocabulary: Vocabulary) -> Iterator[Doubt]:
    """Germination at no more than the chill's own degrees: seed that sprouted in the chill, taken for a way to sow."""
    for protocol, treatment, path in _treatments(record, vocabulary):
        phases = protocol["phases"]
        sown = [j for j, phase in enumerate(phases) if phase["kind"] == vocabulary.kinds.last]
        warmest = _warmest(sown_at(protocol, vocabulary))
        chill = (
            _warmest(treatment.get("temperature_c")) if treatment["kind"] in vocabulary.kinds.indoors("cold") else None
        )
        if warmest is not None and chill is not None and warmest <= chill:
            yield Doubt(
                "sown-in-the-cold",
                document.problem(
                    (*path[:3], sown[-1], "temperature_c"),
                    f"germination at {warmest:g} °C is no warmer than the chill of {chill:g} °C",
                    "If it sprouted during the chill, say so in the note; if it must be sown so cool, say why: judged: {sown-in-the-cold: …}.",
                ),
                "A plan would have the grower sow into the cold.",
                path,
            )


def _tables(document: Document, record: Record, around: Around) -> Iterator[Doubt]:
    """Where a published table says otherwise. Either may be wrong: tables hold slips, and lots differ."""
    for path, what, why in against_tables(document.data, record, around.store, around.vocabulary):
        mend = "Look which is right: mend the entry, or say why it stands: judged: {against-table: …}."
        yield Doubt("against-table", document.problem(path, what, mend), why, path)
    for stated, (path, what, why) in class_against_table(document.data, record, around.store, around.vocabulary):
        code = "class-against-table" if stated else "inferred-against-table"
        mend = f"Look which is right: mend the entry, or say why it stands: judged: {{{code}: …}}."
        yield Doubt(code, document.problem(path, what, mend), why, path)


def _warmest(degrees: Record | None) -> float | None:
    given = [d for d in (degrees or {}).values() if isinstance(d, int | float)]
    return max(given, default=None)


def _grounds(document: Document, record: Record) -> Iterator[Doubt]:
    """Once an entry, not once a fact: how many facts nobody could look up again."""
    facts: list[tuple[Record, Path]] = []
    for key, statements in record.get("traits", {}).items():
        facts += [(s, place_of_statement(document.data, key, i)) for i, s in enumerate(statements)]
    facts += [(p, ("protocols", i)) for i, p in enumerate(record.get("protocols", ()))]
    facts += [(r, ("lots", i)) for i, r in enumerate(record.get("lots", ()))]
    placeless = [path for fact, path in facts if fact["held"] == "read" and "source" in fact and "where" not in fact]
    if placeless:
        what = f"{len(placeless)} of {len(facts)} facts read in a work do not say where in it"
        yield Doubt(
            "no-place",
            document.problem(placeless[0], what, "Add `where: p. 12, table 3` (or: abstract)."),
            "Whoever checks the fact must otherwise read the whole work.",
        )
    if facts and not any("source" in fact for fact, _ in facts) and record["rank"] == "species":
        yield Doubt(
            "no-source",
            document.problem(
                facts[0][1],
                "no fact of this entry names a source",
                "Cite a work, or leave blank what is not published.",
            ),
            "Common practice may be wrong, and nobody can look it up.",
        )
