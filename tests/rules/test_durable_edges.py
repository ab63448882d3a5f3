"""The sharp edges of durable_rules, each with a test against our wrapper of it.

They were measured on durable_rules 2.0.28. Where a crash or a leak is the danger, the test has its own process.
"""

from __future__ import annotations

import contextlib
import inspect
import random
import subprocess
import sys
import threading
from typing import Any

import pytest
from rousewort.base.errors import RuleFault
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.rules import PHASES, FactKey, compile_rules
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.planning.plan import Planner
from rousewort.planning.rules.plain import PlainEngine
from rousewort.planning.rules.run import fire, make_engine

pytestmark = pytest.mark.usefixtures("durable_here")


def rule(id: str, when: list[dict], unless: list[dict] = (), phase: str = "traits") -> dict[str, Any]:
    then = {"traits": [{"finding": "never_dry"}], "obstacles": [{"obstacle": "pulp"}]}.get(phase, [])
    return {"id": id, "phase": phase, "when": when, "unless": list(unless), "then": then}


def durable(*rules: dict) -> Any:
    from rousewort.planning.rules.durable_engine import DurableEngine

    return DurableEngine(compile_rules(rules))


class Exploding(list):
    """Stands where hits are gathered: the rule's action raises."""

    def append(self, _: Any) -> None:
        raise ValueError("the action failed")


def test_an_action_that_raises_is_no_silence(kb: KnowledgeBase) -> None:
    engine = durable(rule("one", [{"a": "x"}]))
    engine._hits = Exploding()
    with pytest.raises(RuleFault, match="the action failed"):
        engine._run("traits", ["a=x"])


def test_after_an_action_that_raises_the_answer_is_still_right(kb: KnowledgeBase) -> None:
    engine = durable(rule("one", [{"a": "x"}]))
    engine._hits = Exploding()
    assert engine.fire("traits", frozenset({("a", "x")})) == {"one": frozenset({("a", "x")})}


def test_an_action_has_one_parameter_for_two_would_make_it_asynchronous() -> None:
    from rousewort.planning.rules.durable_engine import DurableEngine

    assert len(inspect.signature(DurableEngine._action(durable(rule("one", [{"a": "x"}])), "one", 1)).parameters) == 1


def test_a_faulty_session_is_tried_again_in_another_then_handed_to_the_plain_engine() -> None:
    engine = durable(rule("one", [{"a": "x"}]))
    tried: list[list[str]] = []

    def faulty(phase: str, words: list[str]) -> dict:
        tried.append(words)
        raise RuleFault("taken for one already seen")

    engine._run = faulty
    assert engine.fire("traits", frozenset({("a", "x")})) == {"one": frozenset({("a", "x")})}
    assert len(tried) == 2


def test_a_fact_that_no_rule_matches_is_fine() -> None:
    engine = durable(rule("one", [{"a": "x"}, {"b": "x"}]))
    assert engine.fire("traits", frozenset({("a", "x")})) == {}
    assert engine.fire("traits", frozenset({("a", "x"), ("c", "nobody asked")})) == {}
    assert engine.fire("traits", frozenset()) == {}


def test_a_fact_that_no_rule_reads_is_a_fault_never_a_crash() -> None:
    engine = durable(rule("one", [{"a": "x"}, {"b": "x"}]))
    with pytest.raises(RuleFault, match="no rule of phase traits reads c=nobody asked"):
        engine._run("traits", ["c=nobody asked", "a=x"])
    assert engine.fire("traits", frozenset({("a", "x"), ("b", "x")})).keys() == {"one"}


def test_where_no_rule_fires_the_answer_is_none_never_a_crash() -> None:
    for number in range(50):  # the library crashed on the second or third such session
        engine = durable(rule("one", [{"a": "x"}, {"b": "x"}]), rule("two", [{"a": "y"}], [{"b": "x"}]))
        for facts in ({("a", "x")}, {("b", "x")}, {("a", "y"), ("b", "x")}, {("a", f"{number}")}):
            assert engine.fire("traits", frozenset(facts)) == {}


def test_a_fact_asserted_twice_is_matched_once_or_a_fault_never_a_crash() -> None:
    engine = durable(rule("one", [{"a": "x"}]))
    with contextlib.suppress(RuleFault):
        assert engine._run("traits", ["a=x", "a=x"]) == {"one": frozenset({("a", "x")})}
    assert engine.fire("traits", frozenset({("a", "x")})) == {"one": frozenset({("a", "x")})}


def test_two_rules_that_conclude_one_fact_do_not_trip_over_it(kb: KnowledgeBase) -> None:
    given = frozenset({("drying", "sensitive"), ("shelf_life", "short")})
    rules = [
        rule("one", [{"drying": "sensitive"}]),
        rule("two", [{"shelf_life": "short"}]),
        rule("three", [{"finding": "never_dry"}], phase="obstacles"),
    ]
    findings = fire(durable(*rules), given, kb.vocabulary)
    assert [firing.rule.id for firing in findings.support["finding", "never_dry"]] == ["one", "two"]
    assert findings.obstacles == ["pulp"]


