"""The one canonical form of an entry: what `dump` writes is what the checks expect to read."""

from __future__ import annotations

from typing import Any

import yaml


class _Dumper(yaml.SafeDumper):
    def ignore_aliases(self, data: Any) -> bool:
        return True

    def increase_indent(self, flow: bool = False, indentless: bool = False) -> None:
        return super().increase_indent(flow, False)


class _Flow(dict):
    """A mapping that is short enough to stand on one line."""


def _represent_flow(dumper: yaml.SafeDumper, data: _Flow) -> yaml.Node:
    return dumper.represent_mapping("tag:yaml.org,2002:map", data.items(), flow_style=True)


_Dumper.add_representer(_Flow, _represent_flow)
_FLOW_WIDTH = 100


def dump(data: dict, schema: str | None = None) -> str:
    """Canonical YAML text of `data`; `schema` is the relative path that the first line points editors to."""
    head = f"# yaml-language-server: $schema={schema}\n" if schema else ""
    return head + yaml.dump(_shape(data, top=True), Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=110)


def _shape(value: Any, top: bool = False) -> Any:
    """Mappings of scalars that fit one line are written on one line, all others as blocks."""
    if isinstance(value, dict):
        shaped = {key: _shape(item) for key, item in value.items()}
        flat = all(not isinstance(item, list | dict) or isinstance(item, _Flow) for item in shaped.values())
        if flat and not top and len(str(value)) <= _FLOW_WIDTH:
            return _Flow(shaped)
        return shaped
    if isinstance(value, list):
        return [_shape(item) for item in value]
    return value
