"""One set of formulas, two machines: what key.js works out of observations.yaml is what `observe.arithmetic` does. Run in node."""

from __future__ import annotations

import json
import random
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from must_be_here import missing
from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.observe.arithmetic import FUNCTIONS, sums_of, work_out
from rousewort.observe.expressions import parsed, worded
from rousewort.observe.key import Field, Test
from rousewort.observe.key import tests as key_of

SCRIPTS = Path(__file__).parents[2] / "site/theme/assets/scripts"
TRIES = 300
WITHOUT_A_PAGE = """
var window = global; global.window = global;
global.document = { currentScript: null, querySelector: function () { return null; } };
var input = JSON.parse(require("fs").readFileSync(0, "utf8"));
%s
process.stdout.write(JSON.stringify(%s));
"""


def in_node(script: str, result: str, given: Any) -> Any:
    """What a script of the page makes of `input`, outside a page."""
    if (node := shutil.which("node")) is None:
        missing("node, which runs the page's script,")
        raise AssertionError
    code = WITHOUT_A_PAGE % ((SCRIPTS / script).read_text("utf-8"), result)
    done = subprocess.run([node, "-e", code], input=json.dumps(given), capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


def drawn(dice: random.Random, field: Field) -> Any:
    """One sound value of a field; close enough to others' that many tests can be true, and many cannot."""
    if field.kind == "count":
        return dice.randint(0, 22) if dice.random() < 0.6 else dice.choice((20, 25, 50))
    if field.kind == "word":
        return dice.choice(field.words)
    if field.kind == "list":
        return [round(dice.uniform(0.5, 5), 2) for _ in range(dice.randint(1, 5))]
    if field.kind == "series":
        hours = sorted(dice.sample((0, 7, 14, 24, 30, 48, 72, 90), dice.randint(1, 6)))
        if field.name == "roots":
            return dict(zip(hours, sorted(dice.randint(0, 16) for _ in hours), strict=True))
        dry = dice.uniform(0.01, 5)
        return {hour: round(dry * dice.uniform(0.9, 2.2), 3) for hour in sorted({*hours, *dice.choice(((0,), ()))})}
    return round(dice.uniform(0.05, 40), 3)


def worked(test: Test, seen: Mapping[str, Any]) -> dict[str, Any]:
    try:
        return work_out(sums_of(test.data), seen)
    except ValueError as impossible:
        return {"impossible": str(impossible)}


def test_the_page_works_out_every_test_as_the_command_does(kb: KnowledgeBase) -> None:
    dice, asked, wanted, told = random.Random(12), [], [], Counter[tuple[str, str]]()
    for test in key_of(kb.vocabulary).values():
        sums = sums_of(test.data)
        for _ in range(TRIES):
            seen = {f.name: drawn(dice, f) for f in test.fields.values() if not f.optional or dice.random() < 0.7}
            as_pairs = {n: list(map(list, v.items())) if isinstance(v, dict) else v for n, v in seen.items()}
            asked.append([sums._asdict(), as_pairs])
            wanted.append((test.id, seen, worked(test, seen)))
            told[test.id, "refused" if "impossible" in wanted[-1][2] else "numbers"] += 1
    script = """input.map(function (a) {
      try { return window.rousewortFormulas.workOut(a[0], a[1]); } catch (t) { if (!t.impossible) throw t; return t; }
    })"""
    for (name, seen, numbers), got in zip(wanted, in_node("key.js", script, asked), strict=True):
        assert got.keys() == numbers.keys(), (name, seen, numbers, got)
        for key, value in numbers.items():
            said = pytest.approx(value, rel=1e-12, abs=1e-12) if isinstance(value, int | float) else value
            assert got[key] == said, (name, key, seen)
    assert all(told[name, "numbers"] > 30 for name in key_of(kb.vocabulary)), told
    refusing = {name for name, how in told if how == "refused"}
    assert {"imbibition", "embryo", "fresh_germination", "light_test", "drying_test", "root_and_shoot"} <= refusing


def parts(formula: Any) -> Iterator[Any]:
    """A formula and every one in it."""
    yield formula
    if not isinstance(formula, list) or formula[0] == "text":
        return
    if formula[0] == "checked":
        yield from parts(formula[1])
        yield from ruled(formula[2])
        return
    for part in formula[1:]:
        yield from parts(part)


def ruled(rules: list[Any]) -> Iterator[Any]:
    for rule in rules:
        yield from parts(rule[1] if rule[0] == "each" else rule[0])
        inner = (
            ruled(rule[2]) if rule[0] == "each" else (f for p in rule[1] if isinstance(p, list) for f in parts(p[1]))
        )
        yield from inner


def all_of(test: Test) -> list[Any]:
    sums = sums_of(test.data)
    return [*ruled(sums.refuses), *(part for formula in sums.numbers.values() for part in parts(formula))]


def test_both_sides_have_the_same_functions_and_every_formula_uses_only_them(kb: KnowledgeBase) -> None:
    found = [part for test in key_of(kb.vocabulary).values() for part in all_of(test)]
    for test in key_of(kb.vocabulary).values():
        found += [part for text in test.data.get("page", {}).get("fields", {}).values() for part in parts(parsed(text))]
    called = {part[0] for part in found if isinstance(part, list)} - {"text", "checked"}
    assert called == set(FUNCTIONS), "a function that nothing calls, or a call of none"
    assert set(in_node("key.js", "window.rousewortFormulas.names", None)) == set(FUNCTIONS)


def test_every_name_in_a_formula_is_a_field_or_another_sum_and_every_number_read_is_worked_out(
    kb: KnowledgeBase,
) -> None:
    for test in key_of(kb.vocabulary).values():
        sums = sums_of(test.data)
        known = {*test.fields, *sums.numbers, "time", "value", "before"}
        assert {part for part in all_of(test) if isinstance(part, str)} <= known, test.id
        assert set(test.gives) <= set(sums.numbers), test.id
        assert {name for clause in test.reads for name in clause.when} <= set(sums.numbers), test.id
        assert set(test.data.get("bands", {}).values()) <= set(sums.numbers), test.id
        page = test.data.get("page", {"asks": {}, "fields": {}})
        made = {part for text in page["fields"].values() for part in parts(parsed(text)) if isinstance(part, str)}
        assert made <= {*page["asks"], *test.fields}, test.id
        assert set(page["fields"]) <= set(test.fields), test.id


@pytest.mark.parametrize(
    "text", ["1 +", "a if b else c", "[1, 2]", "f(x=1)", "a.b", "__import__('os').system('x')", "lambda: 1", "True", ""]
)
def test_what_is_no_formula_is_refused_in_words(text: str) -> None:
    with pytest.raises(UserError, match="is no formula"):
        parsed(text)


def test_words_hold_formulas_in_braces() -> None:
    assert worded("of {sown} seeds {a + 1}") == ["of ", ["value", "sown"], " seeds ", ["value", ["+", "a", 1]]]
