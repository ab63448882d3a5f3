"""The observation key as tables: what every set of findings leads to, worked out at build so that the page only looks up.

The key does not depend on what was measured but on which result each observation gave, and on that only by what it
says of one trait, of the class, or of a level. So there is one table for each of these, over the results of the few
observations that speak of it (`Part`); all of them together are what `observe.conclude` would conclude. What to ask next
depends on class and levels still possible, and is `observe.ask`'s answer for each such state. The state of home, weight,
light and drying is left out of it, but for the words that call for a question about drying: with them there would be
hundreds of thousands of states.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from itertools import product
from typing import Any, NamedTuple

from rousewort.base.parallel import map_on_cores
from rousewort.handbook.build_cache import cached
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.observe.ask import Inquiry
from rousewort.observe.conclude import Conclusion, Reading, conclude, match_for
from rousewort.observe.entries import Observations
from rousewort.observe.key import Test, tests
from rousewort.planning.plan import Plan, Planner

UNKNOWN_SEED = "seed"  # a name that is in no book
Result = dict[str, Any]


class Input(NamedTuple):
    """One thing that the reader says: a test's result (`options` are its clauses), or a word that it takes (home, life, size)."""

    name: str
    test: Test
    options: tuple[Reading, ...]
    words: tuple[str, ...] = ()


class Part(NamedTuple):
    """What all inputs say of one key. `effects`: input → for every option the place of its effect, 0 being none.
    `table`: result of every combination of effects, the last input turning fastest."""

    key: str
    inputs: tuple[str, ...]
    effects: Mapping[str, tuple[int, ...]]
    table: tuple[int, ...]
    results: tuple[Result, ...]

    def size(self, name: str) -> int:
        return max(self.effects[name]) + 1

    def place(self, chosen: Mapping[str, int]) -> int:
        """Where the table has the answer for input → option."""
        place = 0
        for name in self.inputs:
            place = place * self.size(name) + (self.effects[name][chosen[name]] if name in chosen else 0)
        return place


def inputs_of(vocabulary: Vocabulary) -> dict[str, Input]:
    """Everything that the page lets a reader say, by name."""
    found: dict[str, Input] = {}
    for test in tests(vocabulary).values():
        if len(test.reads) > 1 or not test.data.get("words"):
            options = tuple(Reading(test, {}, clause, dict(clause.then)) for clause in test.reads)
            found[test.id] = Input(test.id, test, options)
        words = {trait: test.fields[field].words for trait, field in test.data.get("words", {}).items()}
        words |= {trait: tuple(vocabulary.traits[trait]["values"]) for trait in test.data.get("bands", {})}
        for trait, allowed in words.items():
            options = tuple(Reading(test, {}, None, {trait: word}) for word in allowed)
            found[trait] = Input(trait, test, options, allowed)
    return found


def parts_of(vocabulary: Vocabulary, inputs: Mapping[str, Input]) -> dict[str, Part]:
    """A table for the class, each level, and every trait that some observation tells."""
    traits = dict.fromkeys(trait for one in inputs.values() for option in one.options for trait in option.words)
    return {key: _part(vocabulary, inputs, key) for key in (*traits, *vocabulary.dormancy_keys)}


def _part(vocabulary: Vocabulary, inputs: Mapping[str, Input], key: str) -> Part:
    speaking: dict[str, tuple[tuple[int, ...], list[Reading | None]]] = {}
    for name, one in inputs.items():
        kinds: dict[Any, int] = {None: 0}
        stand_ins: list[Reading | None] = [None]
        effects = []
        for option in one.options:
            effect = _effect(vocabulary, key, option)
            if effect not in kinds:
                kinds[effect] = len(kinds)
                stand_ins.append(option)
            effects.append(kinds[effect])
        if any(effects):
            speaking[name] = (tuple(effects), stand_ins)
    results: dict[str, int] = {}
    table = []
    for combination in product(*(stand_ins for _, stand_ins in speaking.values())):
        result = _result(vocabulary, key, conclude(vocabulary, [reading for reading in combination if reading]))
        table.append(results.setdefault(json.dumps(result, sort_keys=True), len(results)))
    effects_of = {name: said for name, (said, _) in speaking.items()}
    return Part(key, tuple(speaking), effects_of, tuple(table), tuple(map(json.loads, results)))


