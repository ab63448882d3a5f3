"""Formulas of observations.yaml as both sides run them: written like `100 * root / seeds`, parsed once to prefix lists.

A formula is a number; a name (text) of a field or of another sum; or a list of a function's name and its arguments, such as
["/", ["*", 100, "root"], "seeds"]. ["text", words] is text itself. ["checked", formula, [[condition, words], …]] is the
formula's value unless a condition holds. Words are a list of text and formulas. `observe.arithmetic` works them out, and
so does the handbook's key page (key.js), which is sent the lists.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping
from functools import lru_cache
from string import Formatter
from typing import Any

from rousewort.base.errors import UserError

Formula = Any  # number, name, or list: nested as above
SIGNS: Mapping[type, str] = {
    ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/",
    ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!=", ast.NotIn: "not in",
    ast.And: "and", ast.Or: "or",
}  # fmt: skip


@lru_cache(maxsize=512)
def parsed(text: str) -> Formula:
    """A formula as prefix lists. UserError where it is none."""
    try:
        return _prefix(ast.parse(text.strip(), mode="eval").body)
    except (SyntaxError, TypeError):
        raise UserError(
            f"observations.yaml: '{text}' is no formula. Write it like 100 * roots / sown, with + - * / < <= > >= == != "
            "and or, not in, names, numbers, 'text', series[time] and function(name)."
        ) from None


@lru_cache(maxsize=512)
def worded(text: str) -> list[str | Formula]:
    """Text with formulas in braces: ["…", formula as a list, …]; a name alone becomes ["value", name]."""
    parts: list[Any] = []
    for before, formula, _, _ in Formatter().parse(text):
        parts += [before] if before else []
        parts += [["value", parsed(formula)]] if formula else []
    return parts


def with_constants(formula: Formula, constants: Mapping[str, Any]) -> Formula:
    """The same with each ["model", name] replaced by the number of that name."""
    if not isinstance(formula, list):
        return formula
    if formula[:1] == ["model"]:
        return constants[formula[1]]
    return [with_constants(part, constants) for part in formula]


def _prefix(node: ast.expr) -> Formula:
    match node:
        case ast.Constant(value=bool()):
            raise TypeError
        case ast.Constant(value=int() | float() as number):
            return number
        case ast.Constant(value=str() as text):
            return ["text", text]
        case ast.Name(id=name):
            return name
        case ast.Attribute(value=ast.Name(id="model"), attr=name):
            return ["model", name]
        case ast.UnaryOp(op=ast.USub(), operand=one):
            return ["-", 0, _prefix(one)]
        case ast.BinOp(left=left, op=sign, right=right) if type(sign) in SIGNS:
            return [SIGNS[type(sign)], _prefix(left), _prefix(right)]
        case ast.Compare(left=left, ops=[sign], comparators=[right]) if type(sign) in SIGNS:
            return [SIGNS[type(sign)], _prefix(left), _prefix(right)]
        case ast.BoolOp(op=sign, values=[left, right]):
            return [SIGNS[type(sign)], _prefix(left), _prefix(right)]
        case ast.Subscript(value=series, slice=time):
            return ["at", _prefix(series), _prefix(time)]
        case ast.Call(func=ast.Name(id="share"), args=[part, whole, of], keywords=[]):
            return _share(*(_prefix(one) for one in (part, whole, of)))
        case ast.Call(func=ast.Name(id=name), args=args, keywords=[]):
            return [name, *(_prefix(one) for one in args)]
    raise TypeError


def _share(part: Formula, whole: Formula, of: Formula) -> Formula:
    """Per cent of seeds, refused where there are none or where the part is larger."""
    said = {"part": ["value", part], "whole": ["value", whole], "of": ["value", of]}
    none = [["and", [">=", part, 0], ["==", whole, 0]], ["no ", said["of"], ": a share of nothing cannot be had"]]
    more = [[">", part, whole], [said["part"], " of ", said["whole"], " ", said["of"], ": more than there were"]]
    return ["checked", ["/", ["*", 100, part], whole], [none, more]]
