"""Small changes that nobody wants: to rules, treatments, words, reports and the code that plans. Each has a name for life.

A mutant is made from what stands in the knowledge base and in engine/, never from what tests look at.
"""

from __future__ import annotations

import ast
import copy
import random
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from pathlib import Path
from typing import Any, NamedTuple

ENGINE = Path(__file__).resolve().parents[2] / "engine" / "rousewort"
# Of code: what chooses, orders and measures. What only words or prints has tests of its own, on texts.
WORDS_ONLY = {"wording.py", "citing.py", "explain.py", "sheet.py", "plan_json.py", "__init__.py", "durable_engine.py"}
# Lists whose order says nothing to a grower.
UNORDERED = {"when", "unless", "sources", "needs", "for", "synonyms", "common_names", "fires", "silent", "judged"}
# Of files of words, what is not of plans: labels, calendars, colours, doubts of contributors and the like have their own tests.
NOT_OF_PLANS = {
    "bench", "calendar", "colours", "contradictions", "doubts", "label_sheets", "observations", "parts_read", "replicate_ranges",
    "trials",
}  # fmt: skip
AREAS = ("rules", "treatments", "vocabulary", "reports", "code")
Way = tuple[str | int, ...]


class Mutant(NamedTuple):
    """`where`: a rule, a treatment, a file of words, a species or a module. `what`: the change in words.
    `change`: for code, the number of the change in the module; for a rule, its data as changed (or a function of the
    compiled rule); else the whole of what stands at `where`, as changed."""

    area: str
    where: str
    what: str
    change: Any

    @property
    def id(self) -> str:
        return f"{self.area}/{self.where}: {self.what}"


# --- data


def places(data: Any, way: Way = ()) -> Iterator[tuple[Way, Any]]:
    """Every value, however deep, with the way to it."""
    yield way, data
    children = data.items() if isinstance(data, Mapping) else enumerate(data) if isinstance(data, list) else ()
    for key, value in children:
        yield from places(value, (*way, key))


def put(data: Any, way: Way, value: Any) -> Any:
    """A copy in which another value stands at `way`."""
    changed = copy.deepcopy(data)
    at = changed
    for key in way[:-1]:
        at = at[key]
    at[way[-1]] = value
    return changed


def moved(number: float) -> list[float]:
    """Half as much again and a third less, and never the same: what a slip of the pen makes of a number."""
    if isinstance(number, int):
        return [number + max(1, round(number / 2)), number - max(1, round(number / 3))]
    return [round(number * 1.5, 6) or 0.5, round(number / 1.5, 6) or -0.5]


def never_both(one: Any, other: Any, many: Set[str]) -> bool:
    """Whether no seed meets both of two cases, whatever their order: of a key that has one word they ask different ones,
    or one asks what the other forbids; or both are words, of which any will do. `many`: keys that may have several words."""
    if isinstance(one, str) and isinstance(other, str):
        return " " not in one and " " not in other
    if not (isinstance(one, Mapping) and isinstance(other, Mapping)):
        return False
    asked = [_asked(case, "when") for case in (one, other)]
    forbidden = [_asked(case, "unless") for case in (one, other)]
    for key in asked[0].keys() & asked[1].keys() - many:
        if asked[0][key].isdisjoint(asked[1][key]):
            return True
    return any(
        key in forbidden[1 - i] and words <= forbidden[1 - i][key] for i in (0, 1) for key, words in asked[i].items()
    )


def _asked(case: Mapping[str, Any], part: str) -> dict[str, set[str]]:
    """Key → words: of a case, and of a range, whose class and level are keys like any."""
    told = dict(case.get(part) or {}) | (
        {k: case[k] for k in ("class", "level") if k in case} if part == "when" else {}
    )
    return {key: {words} if isinstance(words, str) else set(words) for key, words in told.items()}