def _effect(vocabulary: Vocabulary, key: str, option: Reading) -> Any:
    """What a result says of a key, or None: two results with one effect are one to the tables."""
    words = {key: option.words[key]} if key in option.words else {}
    if key == vocabulary.class_key:
        shown = {trait for entry in vocabulary.classes.values() for trait in entry["shows"]}
        words |= {trait: word for trait, word in option.words.items() if trait in shown}
    leaves = option.clause.leaves.get(key) if option.clause else None
    if not words and not leaves:
        return None
    return tuple(sorted(words.items())), leaves, option.clause.says if leaves and option.clause else ""


def _result(vocabulary: Vocabulary, key: str, conclusion: Conclusion) -> Result:
    """Of one conclusion what it says of one key. A level's word waits for the class, see `settles`."""
    result: Result = {}
    if key in conclusion.words and key not in vocabulary.level_keys:
        result["word"] = conclusion.words[key]
    if key in conclusion.left:
        result["left"] = list(conclusion.left[key])
    told = [[c.one, c.other, c.outcome] for c in conclusion.contradictions if c.about == key]
    return result | ({"against": told} if told else {})


def settles(vocabulary: Vocabulary, parts: Mapping[str, Part], level: str) -> list[list[int]]:
    """For every result of the class, and of the level: whether the level is settled too (1) or not (0)."""
    rows = []
    for of_class in parts[vocabulary.class_key].results:
        found = {vocabulary.class_key: of_class["word"]} if "word" in of_class else {}
        made = (
            conclude(vocabulary, (), found, {level: r["left"]} if "left" in r else {}) for r in parts[level].results
        )
        rows.append([int(level in conclusion.words) for conclusion in made])
    return rows


class State(NamedTuple):
    """Classes still possible and what was seen that bears on their chances. `chances`: class → chance, likeliest first;
    `likely`: the class to plan for if a plan must be made now, or None; `levels`: whether each kind of level matters."""

    conclusion: Conclusion
    chances: Mapping[str, float]
    likely: str | None
    levels: tuple[bool, ...]


class Order(NamedTuple):
    """What to ask next: the first of a ranking that is neither answered nor skipped.

    `inputs`: those that count. `gates`: input → trait → words, without which it does not count. `lists`:
    'state.level.level.other' (places in the tables; 0 where it does not matter) → place in `rankings`. `others`: trait →
    for each result of its part a number, 0 where it changes no plan. `flags`: trait → words that call for a question
    about drying; `flagged`: state → place in `rankings` beside such a word.
    """

    inputs: tuple[str, ...]
    gates: Mapping[str, Mapping[str, list[str]]]
    others: Mapping[str, tuple[int, ...]]
    lists: Mapping[str, int]
    flags: Mapping[str, list[str]]
    flagged: tuple[int, ...]
    rankings: tuple[tuple[str, ...], ...]


class Key(NamedTuple):
    """Everything that the page looks up. `state_of`: place in the class table → place in `states`.
    `plans`: class, and level or "" → the plan to begin with."""

    inputs: Mapping[str, Input]
    parts: Mapping[str, Part]
    settles: Mapping[str, list[list[int]]]
    states: tuple[State, ...]
    state_of: tuple[int, ...]
    order: Order
    plans: Mapping[tuple[str, str], Plan]


