"""What a plan claims, question by question, on what ground, and how often such claims were right.

The questions and the grounds are words of kb/vocabulary/claims.yaml. How often claims on like ground were right is measured
on hidden works (`rousewort agreement --write`) and read from kb/calibration.yaml; where nothing was measured, nothing is said.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from rousewort.knowledge.kinds import Kinds
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import came_up, found, treatments
from rousewort.knowledge.summary import Record, firm, speaks_of
from rousewort.planning.facts import Facts, Known
from rousewort.planning.steps import Step

WORKED_PCT = 50  # a protocol of which so much came up did without what it does not name
FEWEST_TRIALS = 20  # a row of the record with fewer leans on the rows above it, and the claim says so
WEAKEST = "The weakest claim that decides"  # how its sentence begins, for who has said it already
LASTING_BY = ("ground",)  # how the record of lengths is kept: nothing else sharpened a figure on hidden works
# How large a share of relatives must say the same to `agree`; above the second most of them do.
AGREE, MOSTLY = 0.9, 0.7


class Claim(NamedTuple):
    """What a plan says of one question (coat, cold, warm, smoke, light, class, or a length), and how often such claims were right.

    `about`: as in the JSON; `says`: true or false, a word, a number of days. `right` (a share), its interval and `tried`
    are None where nothing was measured. `rests_on`: on what kind of ground, in words.
    """

    about: str
    says: bool | str | int
    rests_on: str
    right: float | None = None
    right_from: float | None = None
    right_to: float | None = None
    tried: int | None = None


class Vote(NamedTuple):
    """What one source says of one question on one species. `says`: true, false or a word; `days`: (low, high) it gives.
    `ground`: a word of claims.yaml; `source`: its id, None for common practice."""

    about: str
    source: str | None
    ground: str
    says: bool | str
    days: tuple[float, float] | None = None


class Rated(NamedTuple):
    """A claim before its figure. `keys`: the rows of the record that speak for it, from all such claims to those most like it."""

    about: str
    says: bool | str | int
    ground: str
    accord: str
    keys: tuple[tuple[str, ...], ...]


# --- what sources say of a species


def votes_on(kb: KnowledgeBase, record: Record | None) -> list[Vote]:
    """What each source says of each question on one species; doubtful reports are left out."""
    if not record:
        return []
    made = []
    for about, question in kb.vocabulary.files["claims"]["questions"].items():
        if "trait" in question:
            made += list(_of_trait(about, question, record))
        else:
            made += list(_of_treatments(kb, about, question, record))
    return made


def _of_trait(about: str, question: Mapping[str, Any], record: Record) -> Iterator[Vote]:
    for statement in record.get("traits", {}).get(question["trait"], ()):
        held = statement.get("held")
        ground = {"table": "table", "read": "stated"}.get(held, "recalled") if firm(statement) else "recalled"
        word = statement["is"]
        yield Vote(about, statement.get("source"), ground, word in question["yes"] if "yes" in question else word)


def _of_treatments(kb: KnowledgeBase, about: str, question: Mapping[str, Any], record: Record) -> Iterator[Vote]:
    cast: dict[tuple[str | None, str], list[bool]] = defaultdict(list)
    spans: dict[tuple[str | None, str], list[tuple[float, float]]] = defaultdict(list)
    for protocol in record.get("protocols", ()):
        if protocol.get("low_standing"):
            continue
        for treatment in treatments(protocol, kb.vocabulary):
            vote = kb.vocabulary.found[treatment["found"]]["vote"]
            if not vote or treatment.get("low_standing") or not _asked(kb, question, treatment["kind"], vote):
                continue
            key = protocol.get("source"), _evidence(kb, protocol, treatment["phase"])
            cast[key].append(vote in ("needed", "helps"))
            if cast[key][-1] and (span := _span(treatment.get("days"))):
                spans[key].append(span)
        if "group" in question and (without := _did_without(kb, protocol, question["group"])):
            cast.setdefault(without, []).append(False)
    for key, votes in cast.items():
        ends = spans.get(key)
        days = (min(low for low, _ in ends), max(high for _, high in ends)) if ends else None
        yield Vote(about, *key, any(votes), days)


def _did_without(kb: KnowledgeBase, protocol: Record, group: str) -> tuple[str | None, str] | None:
    """Source and ground of a whole protocol that is advised, or of which much came up, and which has nothing of a group: it
    says that the seed needs none of it. Else only works that speak of a treatment were asked, and these mostly praise it."""
    told = list(treatments(protocol, kb.vocabulary))
    kinds = kb.vocabulary.kinds
    if not told or any(kinds.group(one["kind"]) == group or one["kind"] not in kb.treatments for one in told):
        return None
    share = came_up(protocol).get("treated", {})
    much = max(share.get("low") or 0, share.get("high") or 0) >= WORKED_PCT
    key = protocol.get("source"), _evidence(kb, protocol, told[0]["phase"])
    wakes = any(kinds.wakes(one["kind"]) for one in told)
    return key if much or (key[1] == "advice" and wakes) else None


def _asked(kb: KnowledgeBase, question: Mapping[str, Any], kind: str, vote: str) -> bool:
    """Whether a vote on a kind of treatment answers the question."""
    if "kind" in question:
        return bool(kind == question["kind"])
    if kb.vocabulary.kinds.group(kind) != question["group"]:
        return False
    responses = [r for r in kb.vocabulary.responses.values() if kind in r["kinds"]]
    return any(speaks_of(response, kind, vote) for response in responses)


def _evidence(kb: KnowledgeBase, protocol: Record, phase: int) -> str:
    """On what kind of ground a protocol says something: a word of claims.yaml."""
    if protocol.get("held") != "read":
        return "table" if protocol.get("held") == "table" else "recalled"
    design = kb.vocabulary.files["protocol"]["design"].get(protocol.get("design"), {})
    advised = found(protocol, protocol["phases"][phase], kb.vocabulary) == "advised"
    return "advice" if advised or design.get("counts_as") == "advised" else "experiment"


def _span(days: Mapping[str, Any] | None) -> tuple[float, float] | None:
    """Both ends of a length; an open end is the other."""
    if not days:
        return None
    low, high = days["low"], days["high"]
    low, high = (high if low is None else low), (low if high is None else high)
    return (low, high) if high else None


# --- what a plan says, and on what ground


def rated(kb: KnowledgeBase, facts: Facts, steps: Sequence[Step]) -> list[Rated]:
    """The claims of a plan with these steps, each with its ground."""
    own = votes_on(kb, kb.taxon(facts.name)) if facts.genus else []
    made = []
    for about, question in kb.vocabulary.files["claims"]["questions"].items():
        votes = [vote for vote in own if vote.about == about]
        for name, says, side in _said(kb, facts, steps, about, question, votes):
            ground, accord = _ground(kb, facts, question, votes)
            parts = {"side": side, "home": _home(kb, facts), "ground": ground, "accord": accord}
            by = [parts[part] for part in (question["by"] if name == about else LASTING_BY)]
            keys = tuple((name, *by[:n]) for n in range(len(by) + 1))
            made.append(Rated(name, says, ground, accord, keys))
    return made


def _said(
    kb: KnowledgeBase,
    facts: Facts,
    steps: Sequence[Step],
    about: str,
    question: Mapping[str, Any],
    votes: Sequence[Vote],
) -> Iterator[tuple[str, bool | str | int, str]]:
    """(what it is about, what the plan says, the side of it by which its record is kept)."""
    if "trait" in question:
        word = facts.word(question["trait"])
        if word and "yes" in question:
            yield about, word in question["yes"], _side(word in question["yes"])
        elif word:
            yield about, kb.vocabulary.classes[word]["short"], ""
        return
    given = [step for step in steps if _gives(kb.vocabulary.kinds, question, step)]
    if "kind" in question and not votes and not given:
        return  # nobody asks every seed for it
    says = any(not step.optional for step in given)
    yield about, says, "optional" if given and not says else _side(says)
    indoors = kb.vocabulary.kinds.indoors(question["group"]) if "lasting" in question else ()
    days = [step.amounts["days"].use for step in given if step.kind in indoors and "days" in step.amounts]
    if days:
        yield question["lasting"], max(days), ""


def _home(kb: KnowledgeBase, facts: Facts) -> str:
    """Whether the winters of its home are cold: a word of claims.yaml."""
    said = {known.word for known in facts.of(kb.vocabulary.climate_key)}
    homes = kb.vocabulary.files["claims"]["homes"]
    return next((str(word) for word, home in homes.items() if said & set(home["words"])), str(next(reversed(homes))))


def _side(says: bool) -> str:
    return "yes" if says else "no"


def _gives(kinds: Kinds, question: Mapping[str, Any], step: Step) -> bool:
    if "kind" in question:
        return bool(step.kind == question["kind"])
    return bool(kinds.claim(step.kind, step.removes) == question["group"])


def _ground(kb: KnowledgeBase, facts: Facts, question: Mapping[str, Any], votes: Sequence[Vote]) -> tuple[str, str]:
    """The nearest ground of a claim, and whether what lies on it agrees; both words of claims.yaml."""
    if votes:
        works = {(vote.source, vote.says) for vote in votes}
        experiments = {vote.source for vote in votes if vote.ground == "experiment"}
        grounds = {vote.ground for vote in votes} | ({"experiments"} if len(experiments) > 1 else set())
        ground = next(word for word in kb.vocabulary.files["claims"]["grounds"] if word in grounds)
        if len({says for _, says in works}) > 1:
            return ground, "differ"
        return ground, "agree" if len(works) > 1 else "single"
    return _of_kin(kb, facts, question)


def _of_kin(kb: KnowledgeBase, facts: Facts, question: Mapping[str, Any]) -> tuple[str, str]:
    """Where no source speaks of it: what kind of dormancy the species has, else what its relatives say."""
    classes = facts.of(kb.vocabulary.class_key)
    own_class = next((known for known in classes if known.basis in ("species", "bench")), None)
    if own_class and "trait" not in question:
        read = any(source.get("held") == "read" and firm(dict(source)) for source in own_class.sources)
        return ("traits" if read else "traits_recalled"), "single"
    lent = [known for known in _bearing(kb, facts, question) if known.basis in ("genus", "family")]
    if own_class and not lent:
        return "table" if any(s.get("held") == "table" for s in own_class.sources) else "recalled", "single"
    nearest = min(lent, key=lambda known: known.basis != "genus", default=None)
    if nearest is None:
        return "none", "single"
    return nearest.basis, "agree" if nearest.share >= AGREE else "mixed" if nearest.share >= MOSTLY else "differ"


def _bearing(kb: KnowledgeBase, facts: Facts, question: Mapping[str, Any]) -> Iterable[Known]:
    """What is known that bears on a question: the trait, or reports of such treatments; else the class of dormancy."""
    if "trait" in question:
        return facts.of(question["trait"])
    kinds = kb.vocabulary.kinds
    asked = (
        [question["kind"]] if "kind" in question else [k for k in kinds.names if kinds.group(k) == question["group"]]
    )
    keys = [key for key, response in kb.vocabulary.responses.items() if not set(asked).isdisjoint(response["kinds"])]
    reports = [known for key in keys for known in facts.of(key)]
    return reports or facts.of(kb.vocabulary.class_key)


# --- how often such claims were right


def claims_of(kb: KnowledgeBase, facts: Facts, steps: Sequence[Step], outcome: str) -> tuple[Claim, ...]:
    """What these steps say, with the measured record of like claims; nothing where no plan is made."""
    if outcome != "plan":
        return ()
    return tuple(_claim(kb, told) for told in rated(kb, facts, steps))


def _claim(kb: KnowledgeBase, told: Rated) -> Claim:
    words = kb.vocabulary.files["claims"]
    rests_on = words["grounds"][told.ground]["means"]
    if told.accord != "single":
        rests_on += f"; {words['accords'][told.accord]['means']}"
    row = record_of(told.keys, measured_rows(kb))
    if row is None:
        return Claim(told.about, told.says, rests_on)
    if row["tried"] < FEWEST_TRIALS:
        rests_on += f" (only {row['tried']} such were tried: the figure leans on all that are like it)"
    return Claim(told.about, told.says, rests_on, row["share"], row["low"], row["high"], row["tried"])


def measured_rows(kb: KnowledgeBase) -> Mapping[tuple[str, ...], Mapping[str, Any]]:
    """The measured table by its keys (kb/calibration.yaml)."""
    if ("claims measured",) not in kb.memo:
        rows = kb.calibration.get("claims", ())
        kb.memo["claims measured",] = {tuple(row["of"].split("/")): row for row in rows}
    made: Mapping[tuple[str, ...], Mapping[str, Any]] = kb.memo["claims measured",]
    return made


def record_of(
    keys: Sequence[tuple[str, ...]], rows: Mapping[tuple[str, ...], Mapping[str, Any]]
) -> Mapping[str, Any] | None:
    """The row most like a claim; None where fewer than `FEWEST_TRIALS` claims on the same question were ever tried."""
    if not keys or rows.get(keys[0], {"tried": 0})["tried"] < FEWEST_TRIALS:
        return None
    return next(rows[key] for key in reversed(keys) if key in rows)


def weakest(kb: KnowledgeBase, claims: Iterable[Claim]) -> Claim | None:
    """Of the claims that decide a plan, the one that was right least often. What gives something decides; where nothing is
    given, the class of dormancy does: that a treatment is left out is tried only by sources that speak of it."""
    questions = kb.vocabulary.files["claims"]["questions"]
    asked = [claim for claim in claims if questions.get(claim.about, {}).get("decides")]
    given = [claim for claim in asked if claim.says is True]
    deciding = given or [claim for claim in asked if not isinstance(claim.says, bool)]
    return min((c for c in deciding if c.right is not None), key=lambda c: c.right or 0.0, default=None)


def with_confidence(kb: KnowledgeBase, basis: Mapping[str, Any], claims: Iterable[Claim]) -> dict[str, Any]:
    """The basis of a plan with the record of its weakest claim; 0 where none was measured."""
    claim = weakest(kb, claims)
    if claim is None or claim.right is None or claim.right_from is None or claim.right_to is None:
        return {**basis, "confidence": 0.0}
    ends = f"{round(100 * claim.right_from)}–{round(100 * claim.right_to)} %"
    what = kb.vocabulary.files["claims"]["questions"][claim.about]["means"].rstrip(".")
    few = (claim.tried or 0) < FEWEST_TRIALS
    cases = "of claims like it" if few else f"of {claim.tried} such claims"
    note = (
        f"{WEAKEST}, {what[0].lower()}{what[1:]}, was right in {round(100 * claim.right)} % {cases} "
        f"({ends}) when the work that tells was hidden."
    )
    return {**basis, "confidence": claim.right, "note": f"{basis['note']} {note}"}