def of_data(data: Any, many: Set[str] = frozenset()) -> Iterator[tuple[str, Any]]:
    """Numbers moved, answers of yes and no turned, neighbours in a list (or in a file of ordered words) swapped."""
    for way, value in places(data):
        told = ".".join(map(str, way)) or "the whole"
        if isinstance(value, bool):
            yield f"{told} is {not value}", put(data, way, not value)
        elif isinstance(value, int | float):
            for number in moved(value):
                yield f"{told} is {number:g}, not {value:g}", put(data, way, number)
        elif isinstance(value, list) and not UNORDERED & {*map(str, way)}:
            for i in range(len(value) - 1):
                if not never_both(value[i], value[i + 1], many):
                    swapped = [*value[:i], value[i + 1], value[i], *value[i + 2 :]]
                    yield f"{told} has {i} and {i + 1} swapped", put(data, way, swapped) if way else swapped


# --- rules


def of_rule(rule: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Each condition left out, each word of a condition left out, two conditions of which one is now enough; each thing
    that follows left out."""
    when = rule["when"]
    for part in ("when", "unless", "then"):
        for i in range(len(rule.get(part, ()))):
            if part != "then" or len(rule[part]) > 1:
                yield f"{part} {i} is left out", {**rule, part: [*rule[part][:i], *rule[part][i + 1 :]]}
    for part in ("when", "unless"):
        for i, condition in enumerate(rule.get(part, ())):
            ((key, words),) = condition.items()
            for word in words if isinstance(words, list) else ():
                fewer = {key: [w for w in words if w != word]}
                yield f"{part} {i} is without {word}", {**rule, part: [*rule[part][:i], fewer, *rule[part][i + 1 :]]}
    for i in range(len(when) - 1):
        yield f"when {i} or {i + 1}, not both", _either(i)
    for i, then in enumerate(rule["then"]):
        if "obstacle" in then:
            turned = {**then, "optional": not then.get("optional")}
            yield f"then {i} is optional: {turned['optional']}", {**rule, "then": put(rule["then"], (i,), turned)}


def _either(i: int) -> Callable[[Any], Any]:
    """Of a compiled rule: its lines `i` and `i + 1` as one, of which any fact will do."""
    return lambda rule: rule._replace(
        when=(*rule.when[:i], rule.when[i] | rule.when[i + 1], *rule.when[i + 2 :]),
    )


# --- code

_COMPARED: Mapping[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
_RECKONED: Mapping[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
}  # fmt: skip
_CALLED = {"min": "max", "max": "min", "any": "all", "all": "any"}


def of_source(source: str) -> Iterator[tuple[str, int]]:
    """Comparisons, numbers, `and`, `or`, `not`, sums, smallest and largest: one changed at a time. (what, its number)"""
    for number, (line, column, told, _) in enumerate(_changes(ast.parse(source))):
        yield f"line {line}:{column}, {told}", number


def changed_source(source: str, number: int) -> str:
    """A module's source with the change of that number."""
    tree = ast.parse(source)
    change = next(made for i, (*_, made) in enumerate(_changes(tree)) if i == number)
    change()
    return ast.unparse(ast.fix_missing_locations(tree))


def _changes(tree: ast.Module) -> Iterator[tuple[int, int, str, Callable[[], None]]]:
    said = {id(part) for node in ast.walk(tree) for part in ast.walk(getattr(node, "annotation", None) or ast.Pass())}
    said |= {id(p) for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.returns for p in ast.walk(n.returns)}
    for node in ast.walk(tree):
        if id(node) not in said and hasattr(node, "lineno"):
            for told, change in _of_node(node):
                yield node.lineno, node.col_offset, told, change


def _of_node(node: ast.AST) -> Iterator[tuple[str, Callable[[], None]]]:
    was = f"`{ast.unparse(node)[:70]}`" if isinstance(node, ast.expr) else ""
    if isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            other = _COMPARED[type(op)]
            which = f" {i + 1}" if len(node.ops) > 1 else ""
            yield (
                f"{type(op).__name__}{which} is {other.__name__} in {was}",
                lambda i=i, o=other: node.ops.__setitem__(i, o()),
            )
    elif isinstance(node, ast.BoolOp):
        other_op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield (
            f"{type(node.op).__name__} is {type(other_op).__name__} in {was}",
            lambda: setattr(node, "op", other_op),
        )
    elif isinstance(node, ast.BinOp) and type(node.op) in _RECKONED and not _textual(node):
        sign = _RECKONED[type(node.op)]
        yield f"{type(node.op).__name__} is {sign.__name__} in {was}", lambda: setattr(node, "op", sign())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield (
            f"{was} without its not",
            lambda: _become(node, ast.Call(ast.Name("bool", ast.Load()), [node.operand], [])),
        )
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        number = node.value
        others = (
            [not number]
            if isinstance(number, bool)
            else [number + 1 if isinstance(number, int) else number * 1.5 or 0.5]
        )
        for other in others:
            yield f"{number} is {other}", lambda o=other: setattr(node, "value", o)
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _CALLED:
        name, func = _CALLED[node.func.id], node.func
        yield f"{func.id} is {name} in {was}", lambda: setattr(func, "id", name)


def _textual(node: ast.BinOp) -> bool:
    """A sum of texts, lists or tuples, which has no difference."""
    kinds = (ast.JoinedStr, ast.List, ast.Tuple, ast.ListComp)
    parts = (node.left, node.right)
    return any(isinstance(p, kinds) or (isinstance(p, ast.Constant) and isinstance(p.value, str)) for p in parts)


def _become(node: ast.AST, other: ast.AST) -> None:
    """Make a node another in place, so that nobody needs to know where it hangs."""
    for name in node._fields:
        delattr(node, name)
    node.__class__ = other.__class__
    node.__dict__.update(other.__dict__)


# --- all


def modules() -> list[Path]:
    return sorted(path for path in (ENGINE / "planning").rglob("*.py") if path.name not in WORDS_ONLY)


def every(area: str, shared: Mapping[str, Any], records: Mapping[str, Mapping[str, Any]]) -> Iterator[Mutant]:
    """All mutants of an area, in a fixed order. `shared`, `records`: as a MemoryStore holds them."""
    if area == "rules":
        for rule in shared["rules"]:
            yield from (Mutant(area, rule["id"], *m) for m in of_rule(rule))
    elif area == "treatments":
        traits = shared["vocabulary"]["traits"]
        many = {"finding", "obstacle"} | {key for key, trait in traits.items() if trait.get("many")}
        for kind, data in sorted(shared["treatments"].items()):
            yield from (Mutant(area, kind, *m) for m in of_data(data, many))
    elif area == "vocabulary":
        for stem, data in sorted(shared["vocabulary"].items()):
            if stem not in NOT_OF_PLANS:
                yield from (Mutant(area, stem, *m) for m in of_data(data))
                if stem == "standing":  # a mapping whose order is what it says
                    yield from (Mutant(area, stem, *m) for m in _swapped_words(data))
    elif area == "reports":
        for name, record in sorted(records.items()):
            if record["rank"] == "species":
                yield from (Mutant(area, name, *m) for m in of_reports(record))
    else:
        for path in modules():
            yield from (Mutant(area, str(path.relative_to(ENGINE)), *m) for m in of_source(path.read_text("utf-8")))


def _swapped_words(data: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    words = list(data)
    for i in range(len(words) - 1):
        order = [*words[:i], words[i + 1], words[i], *words[i + 2 :]]
        yield f"{words[i]} and {words[i + 1]} swapped", {word: data[word] for word in order}


def of_reports(record: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Of a species: the numbers of its protocols' phases moved, two phases swapped."""
    for way, value in places(record.get("protocols", [])):
        told = "protocols." + ".".join(map(str, way))
        if "phases" not in way:
            continue
        if isinstance(value, int | float) and not isinstance(value, bool):
            number = moved(value)[0]
            yield f"{told} is {number:g}, not {value:g}", put(record, ("protocols", *way), number)
        elif way[-1] == "phases" and isinstance(value, list):
            for i in range(len(value) - 1):
                swapped = [*value[:i], value[i + 1], value[i], *value[i + 2 :]]
                yield f"{told} has {i} and {i + 1} swapped", put(record, ("protocols", *way), swapped)


def sample(mutants: Sequence[Mutant], count: int, seed: str) -> list[Mutant]:
    """So many of them, drawn by a seed: the same for the same seed wherever it is run."""
    return random.Random(seed).sample(list(mutants), min(count, len(mutants)))