def seed_key(kb: KnowledgeBase) -> Key:
    """The key of a knowledge base. The ranking of questions is kept from build to build: it is of no entry, only of rules,
    words, treatments and the measured chances."""
    vocabulary = kb.vocabulary
    inquiry = _unknown_seed(kb)
    inputs = inputs_of(vocabulary)
    parts = parts_of(vocabulary, inputs)
    states, state_of = _states(inquiry, inputs, parts[vocabulary.class_key])
    cases = [(word, "") for word in vocabulary.classes]
    cases += [
        (w, one)
        for k in vocabulary.level_keys
        for w in sorted(_with(vocabulary, k))
        for one in vocabulary.traits[k]["values"]
    ]
    level_of = {word: level for level in vocabulary.level_keys for word in _with(vocabulary, level)}
    plans = {
        (w, one): inquiry.plan({vocabulary.class_key: w} | ({level_of[w]: one} if one else {})) for w, one in cases
    }
    settled = {level: settles(vocabulary, parts, level) for level in vocabulary.level_keys}
    return Key(inputs, parts, settled, states, state_of, _order(inquiry, inputs, parts, states, state_of), plans)


def _states(inquiry: Inquiry, inputs: Mapping[str, Input], part: Part) -> tuple[tuple[State, ...], tuple[int, ...]]:
    vocabulary = inquiry.kb.vocabulary
    shown = {trait for entry in vocabulary.classes.values() for trait in entry["shows"]}
    states: dict[Any, int] = {}
    kept, places = [], [0] * len(part.table)
    for chosen in _combinations(part.inputs, inputs, [part]):
        conclusion = conclude(vocabulary, [inputs[name].options[option] for name, option in chosen.items()])
        words = {key: word for key, word in conclusion.words.items() if key in shown or key == vocabulary.class_key}
        left = (
            {vocabulary.class_key: conclusion.left[vocabulary.class_key]}
            if vocabulary.class_key in conclusion.left
            else {}
        )
        name = tuple(sorted(words.items())), tuple(left.values())
        if name not in states:
            states[name] = len(states)
            bare = Conclusion((), words, left, (), ())
            possible = (
                {words[vocabulary.class_key]}
                if vocabulary.class_key in words
                else set(left.get(vocabulary.class_key) or vocabulary.classes)
            )
            matter = tuple(bool(_with(vocabulary, level) & possible) for level in vocabulary.level_keys)
            kept.append(
                State(bare, inquiry.chances(bare), inquiry.words_for_plan(bare).get(vocabulary.class_key), matter)
            )
        places[part.place(chosen)] = states[name]
    return tuple(kept), tuple(places)


def _order(
    inquiry: Inquiry,
    inputs: Mapping[str, Input],
    parts: Mapping[str, Part],
    states: tuple[State, ...],
    state_of: tuple[int, ...],
) -> Order:
    vocabulary = inquiry.kb.vocabulary
    lone = {name for name, one in inputs.items() if one.words}  # words of their own: home, life, size
    told = {trait for one in inputs.values() for option in one.options for trait in option.words} - lone
    called = {name: t.data.get("asked_when", {}).get("facts", {}) for name, t in tests(vocabulary).items()}
    gates = {name: dict(facts) for name, facts in called.items() if facts and set(facts) <= told}
    flags = {trait: list(words) for facts in called.values() if set(facts) <= lone for trait, words in facts.items()}
    speaking = dict.fromkeys(name for key in vocabulary.dormancy_keys for name in parts[key].inputs)
    names = tuple(name for name in speaking if not inputs[name].test.data.get("needs"))
    shown = {trait for state in states for trait in state.conclusion.words}
    heard = dict.fromkeys(trait for name in names for option in inputs[name].options for trait in option.words)
    idle = inquiry.idle
    others = {
        trait: tuple(i if (trait, r.get("word")) not in idle and "word" in r else 0 for i, r in enumerate(parts[trait].results))
        for trait in heard
        if trait not in shown
    }  # fmt: skip
    others = {trait: numbers for trait, numbers in others.items() if any(numbers)}
    order = Order(names, gates, others, {}, flags, (), ())
    rests_on = [vocabulary.files, inquiry.kb.rules, inquiry.kb.treatments, inquiry.kb.calibration]
    made = cached("key", rests_on, lambda: _ranked(inquiry, order, inputs, parts, states, state_of))
    rankings = tuple(map(tuple, made["rankings"]))
    return order._replace(lists=made["lists"], flagged=tuple(made["flagged"]), rankings=rankings)


