"""What one taxon's statements and protocols amount to, and what a genus or family amounts to over its members.

Computed from the entries every time they change, never written down by hand; the index only keeps a copy.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from rousewort.knowledge.chilling import studies
from rousewort.knowledge.protocols import UNITS, came_up, sown_at, treatments
from rousewort.knowledge.vocabulary import Vocabulary

# Weight of a statement by how it is held; halved when inferred, and again when flagged as doubtful.
HELD_WEIGHT = {"read": 4.0, "table": 3.0, "memory": 3.0, "practice": 1.0, "demo": 1.0}

Statement = dict[str, Any]
Record = dict[str, Any]


def weight(statement: Statement) -> float:
    base = HELD_WEIGHT.get(statement.get("held", "practice"), 1.0)
    return base * (0.5 if "inferred_from" in statement else 1.0) * (0.5 if statement.get("low_standing") else 1.0)


def ground(fact: Mapping[str, Any]) -> dict[str, str]:
    """Where a fact is from and how it is held; common practice has no source."""
    return {key: fact[key] for key in ("source", "held") if key in fact}


def told(protocol: Record, treatment: Statement | None = None) -> dict[str, str]:
    """The ground of what a protocol says, of what design it is, and what it found of one treatment in it."""
    made = ground(protocol) | ({"design": protocol["design"]} if "design" in protocol else {})
    return made | ({"kind": treatment["kind"], "found": treatment["found"]} if treatment else {})


def firm(statement: Statement) -> bool:
    """Whether a statement was made by its source, not inferred from it, and is not flagged as doubtful."""
    return "inferred_from" not in statement and not statement.get("low_standing")


def decide(statements: Iterable[Statement]) -> tuple[str, list[Statement], list[Statement]]:
    """The best-supported word of a trait, the statements for it and those against. Ties go to the first stated."""
    by_word: dict[str, list[Statement]] = defaultdict(list)
    for statement in statements:
        by_word[statement["is"]].append(statement)
    best = max(by_word, key=lambda word: sum(map(weight, by_word[word])))
    against = [s for word, group in by_word.items() if word != best for s in group]
    return best, by_word[best], against


def answer(votes: list[tuple[str, bool]]) -> str | None:
    """One word for what protocols say of a kind of treatment. A doubtful one votes only where no other does."""
    firm = [vote for vote, doubtful in votes if not doubtful] or [vote for vote, _ in votes]
    for_it = [vote for vote in firm if vote in ("needed", "helps")]
    against = [vote for vote in firm if vote not in ("needed", "helps")]
    if not firm:
        return None
    if for_it and against:
        if len(for_it) >= 2 * len(against):
            return "needed" if for_it.count("needed") > len(for_it) / 2 else "helps"
        if len(against) > 2 * len(for_it):
            return max(set(against), key=lambda vote: (against.count(vote), vote))
        return "mixed"
    if for_it:
        return "needed" if "needed" in for_it else "helps"
    return max(set(against), key=lambda vote: (against.count(vote), vote))


def season_order(protocol: Record, vocabulary: Vocabulary) -> str | None:
    """The warm and cold periods of one protocol, in order, as a word of `season_order`."""
    seasons: list[str] = []
    for treatment in treatments(protocol, vocabulary):
        helped = vocabulary.found[treatment["found"]]["vote"] in ("needed", "helps")
        if not helped or (treatment.get("days") or {}).get("high") == 0:
            continue
        season = vocabulary.kinds.group(treatment["kind"])
        if season in ("cold", "warm") and (not seasons or seasons[-1] != season):
            seasons.append(season)
    word = "_".join(seasons[:3])
    return (
        f"{word}_only"
        if word in ("cold", "warm")
        else word
        if word in ("warm_cold", "cold_warm", "cold_warm_cold")
        else "warm_cold"
        if word == "warm_cold_warm"
        else None
    )


def summarise(record: Record, vocabulary: Vocabulary) -> Record:
    """The resolved facts of one taxon.

    Shape: {"traits": {key: [[word, statements for, statements against]]}, "numbers": {key: [statement]},
    "answers": {key: [word, what each protocol `told`]}, "doses": [dose], "chilled": [study]}, all JSON. A dose is one reported
    amount; a study is what one work says of cold (rousewort.knowledge.chilling).
    """
    traits: dict[str, list[Any]] = {}
    numbers: dict[str, list[Statement]] = {}
    for key, statements in record.get("traits", {}).items():
        if vocabulary.traits[key].get("number"):
            numbers[key] = statements
        elif vocabulary.many(key):
            words = dict.fromkeys(s["is"] for s in statements)
            traits[key] = [[word, [s for s in statements if s["is"] == word], []] for word in words]
        else:
            traits[key] = [list(decide(statements))]
    return {
        "traits": traits,
        "numbers": numbers,
        "answers": _answers(record, vocabulary),
        "doses": list(_doses(record, vocabulary)),
        "sowing": list(_sowing(record, vocabulary)),
        "chilled": list(studies(record, vocabulary)),
    }


def speaks_of(response: Mapping[str, Any], kind: str, vote: str) -> bool:
    """Whether a vote on a kind of treatment answers what the response asks."""
    silent = vote in ("useless", "harmful") and kind in response.get("failing_tells_nothing", ())
    return kind in response["kinds"] and not silent


def _answers(record: Record, vocabulary: Vocabulary) -> dict[str, list[Any]]:
    votes: dict[str, list[Any]] = defaultdict(list[Any])
    orders: dict[str, list[Any]] = defaultdict(list[Any])
    for protocol in record.get("protocols", ()):
        for treatment in treatments(protocol, vocabulary):
            vote = vocabulary.found[treatment["found"]]["vote"]
            doubtful = bool(protocol.get("low_standing") or treatment.get("low_standing"))
            for key, response in vocabulary.responses.items():
                if vote and speaks_of(response, treatment["kind"], vote):
                    votes[key].append((vote, doubtful, told(protocol, treatment)))
        if order := season_order(protocol, vocabulary):
            orders[order].append((0.5 if protocol.get("low_standing") else 1.0, told(protocol)))
    answers = {}
    for key, cast in votes.items():
        word = answer([(vote, doubtful) for vote, doubtful, _ in cast])
        answers[key] = [word, _unique([on for _, _, on in cast])]
    if orders:
        rank = list(vocabulary.season_orders)
        best = max(orders, key=lambda word: (sum(w for w, _ in orders[word]), rank.index(word)))
        answers["season_order"] = [best, _unique([s for _, s in orders[best]])]
    return answers


def _unique(items: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return list({tuple(item.items()): item for item in items}.values())


def _doses(record: Record, vocabulary: Vocabulary) -> Iterable[dict[str, Any]]:
    for protocol in record.get("protocols", ()):
        told = [t for t in treatments(protocol, vocabulary) if vocabulary.found[t["found"]]["rank"]]
        colds = [t["phase"] for t in told if vocabulary.kinds.group(t["kind"]) == "cold"]
        for before, treatment in zip([None, *told], told, strict=False):
            dose = {
                "kind": treatment["kind"],
                "found": treatment["found"],
                **ground(protocol),
                "doubtful": bool(protocol.get("low_standing") or treatment.get("low_standing")),
            }
            if len(colds) > 1 and treatment["phase"] in colds:
                dose["turn"] = "first" if treatment["phase"] == colds[0] else "last"
            if before and before["kind"] == treatment["kind"]:
                dose["later_part"] = True  # of one season in parts: another temperature, not another report of it
            for key in (*UNITS, "temperature_c", "way", "strength_pct"):
                if key in treatment:
                    dose[key] = treatment[key]
            if any(unit in dose for unit in UNITS) or "temperature_c" in dose:
                yield dose


def _sowing(record: Record, vocabulary: Vocabulary) -> Iterable[dict[str, Any]]:
    for protocol in record.get("protocols", ()):
        warm, share = sown_at(protocol, vocabulary), came_up(protocol)
        seen = ({"germination_temperature_c": warm} if warm else {}) | ({"germination_pct": share} if share else {})
        if seen:
            yield {**seen, **ground(protocol), "doubtful": bool(protocol.get("low_standing"))}


def _word(summary: Record, key: str) -> str | None:
    return summary["traits"][key][0][0] if key in summary["traits"] else None


def _level(summary: Record, vocabulary: Vocabulary) -> str | None:
    return next(filter(None, (_word(summary, key) for key in reversed(vocabulary.level_keys))), None)


def empty_pool() -> Record:
    """What no members amount to."""
    return {"votes": {}, "stated": {}, "doses": [], "sowing": [], "chilled": [], "count": 0}


def pool(members: Iterable[tuple[str, Record]], vocabulary: Vocabulary) -> Record:
    """What the members of a genus or family amount to.

    Shape: {"votes": {key: {word: [species, …]}}, "stated": {key: {word: n}}, "doses": [dose with "species", "class", "level"],
    "sowing": [...], "chilled": [...], "count": n}. One species has one vote a key, however many protocols it has; `stated` counts the
    votes that rest on more than inference or doubtful statements.
    """
    votes: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    stated: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    doses, sowing, chilled, count = [], [], [], 0
    for name, summary in members:
        count += 1
        for key, words in summary["traits"].items():
            for word, statements, _ in words:
                votes[key][word].append(name)
                stated[key][word] += any(map(firm, statements))
        for key, (word, _) in summary["answers"].items():
            votes[key][word].append(name)
        kind = {"species": name, "class": _word(summary, vocabulary.class_key), "level": _level(summary, vocabulary)}
        doses += [{**dose, **kind} for dose in summary["doses"]]
        sowing += [{**item, "species": name} for item in summary["sowing"]]
        chilled += [{**item, **kind} for item in summary["chilled"]]
    counted = {"votes": {k: dict(v) for k, v in votes.items()}, "stated": {k: dict(v) for k, v in stated.items()}}
    return {**counted, "doses": doses, "sowing": sowing, "chilled": chilled, "count": count}


def unpool(pooled: Record, name: str, summary: Record) -> Record:
    """What `pool` would give without this member. Shares with `pooled` what it does not change."""
    firmly = {
        (key, word): any(map(firm, facts)) for key, found in summary["traits"].items() for word, facts, _ in found
    }
    told = {*firmly, *((key, word) for key, (word, _) in summary["answers"].items())}

    def left(key: str, word: str, names: list[str]) -> list[str]:
        return [other for other in names if other != name] if (key, word) in told else names

    votes, stated = {}, {}
    for key, words in pooled["votes"].items():
        if found := {word: rest for word, names in words.items() if (rest := left(key, word, names))}:
            votes[key] = found
            counts = pooled["stated"].get(key, {})
            if kept := {word: counts[word] - firmly.get((key, word), False) for word in found if word in counts}:
                stated[key] = kept
    others = {part: [i for i in pooled[part] if i["species"] != name] for part in ("doses", "sowing", "chilled")}
    return {"votes": votes, "stated": stated, **others, "count": pooled["count"] - 1}
