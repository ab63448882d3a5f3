"""Runs the examples of rules: plants on which a rule must fire, and near misses on which it must not.

A species is taken with all that is known of it and its relatives, as a plan takes it; a lot, where no species shows the
case, with what its example states. Both go through every rule: what the rule reads must follow, it cannot be stated.
"""

from __future__ import annotations

import difflib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from rousewort.base.errors import Problem
from rousewort.knowledge.build import Laid
from rousewort.knowledge.check import kind_of
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.rules import FactKey, Rule, concluded
from rousewort.knowledge.store import genus_of
from rousewort.knowledge.strict_yaml import Document, Path
from rousewort.planning.facts import Facts, gather
from rousewort.planning.rules.plain import PlainEngine
from rousewort.planning.rules.run import Findings, fire, make_engine

CONCLUDED = ("finding", "obstacle")  # keys that only rules give


def example_problems(laid: Laid) -> list[Problem]:
    """Every example that a rule of these layers does not keep. A layer's rules are run on it and what lies beneath: what a
    layer above says of the same plant is no fault of theirs. Where files are broken, nothing is run: rules and plants are missing.
    """
    found: list[Problem] = []
    if not laid.problems:
        for store, documents in zip(laid.stores, laid.documents, strict=True):
            rules = [document for path, document in documents.items() if kind_of(path) == "rule"]
            if rules:
                trial = _Trial(KnowledgeBase(store))
                found += [problem for document in rules for problem in trial.problems(document)]
    return found


class _Ran(NamedTuple):
    """What is known of the seed of one example, and what all rules made of it."""

    facts: Facts
    findings: Findings
    family: str | None