@pytest.mark.parametrize("seed", range(20))
def test_absence_does_not_depend_on_the_order_of_assertion(seed: int) -> None:
    """The library's own `none` does; our explicit absences must not."""
    engine = durable(
        rule("asks", [{"a": "x"}], [{"b": "x"}]),
        rule("asks both", [{"a": "x"}], [{"b": "x"}, {"c": "x"}]),
        rule("plain", [{"b": "x"}]),
    )
    for words, expected in (
        (["a=x", "!b=x", "!c=x"], {"asks", "asks both"}),
        (["a=x", "b=x", "!c=x"], {"plain"}),
        (["a=x", "!b=x"], {"asks"}),
    ):
        shuffled = random.Random(seed).sample(words, len(words))
        assert set(engine._run("traits", shuffled)) == expected, shuffled


def test_a_fact_that_no_rule_reads_is_kept_from_it(kb: KnowledgeBase, monkeypatch: pytest.MonkeyPatch) -> None:
    """The library raises at such a fact, and the plain engine would answer in its place."""
    engine = durable(rule("asks", [{"a": "x"}], [{"c": "x"}]))
    monkeypatch.setattr(engine._plain, "fire", lambda *_: pytest.fail("the plain engine answered"))
    for others, expected in (({("b", "x")}, ["asks"]), ({("b", "x"), ("c", "x")}, [])):
        assert list(engine.fire("traits", frozenset({("a", "x"), *others}))) == expected


def test_the_order_of_firing_shows_nowhere(kb: KnowledgeBase) -> None:
    rules = [rule(f"r{i:02}", [{"a": "x"}]) for i in range(30)]
    for shuffle in range(5):
        engine = durable(*random.Random(shuffle).sample(rules, len(rules)))
        assert list(engine.fire("traits", frozenset({("a", "x")}))) == [f"r{i:02}" for i in range(30)]


@pytest.mark.parametrize(
    "word",
    [
        "name",
        "value",
        "sid",
        "id",
        "w",
        "m",
        "s",
        "type",
        "self",
        "c",
        "m0",
        "all",
        "any",
        "none",
        "not",
        "and",
        "true",
        "null",
        "6",
        "$ex",
    ],
)
def test_a_word_that_the_library_uses_itself_is_only_a_word_to_us(word: str) -> None:
    """As the library's own keys such names silently never match; ours are kept inside one attribute."""
    rules = [rule(word, [{word: word}, {"other": ["x", word]}], [{word: "absent"}])]
    facts = frozenset({(word, word), ("other", word)})
    engine = durable(*rules)
    assert engine._run("traits", [f"{word}={word}", f"other={word}", f"!{word}=absent"]) == {word: facts}
    assert engine.fire("traits", facts) == PlainEngine(compile_rules(rules)).fire("traits", facts) == {word: facts}


@pytest.mark.parametrize(
    "word", ["it's", 'say "x"', "a=b", "!a", "ü–°", "with space", "back\\slash", "new\nline", "{curly}", "x" * 500]
)
def test_words_with_odd_signs_are_compared_whole(word: str) -> None:
    rules = [rule("one", [{"a": word}]), rule("two", [{"a": word + "."}])]
    facts = frozenset({("a", word)})
    assert durable(*rules).fire("traits", facts) == {"one": facts}


def test_there_are_no_numbers_to_compare_wrongly(kb: KnowledgeBase) -> None:
    """The library holds "6" > 5; our vocabulary has only words, and conditions only equality."""
    for key, words in kb.vocabulary.keys.items():
        assert isinstance(key, str) and all(isinstance(word, str) for word in words), key
    for one in kb.rules:
        for condition in (*one["when"], *one.get("unless", ())):
            ((_, value),) = condition.items()
            assert all(isinstance(word, str) for word in (value if isinstance(value, list) else [value])), one["id"]


def test_a_session_is_deleted_after_its_run(kb: KnowledgeBase) -> None:
    engine = durable(rule("one", [{"a": "x"}]))
    deleted: list[str] = []
    real = engine._host.delete_state
    engine._host.delete_state = lambda phase, sid: (deleted.append(sid), real(phase, sid))[1]
    engine.fire("traits", frozenset({("a", "x")}))
    (session,) = deleted
    with pytest.raises(Exception, match="309"):  # the library's code for: no such session
        engine._host.get_state("traits", session)


def test_a_session_is_deleted_even_when_its_run_fails() -> None:
    engine = durable(rule("one", [{"a": "x"}]))
    deleted: list[str] = []
    real = engine._host.delete_state
    engine._host.delete_state = lambda phase, sid: (deleted.append(sid), real(phase, sid))[1]
    engine._host.get_state = lambda *_: (_ for _ in ()).throw(ValueError("no state"))
    with pytest.raises(RuleFault):
        engine._run("traits", ["a=x"])
    assert len(deleted) == 1