def _ranked(
    inquiry: Inquiry,
    order: Order,
    inputs: Mapping[str, Input],
    parts: Mapping[str, Part],
    states: tuple[State, ...],
    state_of: tuple[int, ...],
) -> dict[str, Any]:
    """`lists`, `flagged` and `rankings` of an order that has all else."""
    vocabulary, open_to = inquiry.kb.vocabulary, dict[str, Conclusion]()
    for chosen in _combinations(
        order.inputs, inputs, [parts[key] for key in (*vocabulary.dormancy_keys, *order.others)]
    ):
        readings = [inputs[name].options[option] for name, option in chosen.items()]
        if not all(_open(order.gates.get(name, {}), readings) for name in chosen):
            continue
        state = state_of[parts[vocabulary.class_key].place(chosen)]
        matter = zip(vocabulary.level_keys, states[state].levels, strict=True)
        levels = [parts[level].table[parts[level].place(chosen)] if matters else 0 for level, matters in matter]
        rest = [numbers[parts[t].table[parts[t].place(chosen)]] for t, numbers in order.others.items()]
        name = ".".join(map(str, (state, *levels, *rest)))
        if name not in open_to:
            found = conclude(inquiry.kb.vocabulary, readings)
            open_to[name] = Conclusion((), found.words, found.left, (), ())
    calling = {trait: words[0] for trait, words in list(order.flags.items())[:1]}  # for a question about drying
    at_once = [Conclusion((), {**s.conclusion.words, **calling}, s.conclusion.left, (), ()) for s in states]
    conclusions = [*open_to.values(), *(at_once if calling else ())]
    rankings: dict[tuple[str, ...], int] = {}
    asked = map_on_cores(_unknown_seed, (inquiry.kb,), _asked, conclusions)
    places = [rankings.setdefault(tests_asked, len(rankings)) for tests_asked in asked]
    lists = dict(zip(open_to, places, strict=False))
    return {"lists": lists, "flagged": places[len(lists) :], "rankings": list(rankings)}


def _unknown_seed(kb: KnowledgeBase) -> Inquiry:
    return Inquiry(kb, match_for(kb, UNKNOWN_SEED), planner=Planner(kb, "plain"))


def _asked(inquiry: Inquiry, conclusion: Conclusion) -> tuple[str, ...]:
    """The tests worth asking, best first."""
    return tuple(question.test.id for question in inquiry.questions(Observations(UNKNOWN_SEED), conclusion))


def _combinations(names: Iterable[str], inputs: Mapping[str, Input], parts: list[Part]) -> Iterator[dict[str, int]]:
    """Every choice of a result, or none, for each input: one result for each effect that the parts tell apart."""
    several = []
    for name in names:
        one_of_each: dict[tuple[int, ...], int] = {}
        for option in range(len(inputs[name].options)):
            effect = tuple(part.effects[name][option] for part in parts if name in part.effects)
            if any(effect):
                one_of_each.setdefault(effect, option)
        several.append([None, *one_of_each.values()])
    for combination in product(*several):
        yield {name: option for name, option in zip(names, combination, strict=True) if option is not None}


def _open(gate: Mapping[str, list[str]], readings: Iterable[Reading]) -> bool:
    return not gate or any(reading.words.get(trait) in words for reading in readings for trait, words in gate.items())


def _with(vocabulary: Vocabulary, level: str) -> set[str]:
    """The classes that have such levels."""
    return set(vocabulary.traits[level]["only_with"][vocabulary.class_key])
