"""The one canonical form of an entry: what `dump` writes is what the checks expect to read."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import yaml

from rousewort.knowledge.strict_yaml import Path, means_text


class _Dumper(yaml.SafeDumper):
    def ignore_aliases(self, data: Any) -> bool:
        return True

    def increase_indent(self, flow: bool = False, indentless: bool = False) -> None:
        return super().increase_indent(flow, False)


class _Flow(dict):
    """A mapping that is short enough to stand on one line."""


class _FlowList(list):
    """A list that reads better on one line: names, words of a trait, the cells of a row."""


def _represent_flow(dumper: yaml.SafeDumper, data: _Flow) -> yaml.Node:
    return dumper.represent_mapping("tag:yaml.org,2002:map", data.items(), flow_style=True)


def _represent_flow_list(dumper: yaml.SafeDumper, data: _FlowList) -> yaml.Node:
    return dumper.represent_sequence("tag:yaml.org,2002:seq", data, flow_style=True)


def _represent_text(dumper: yaml.SafeDumper, data: str) -> yaml.Node:
    """In quotes what a reader would take for a number or a truth value; PyYAML, of YAML 1.1, knows only some of them."""
    return dumper.represent_scalar("tag:yaml.org,2002:str", data, style=None if means_text(data) else "'")


_Dumper.add_representer(_Flow, _represent_flow)
_Dumper.add_representer(_FlowList, _represent_flow_list)
_Dumper.add_representer(str, _represent_text)
_FLOW_WIDTH = 100
# Keys of an entry whose lists stand on one line; `rows` is wrapped where it must be.
_ON_ONE_LINE = {"synonyms", "common_names", "arm", "columns", "also_in", "temperature_c", "cold_c"}


def dump(data: dict, schema: str | None = None, opened: Collection[Path] = ()) -> str:
    """Canonical YAML text of `data`; `schema` is the relative path that the first line points editors to.

    `opened`: paths of mappings that stand as blocks however short they are, because a comment stands inside.
    """
    head = f"# yaml-language-server: $schema={schema}\n" if schema else ""
    shaped = _shape(data, (), opened)
    return head + yaml.dump(shaped, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=110)


def _shape(value: Any, path: Path, opened: Collection[Path]) -> Any:
    """Mappings of scalars that fit one line are written on one line, all others as blocks."""
    if isinstance(value, dict):
        shaped = {key: _shape(item, (*path, key), opened) for key, item in value.items()}
        flat = all(not isinstance(item, list | dict) or isinstance(item, _Flow | _FlowList) for item in shaped.values())
        short = len(str(value)) <= _FLOW_WIDTH or path in (("practice",), ("shared",))
        if flat and path and path not in opened and short:
            return _Flow(shaped)
        return shaped
    if isinstance(value, list):
        if path and (
            (path[-1] == "rows" and "results" in path) or (_listed_on_one_line(path) and len(str(value)) <= _FLOW_WIDTH)
        ):
            return _FlowList(_FlowList(item) if isinstance(item, list) else item for item in value)
        return [_shape(item, (*path, i), opened) for i, item in enumerate(value)]
    return value


def _listed_on_one_line(path: Path) -> bool:
    return path[-1] in _ON_ONE_LINE or path[0] in ("practice", "shared")