def test_every_run_has_a_session_of_its_own() -> None:
    engine = durable(rule("one", [{"a": "x"}]))
    seen: list[str] = []
    real = engine._host.assert_facts

    def remember(phase: str, facts: list[dict]) -> Any:
        seen.extend({fact["sid"] for fact in facts})
        return real(phase, facts)

    engine._host.assert_facts = remember
    for _ in range(5):
        engine.fire("traits", frozenset({("a", "x")}))
    assert len(set(seen)) == len(seen) == 5


THREADS = """
import sys, threading
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import to_text
kb = load()
names = kb.names("species")[::25]
oracle = {name: to_text(Planner(kb, "plain").plan(name)) for name in names}
planners = [Planner(kb, "durable_rules"), Planner(kb, "durable_rules")]
wrong = []
def work(turn):
    for name in names[turn % len(names):] + names[:turn % len(names)]:
        if to_text(planners[turn % 2].plan(name)) != oracle[name]:
            wrong.append(name)
threads = [threading.Thread(target=work, args=(turn,)) for turn in range(6)]
[t.start() for t in threads]; [t.join() for t in threads]
print(len(wrong), "wrong")
sys.exit(bool(wrong))
"""

MEMORY = """
import gc, sys
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.facts import gather
from rousewort.planning.rules.run import make_engine
def pages():
    gc.collect()
    return int(open("/proc/self/statm").read().split()[1])
kb = load()
engine = make_engine(kb.rules, "durable_rules")
facts = gather(kb, kb.lookup("Cercis canadensis")).keys()
def run(n):
    for _ in range(n):
        engine.fire("traits", facts); engine.fire("treatments", facts)
run(300)
before = pages()
run(1000)
grown = (pages() - before) * 4096 / 1e6
print(f"{grown:.1f} MB over 2,000 runs")
sys.exit(grown > 4)
"""


def test_threads_share_the_engine_through_its_lock_and_get_the_right_plans(kb: KnowledgeBase) -> None:
    done = subprocess.run([sys.executable, "-c", THREADS], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, f"exit {done.returncode} (negative: the process crashed)\n{done.stdout}{done.stderr}"


def test_one_lock_serves_the_whole_process() -> None:
    from rousewort.planning.rules import durable_engine

    engines = [durable(rule("one", [{"a": "x"}])), durable(rule("one", [{"a": "x"}]))]
    facts = frozenset({("a", "x")})
    with durable_engine._LOCK:
        waiting = [threading.Thread(target=engine.fire, args=("traits", facts)) for engine in engines]
        [thread.start() for thread in waiting]
        [thread.join(0.2) for thread in waiting]
        assert all(thread.is_alive() for thread in waiting), "an engine ran while another held the lock"
    [thread.join(10) for thread in waiting]
    assert not any(thread.is_alive() for thread in waiting)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc: memory was not measured here")
def test_memory_stays_flat_over_two_thousand_runs(kb: KnowledgeBase) -> None:
    done = subprocess.run([sys.executable, "-c", MEMORY], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr


def test_durable_rules_is_the_engine_wherever_it_works(kb: KnowledgeBase) -> None:
    assert make_engine(kb.rules).name == "durable_rules"
    assert Planner(kb).engine.name == "durable_rules"


def test_a_fault_does_not_hide_behind_the_plain_engine_on_shipped_rules(
    durable_planner: Planner, some_species: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """If durable_rules failed every time, plans would still be right, and nobody would know that it never ran."""
    engine = durable_planner.engine
    fell_back: list[str] = []
    monkeypatch.setattr(engine._plain, "fire", lambda phase, facts: fell_back.append(phase) or {})
    for name in some_species:
        durable_planner.plan(name)
    assert not fell_back


def facts_of(vocabulary: Vocabulary, phase: str) -> list[FactKey]:
    return sorted((key, word) for key, words in vocabulary.keys.items() for word in words)


@pytest.mark.parametrize("phase", PHASES)
def test_all_facts_there_are_at_once_are_fired_on_alike(
    kb: KnowledgeBase, durable_planner: Planner, planner: Planner, phase: str
) -> None:
    """The largest set of facts that there can be."""
    facts = frozenset(facts_of(kb.vocabulary, phase))
    assert durable_planner.engine.fire(phase, facts) == planner.engine.fire(phase, facts)


def test_an_engine_starts_no_threads_of_its_own(kb) -> None:
    """The library's timers dispatch outside our lock and crashed a process that had made many engines."""
    import threading

    from rousewort.planning.rules.run import make_engine

    before = threading.active_count()
    for _ in range(5):
        make_engine(kb.rules, "durable_rules")
    assert threading.active_count() <= before
