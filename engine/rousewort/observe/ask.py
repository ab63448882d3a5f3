"""Which observation to make next: the one whose result would most change the plan.

Every class and level that is still possible is a case, weighed by what relatives make of it (relatives.estimate). For
each case there is a plan. The plan in hand is the one that differs least, on average, from the plans of all cases; an
observation is worth as much as it lowers that average, since it splits the cases (`compare` says how far two plans differ).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.observe.compare import Compared, parts_of
from rousewort.observe.conclude import Conclusion, conclude, match_for, read_all
from rousewort.observe.entries import Observations
from rousewort.observe.key import Test, outcomes, tests
from rousewort.planning.class_estimate import estimate
from rousewort.planning.facts import CLASS_CHANCE, gather
from rousewort.planning.grower import Grower
from rousewort.planning.plan import Plan, Planner

Fact = tuple[str, str]  # trait and word
Case = Mapping[str, str]  # class, and level where the class has levels


class Question(NamedTuple):
    """The test to make next. `worth`: by how much, on average, it brings the plan nearer to the right one (0 to 1)."""

    test: Test
    because: str
    worth: float
    cost: str


@dataclass
class Inquiry:
    """Asks and concludes for one plant. Holds the planner and the plans that it made, nothing else."""

    kb: KnowledgeBase
    match: Match
    grower: Grower | None = None
    planner: Planner = None  # type: ignore[assignment]  # set below for whoever gives none
    _plans: dict[frozenset[Any], int] = field(default_factory=dict)
    _compared: Compared = field(default_factory=Compared)

    def __post_init__(self) -> None:
        self.planner = self.planner or Planner(self.kb, "plain")  # what-if plans by the hundred; engines never differ

    @property
    def vocabulary(self) -> Vocabulary:
        return self.kb.vocabulary

    @cached_property
    def _read_beside_rules(self) -> set[str]:
        """Traits by which plans differ whatever the rules say: lengths and depths are chosen by them, and what they must
        never get."""
        known = self.vocabulary
        return {known.climate_key, known.size_key, known.drying_key, *known.dormancy_keys}

    def conclude(self, known: Observations) -> Conclusion:
        return conclude(self.vocabulary, read_all(known, self.vocabulary), known.found, known.left)

    def plan(self, words: Mapping[str, str]) -> Plan:
        return self.planner.plan_for(self.match, self.grower, words)

    def words_for_plan(self, conclusion: Conclusion) -> dict[str, str]:
        """What the planner gets: the settled words; and where results leave several classes, the likeliest of them,
        if it is likely enough to plan on or if relatives would lend a class that the results rule out."""
        words = dict(conclusion.words)
        if self.vocabulary.class_key in words or self.vocabulary.class_key not in conclusion.left:
            return words
        best, chance = next(iter(self.chances(conclusion).items()))
        lent = gather(self.kb, self.match, words).word(self.vocabulary.class_key)
        if chance >= CLASS_CHANCE or (lent and lent not in conclusion.left[self.vocabulary.class_key]):
            words[self.vocabulary.class_key] = best
            level = self._level_key(best)
            if level and len(conclusion.left.get(level, ())) == 1:
                words.setdefault(level, conclusion.left[level][0])
        return words

    def planned(self, conclusion: Conclusion, observed: Mapping[str, str] | None = None) -> Plan:
        """The plan for what the results say, `observed` (trait → word) first; it says where relatives chose among the
        classes that the bench leaves."""
        words = {**self.words_for_plan(conclusion), **(observed or {})}
        plan = self.plan(words)
        if (
            self.vocabulary.class_key not in words
            or self.vocabulary.class_key in conclusion.words
            or self.vocabulary.class_key in (observed or {})
        ):
            return plan
        label, chances = self.vocabulary.label, self.chances(conclusion)
        left = " or ".join(
            label(self.vocabulary.class_key, word) for word in conclusion.left[self.vocabulary.class_key]
        )
        found = estimate(self.kb, self.match.genus, self.match.family).nearest
        judge = f"relatives ({found.name})" if found else "the shares of the classes at large"
        likeliest = words[self.vocabulary.class_key]
        share = f"{100 * chances[likeliest]:.0f} %"
        said = f"The bench leaves {left}; {judge} make {label(self.vocabulary.class_key, likeliest)} the likeliest, {share}."
        return plan._replace(basis={**plan.basis, "note": f"{plan.basis['note']} {said}"})

    def _level_key(self, word: str) -> str | None:
        """The trait that tells how deep a class goes, if it has levels."""
        return next(
            (
                key
                for key in self.vocabulary.level_keys
                if word in self._traits(key)["only_with"][self.vocabulary.class_key]
            ),
            None,
        )

    def chances(self, conclusion: Conclusion) -> dict[str, float]:
        """Class → chance, from relatives and what was seen in one, among the classes that the results leave."""
        seen = {**self._recorded, **conclusion.words}
        chances = estimate(self.kb, self.match.genus, self.match.family, seen).chances
        still = conclusion.left.get(self.vocabulary.class_key) or tuple(chances)
        if self.vocabulary.class_key in conclusion.words:
            still = (conclusion.words[self.vocabulary.class_key],)
        elif self.vocabulary.class_key in seen and seen[self.vocabulary.class_key] in still:
            still = (seen[self.vocabulary.class_key],)
        surprise = self._key["surprise"]["share"] / len(still)
        weights = {word: (1 - self._key["surprise"]["share"]) * chances.get(word, 0.0) + surprise for word in still}
        return {word: weight / sum(weights.values()) for word, weight in sorted(weights.items(), key=lambda i: -i[1])}

    @property
    def _key(self) -> Mapping[str, Any]:
        key: Mapping[str, Any] = self.vocabulary.files["observations"]
        return key

    @cached_property
    def _recorded(self) -> dict[str, str]:
        return gather(self.kb, self.match).seen()

    def ask(self, known: Observations) -> Question | Conclusion:
        """The next question; or the conclusion, where nothing that can still be asked would change the plan much."""
        conclusion = self.conclude(known)
        questions = [] if conclusion.stop else self.questions(known, conclusion)
        return questions[0] if questions else conclusion

    def questions(self, known: Observations, conclusion: Conclusion | None = None) -> list[Question]:
        """All that is worth asking: what is answered soon first, and of the like the best."""
        conclusion = conclusion or self.conclude(known)
        open_tests = [
            t for t in tests(self.vocabulary).values() if t.id not in known.seen and t.id not in known.skipped
        ]
        possible = [t for t in open_tests if self._makes_sense(t, conclusion) and self._affordable(t, known)]
        gate = [t for t in possible if t.data.get("gate")]
        cases = list(self._cases(conclusion))
        rated = [(self._worth(t, cases, conclusion), t) for t in possible if t not in gate]
        least = self._key["small_gain"]
        soon = self._key["soon_days"]
        worth = sorted(
            (r for r in rated if r[0] >= least), key=lambda r: (r[1].days > soon, -round(r[0], 3), r[1].days)
        )
        return [Question(t, t.why, 1.0, _cost(t)) for t in gate] + [
            Question(t, self._because(t, conclusion), round(gain, 3), _cost(t)) for gain, t in worth
        ]

    # --- which tests can be asked

    def _makes_sense(self, test: Test, conclusion: Conclusion) -> bool:
        """Not where its trait is known, nor where the facts or family that call for it are missing."""
        seen = {**self._recorded, **conclusion.words}
        if any(trait in seen for trait in test.data.get("without_known", ())):
            return False
        asked_when = test.data.get("asked_when")
        if not asked_when:
            return True
        if any(seen.get(trait) in words for trait, words in asked_when.get("without", {}).items()):
            return False
        facts = asked_when.get("facts", {}).items()
        likely = {word for word, chance in self.chances(conclusion).items() if chance >= self._key["likely"]["share"]}
        hit = any(
            seen.get(t, "unknown") in words or (t == self.vocabulary.class_key and likely & set(words))
            for t, words in facts
        )
        return hit or self.match.family in asked_when.get("families", ())

    def _affordable(self, test: Test, known: Observations) -> bool:
        """Small lots are not spent on tests; and what a test needs must be there."""
        if self.grower and self.grower.can(test.data.get("needs", ()), self.vocabulary):
            return False
        if not self.grower and test.data.get("needs"):
            return False
        seeds, rule = self.grower.seeds if self.grower else None, self._key["lot"]
        if seeds is None or not test.spends:
            return True
        spent = sum(t.spends for name, t in tests(self.vocabulary).items() if name in known.seen)
        return bool(seeds >= rule["least"] and spent + test.spends <= seeds * rule["share"])

    # --- what they are worth

    def _cases(self, conclusion: Conclusion) -> Iterable[tuple[float, Case]]:
        """Every class with every level still possible, with its chance; levels that nothing tells apart share alike."""
        for word, chance in self.chances(conclusion).items():
            level = self._level_key(word)
            levels = self._levels(level, conclusion) if level else ()
            if level:
                for one in levels:
                    yield chance / len(levels), {self.vocabulary.class_key: word, level: one}
            if not levels:
                yield chance, {self.vocabulary.class_key: word}

    def _traits(self, key: str) -> Mapping[str, Any]:
        return self.vocabulary.traits[key]

    def _levels(self, key: str, conclusion: Conclusion) -> tuple[str, ...]:
        seen = {**self._recorded, **conclusion.words}
        return (seen[key],) if key in seen else conclusion.left.get(key) or tuple(self._traits(key)["values"])

    def _worth(self, test: Test, cases: list[tuple[float, Case]], conclusion: Conclusion) -> float:
        about_class = any(c.leaves or set(c.then) & _shown(self.kb) for c in test.reads)
        if about_class:
            return self._gain([(p, self._outcomes(test, case), {**conclusion.words, **case}) for p, case in cases])
        words = self._possible_words(test)
        return self._gain(
            [
                (p * share, {word: 1.0}, {**conclusion.words, **case, trait: word})
                for p, case in cases
                for trait, word, share in words
            ]
        )

    def _gain(self, cases: list[tuple[float, Mapping[Any, float], Mapping[str, str]]]) -> float:
        """Average distance of the best single plan before, less that of the best plan for each outcome."""
        plans = [(p, outcomes, self._numbered(words)) for p, outcomes, words in cases]
        before = self._compared.spread((p, plan) for p, _, plan in plans)
        split: dict[Any, list[tuple[float, int]]] = {}
        for p, shares, plan in plans:
            for name, share in shares.items():
                split.setdefault(name, []).append((p * share, plan))
        after = sum(map(self._compared.spread, split.values()))
        return max(0.0, before - after)

    def _outcomes(self, test: Test, case: Case) -> dict[int, float]:
        """Which results a case can give, all alike likely, by their place in the key."""
        fits = outcomes(test, self.vocabulary, case)
        return {i: 1 / len(fits) for i in fits} or {-1: 1.0}

    def _possible_words(self, test: Test) -> list[tuple[str, str, float]]:
        told = [(t, w, c.share) for c in test.reads for t, w in c.then.items() if c.share]
        for trait in test.data.get("bands", {}):
            values = self._traits(trait)["values"]
            told += [(trait, word, 1 / len(values)) for word in values]
        for trait, name in test.data.get("words", {}).items():
            told += [(trait, word, 1 / len(test.fields[name].words)) for word in test.fields[name].words]
        total = sum(share for _, _, share in told) or 1.0
        return [(trait, word, share / total) for trait, word, share in told]

    def _numbered(self, words: Mapping[str, str]) -> int:
        """The number of the plan for these words among all plans compared here."""
        alike = self.alike
        key = frozenset(fact for item in words.items() if (fact := alike.get(item, item)))
        if key not in self._plans:
            parts = parts_of(
                self.plan(dict(sorted(key))),
                self.vocabulary.kinds.first,
                words.get(self.vocabulary.drying_key) in self.vocabulary.never_dried,
            )
            self._plans[key] = self._compared.number(parts)
        return self._plans[key]

    @cached_property
    def alike(self) -> Mapping[Fact, Fact | None]:
        """Words that make the same plan as another of their trait, or (None) as not knowing them, once the class is given
        (every case gives it): no rule tells them apart, and no number is chosen by them. Only for seed of which nothing is
        known but what is seen here: for any other, a relative or the books might lend another word instead."""
        if self.match.genus or self.match.family:
            return {}
        rules = [rule for phase in self.planner.engine.rules.phases.values() for rule in phase]
        lines = [line for rule in rules for line in (*rule.when, *({fact} for fact in rule.unless))]
        found: dict[Fact, Fact | None] = {}
        for trait in self.vocabulary.given.keys() - self._read_beside_rules:
            first: dict[tuple[bool, ...], Fact | None] = {}
            for value in ("unknown", *self.vocabulary.given[trait]):
                told = tuple((trait, value) in line for line in lines)
                found[trait, value] = first.setdefault(told, None if value == "unknown" else (trait, value))
        return found

    @property
    def idle(self) -> frozenset[tuple[str, str]]:
        """Words that are as good as not knowing them."""
        return frozenset(fact for fact, other in self.alike.items() if other is None and fact[1] != "unknown")

    def _because(self, test: Test, conclusion: Conclusion) -> str:
        chances = {word: chance for word, chance in self.chances(conclusion).items() if chance >= 0.01}
        if len(chances) < 2:
            return test.why
        label = self.vocabulary.label
        named = [
            f"{label(self.vocabulary.class_key, word).split(' (')[0]} {round(100 * chance)} %"
            for word, chance in chances.items()
        ]
        return f"{test.why} Still possible: {', '.join(named)}."


def _shown(kb: KnowledgeBase) -> set[str]:
    """Traits that say something of the class."""
    return {trait for entry in kb.vocabulary.classes.values() for trait in entry["shows"]}


def _cost(test: Test) -> str:
    seeds = f"{test.spends} seeds" if test.spends else "no seed"
    return f"{seeds}, about {test.days} day{'s' if test.days > 1 else ''}" if test.days else f"{seeds}, no time"


def ask(
    kb: KnowledgeBase, query: str, known: Observations | None = None, grower: Grower | None = None
) -> Question | Conclusion:
    """What to observe next of the plant called `query`, or what follows from what is known. Keep an Inquiry for many."""
    known = known or Observations(query)
    return Inquiry(kb, match_for(kb, query, known.family), grower).ask(known)