class _Trial:
    """One knowledge base whose rules are tried. A species that many examples name is run once."""

    def __init__(self, kb: KnowledgeBase) -> None:
        self.kb = kb
        self.engine = make_engine(kb.rules, "plain")
        assert isinstance(self.engine, PlainEngine)
        self.rules = {rule.id: rule for phase in self.engine.rules.phases.values() for rule in phase}
        self.concluding: dict[FactKey, list[Rule]] = defaultdict(list)
        for rule in self.rules.values():
            for fact in concluded(rule.data):
                self.concluding[fact].append(rule)
        self._ran: dict[str, _Ran] = {}
        self._reads: dict[str, frozenset[str]] = {}

    def problems(self, document: Document) -> Iterator[Problem]:
        """What is wrong with the examples of one rule."""
        rule = self.rules[document.data["id"]]
        kin: set[str | None] = set()
        for outcome in ("fires", "silent"):
            for i, example in enumerate(document.data["examples"][outcome]):
                path: Path = ("examples", outcome, i)
                wrong = list(self._stated_wrongly(document, path, rule, example))
                yield from wrong
                if wrong:
                    continue
                ran = self._species(example["species"]) if "species" in example else self._lot(example["lot"])
                yield from self._unkept(document, path, rule, ran)
                if outcome == "fires":
                    kin.add(ran.family)
                elif (ran.family is None or ran.family not in kin) and not self._near_any(rule, ran):
                    what = "this example has nothing in common with the rule, so its silence proves nothing"
                    mend = "Take a near miss: seed that meets a part of `when`, or a relative of one that fires."
                    yield document.problem(path, what, mend)

    # --- what an example states

    def _stated_wrongly(
        self, document: Document, path: Path, rule: Rule, example: Mapping[str, Any]
    ) -> Iterator[Problem]:
        if "lot" in example:
            if "species" in example:
                what = "the example names a species and states a lot"
                yield document.key_problem(
                    (*path, "lot"), what, "Keep the species; a lot is for what no species shows."
                )
            yield from self._lot_wrong(document, (*path, "lot"), rule, example["lot"])
            return
        name = example["species"]
        if (self.kb.taxon(name) or {}).get("rank") != "species":
            what = f"there is no entry of a species `{name}`"
            yield document.problem((*path, "species"), what, _nearest(name, self.kb.names()) or "Enter it first.")
        elif "source" in example:
            said = self._sources(rule, name, whole=path[1] == "silent")
            if example["source"] not in said:
                read = "is on record" if path[1] == "silent" else "this rule reads"
                what = f"`{example['source']}` is not behind anything that {read} of {name}"
                rests = (
                    "It rests on: " + ", ".join(said[:8])
                    if said
                    else "Nothing of it has a source: write `held: practice`."
                )
                yield document.problem((*path, "source"), what, _nearest(example["source"], said) + rests)

    def _lot_wrong(self, document: Document, path: Path, rule: Rule, lot: Mapping[str, str]) -> Iterator[Problem]:
        given = self.kb.vocabulary.given
        sound = True
        for key, word in lot.items():
            if key in CONCLUDED:
                what = f"a lot states what is known of the seed; the {key} `{word}` must follow from it"
                mend = "State the traits or reports from which the rules conclude it."
            elif key not in given:
                what, mend = f"`{key}` is no trait or report", _nearest(key, given) or "Use a word of the vocabulary."
            elif word not in given[key]:
                what, mend = (
                    f"`{word}` is no word for {key}",
                    _nearest(word, given[key]) + "Allowed: " + ", ".join(given[key]),
                )
            else:
                continue
            sound = False
            yield document.key_problem((*path, key), what, mend)
        if sound and set(lot.items()) <= rule.reads:
            what = "the lot only says `when` again, so it proves nothing"
            yield document.problem(path, what, "Name a species that shows it, or say what else is known of such seed.")

    def _sources(self, rule: Rule, name: str, whole: bool) -> list[str]:
        """The works behind what a rule reads of a plant, directly or through the rules before it; `whole`: behind all that
        is known of it, since what keeps a rule silent may be something that it never asks."""
        keys = self._keys(rule)
        known = self._species(name).facts.known.values()
        return sorted({s["source"] for k in known if whole or k.key in keys for s in k.sources if "source" in s})

    def _keys(self, rule: Rule) -> frozenset[str]:
        """The traits and reports that decide whether a rule fires."""
        if rule.id not in self._reads:
            self._reads[rule.id] = frozenset()  # a rule that leads back to itself adds nothing
            keys: set[str] = set()
            for fact in rule.reads | rule.unless:
                keys |= {fact[0]} - set(CONCLUDED)
                keys = keys.union(*(self._keys(earlier) for earlier in self.concluding.get(fact, ())))
            self._reads[rule.id] = frozenset(keys)
        return self._reads[rule.id]

    # --- what the rules make of it

    def _species(self, name: str) -> _Ran:
        if name not in self._ran:
            record = self.kb.taxon(name) or {}
            match = Match(name, name, "accepted", genus=genus_of(name), family=record.get("family"))
            self._ran[name] = self._run(match, {})
        return self._ran[name]

    def _lot(self, lot: Mapping[str, str]) -> _Ran:
        return self._run(Match("a lot", None, "observations"), lot)

    def _run(self, match: Match, stated: Mapping[str, str]) -> _Ran:
        facts = gather(self.kb, match, stated)
        return _Ran(facts, fire(self.engine, facts.keys(), self.kb.vocabulary), match.family)

    def _unkept(self, document: Document, path: Path, rule: Rule, ran: _Ran) -> Iterator[Problem]:
        fired = next((firing for firing in ran.findings.firings if firing.rule.id == rule.id), None)
        name = ran.facts.name
        if path[1] == "fires" and fired is None:
            yield document.problem(path, f"the rule must fire on {name}, and does not", self._why_not(rule, ran))
        elif path[1] == "silent" and fired is not None:
            on = ", ".join(f"{key}: {word}" for key, word in fired.on)
            yield document.problem(path, f"the rule must stay silent on {name}, and fires", f"It fires on {on}.")

    def _why_not(self, rule: Rule, ran: _Ran) -> str:
        present = ran.findings.facts
        missing = [" or ".join(f"{k}: {w}" for k, w in sorted(line)) for line in rule.when if not line & present]
        against = [f"{key}: {word}" for key, word in sorted(rule.unless & present)]
        said = [f"Not so of it: {'; '.join(missing)}."] if missing else []
        said += [f"Forbidden by {', '.join(against)}."] if against else []
        keys = sorted({key for line in rule.when if not line & present for key, _ in line} - set(CONCLUDED))
        has = [f"{key}: {word}" for key, word in sorted(present) if key in keys]
        return " ".join([*said, *([f"It has {', '.join(has)}."] if has else [])])

    def _near(self, rule: Rule, ran: _Ran, seen: tuple[str, ...]) -> bool:
        """Whether seed comes near to a rule: it meets a line of `when` by something that is known of it. Of a rule of one
        line it says something else, or comes near to a rule that concludes what the line asks for."""
        known = {fact for fact in ran.findings.facts if fact[1] != "unknown"}
        if any(line & known for line in rule.when):
            return True
        return len(rule.when) == 1 and any(self._nearly(fact, ran, (*seen, rule.id)) for fact in rule.reads)

    def _near_any(self, rule: Rule, ran: _Ran) -> bool:
        """Near to the rule itself, or to another that concludes the same."""
        same = {rule.id: rule} | {r.id: r for fact in concluded(rule.data) for r in self.concluding[fact]}
        return any(self._near(other, ran, ()) for other in same.values())

    def _nearly(self, fact: FactKey, ran: _Ran, seen: tuple[str, ...]) -> bool:
        key, _ = fact
        if key in CONCLUDED:
            return any(self._near(rule, ran, seen) for rule in self.concluding.get(fact, ()) if rule.id not in seen)
        return any(known == key and word != "unknown" for known, word in ran.findings.facts)


def _nearest(word: str, allowed: Iterable[str]) -> str:
    close = difflib.get_close_matches(word, list(allowed), n=1, cutoff=0.6)
    return f"Did you mean `{close[0]}`? " if close else ""
