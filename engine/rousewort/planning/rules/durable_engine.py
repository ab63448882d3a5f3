"""The same rules on durable_rules, with its sharp edges kept inside this file.

- Absence is never asked of it: for every fact that some `unless` names, either the fact or its explicit absence
  (`!key=word`) is asserted, and rules match that positively.
- A fact that no rule matches raises, and the next run crashes: only what some rule of the phase reads is asserted.
- Facts carry one attribute of ours, `w`, a whole `key=word`: no name of the library's own, no mixed types.
- The library's background threads are not started: they would dispatch beside our calls.
- Every run has its own session, deleted afterwards; a lock is held, because it is not thread safe.
- An action that raises, or a message taken for one already seen, makes the run a fault: tried once more in another
  session, then handed to the plain engine.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable
from typing import Any

from durable.engine import Host

from rousewort.base.errors import RuleFault
from rousewort.knowledge.rules import PHASES, FactKey, Rule, RuleSet
from rousewort.planning.rules.plain import Fired, PlainEngine

_LOCK = threading.Lock()  # one for the process: the library keeps global state in C
_SESSIONS = itertools.count()
ALWAYS = "~"  # a word of no trait


def _word(fact: FactKey) -> str:
    return f"{fact[0]}={fact[1]}"


def _fact(word: str) -> FactKey:
    key, _, value = word.partition("=")
    return key, value


def _without_threads(host: type) -> type:
    """The library's host, less the two timer threads that each one starts and never stops.

    They dispatch rulesets beside our calls and outside our lock: with many hosts they crashed the process. Nothing of
    ours waits for a timer or a deferred action; every run is dispatched by the call that asserts its facts.
    """
    return type("QuietHost", (host,), {"_run": lambda self: None})


class DurableEngine:
    """durable_rules behind the interface of the plain engine."""

    name = "durable_rules"

    def __init__(self, rules: RuleSet) -> None:
        self.rules = rules
        self._plain = PlainEngine(rules)
        self._hits: list[tuple[str, list[str]]] = []
        self._reads = {phase: rules.reads(phase) for phase in PHASES}
        self._asks = {phase: sorted(rules.asks_absent(phase)) for phase in PHASES}
        self._known = {
            phase: {*map(_word, self._reads[phase]), *(f"!{_word(fact)}" for fact in self._asks[phase])}
            for phase in PHASES
        }
        self._host = _without_threads(Host)()
        self._host.set_rulesets({phase: self._ruleset(phase) for phase in PHASES if rules.phases[phase]})

    def _ruleset(self, phase: str) -> dict[str, Any]:
        compiled = {f"r-{rule.id}": self._rule(rule) for rule in self.rules.phases[phase]}
        # Where no rule fires there is no session to ask and delete, and the library crashes: this one always fires.
        compiled["~always"] = {"all": [{"m": {"w": ALWAYS}}], "run": lambda c: None, "pri": 100}
        return compiled

    def _rule(self, rule: Rule) -> dict[str, Any]:
        conditions = [[_word(fact) for fact in sorted(line)] for line in rule.when]
        conditions += [["!" + _word(fact)] for fact in sorted(rule.unless)]
        patterns = []
        for i, words in enumerate(conditions):
            one = [{"w": word} for word in words]
            patterns.append({f"m{i}": one[0] if len(one) == 1 else {"$or": one}})
        return {"all": patterns, "run": self._action(rule.id, len(rule.when)), "pri": 1}

    def _action(self, rule_id: str, count: int) -> Callable[[Any], None]:
        names = [f"m{i}" for i in range(count)]

        def run(c: Any) -> None:
            self._hits.append((rule_id, [getattr(c, name).w for name in names]))

        return run

    def fire(self, phase: str, facts: frozenset[FactKey]) -> Fired:
        """Which rules of `phase` fire on which of `facts`."""
        if not self.rules.phases[phase]:
            return {}
        words = [_word(fact) for fact in facts & self._reads[phase]]
        words += ["!" + _word(fact) for fact in self._asks[phase] if fact not in facts]
        if not words:
            return {}
        with _LOCK:
            for _ in range(2):
                try:
                    return self._run(phase, words)
                except RuleFault:
                    continue
        return self._plain.fire(phase, facts)

    def _run(self, phase: str, words: list[str]) -> Fired:
        if unread := set(words) - self._known[phase]:
            raise RuleFault(f"no rule of phase {phase} reads {', '.join(sorted(unread))}")
        session = f"s{next(_SESSIONS)}"
        self._hits.clear()
        try:
            self._host.assert_facts(
                phase, [{"sid": session, "id": f"{session}.{i}", "w": w} for i, w in enumerate([*words, ALWAYS])]
            )
            state = self._host.get_state(phase, session)
        except Exception as error:  # the library raises its own kinds, plain Exceptions among them
            raise RuleFault(f"durable_rules in phase {phase}: {error!r}") from error
        finally:
            self._delete(phase, session)
        if state.get("exception"):
            raise RuleFault(f"an action failed in phase {phase}: {state['exception']}")
        fired: dict[str, set[FactKey]] = {}
        for rule_id, matched in self._hits:
            fired.setdefault(rule_id, set()).update(map(_fact, matched))
        return {rule_id: frozenset(fired[rule_id]) for rule_id in sorted(fired)}

    def _delete(self, phase: str, session: str) -> None:
        try:
            self._host.delete_state(phase, session)
        except Exception as error:
            raise RuleFault(f"durable_rules could not delete a session: {error!r}") from error
