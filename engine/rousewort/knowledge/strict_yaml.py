"""One strict reader for every YAML file of the knowledge base.

It reads the YAML 1.2 core scalars only and refuses what readers disagree about: duplicate keys, aliases, tags,
and plain words that YAML 1.1 would turn into something else (`NO`, `12:30`, `0755`, dates).
"""

from __future__ import annotations

import re
from typing import Any, ClassVar

import yaml

from rousewort.base.errors import KnowledgeError, Problem, capped

MAX_BYTES = 512 * 1024
MAX_DEPTH = 20

_INTEGER = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|(0|[1-9][0-9]*)(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NULL = {"", "~", "null", "Null", "NULL"}
_BOOL = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
# What YAML 1.1 readers (many editors and libraries) would take for something other than a word.
_SURPRISING = re.compile(
    r"(?i:yes|no|on|off|y|n)|[-+]?0[0-9_]+|[-+]?0[xob][0-9a-fA-F_]+|[-+]?[0-9][0-9_]*(:[0-5]?[0-9])+(\.[0-9_]*)?"
    r"|\d{4}-\d\d?-\d\d?([Tt ].*)?|[-+]?[0-9]+_[0-9_]*|[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)|=|<<"
    # Numbers for YAML 1.2 that 1.1 reads as text: an exponent without a point or a sign, a sign before a bare point.
    r"|[-+]?[0-9]+[eE][-+]?[0-9]+|[-+]?[0-9]*\.[0-9]*[eE][0-9]+|[-+]\.[0-9]+([eE][-+]?[0-9]+)?"
)

Path = tuple[str | int, ...]


def means_text(text: str) -> bool:
    """Whether a reader takes `text`, written without quotes, for just that text."""
    return not (text in _NULL or text in _BOOL or any(p.fullmatch(text) for p in (_INTEGER, _FLOAT, _SURPRISING)))


class Document:
    """A parsed file: its data, and the (line, column), 1-based, of every value and every key by its path from the root."""

    def __init__(self, file: str, data: Any) -> None:
        self.file, self.data = file, data
        self.marks: dict[Path, tuple[int, int]] = {}
        self.key_marks: dict[Path, tuple[int, int]] = {}

    def where(self, path: Path) -> tuple[int, int]:
        """The place of the node at `path`, or of its nearest ancestor that has one."""
        while path and path not in self.marks:
            path = path[:-1]
        return self.marks.get(path, (1, 1))

    def problem(self, path: Path, what: str, mend: str = "") -> Problem:
        return Problem(self.file, *self.where(path), what, mend)

    def key_problem(self, path: Path, what: str, mend: str = "") -> Problem:
        """A problem of the key itself, not of what stands under it."""
        return Problem(self.file, *(self.key_marks.get(path) or self.where(path)), what, mend)


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]  # which one depends on how PyYAML was built
    """Only parses; every scalar stays text until `_Builder` reads it."""

    yaml_implicit_resolvers: ClassVar[dict[str, Any]] = {}


def read(text: bytes | str, file: str) -> Document:
    """Parse one document. Raises KnowledgeError with every problem found."""
    document = Document(file, None)
    problems: list[Problem] = []
    decoded = _decode(text, file)
    _refuse_anchors_and_tags(decoded, file)
    try:
        node = yaml.compose(decoded, Loader=_Loader)
    except yaml.YAMLError as error:
        raise KnowledgeError(_from_yaml_error(error, file)) from None
    if node is None:
        raise KnowledgeError(Problem(file, 1, 1, "the file is empty", "Write the entry, or remove the file."))
    document.data = _Builder(document, problems).build(node, (), 1)
    if problems:
        raise KnowledgeError(*capped(problems))
    return document


def _decode(text: bytes | str, file: str) -> str:
    if isinstance(text, str):
        text = text.encode("utf-8")
    if len(text) > MAX_BYTES:
        raise KnowledgeError(
            Problem(file, 0, 0, f"the file has {len(text)} bytes; at most {MAX_BYTES} are read", "Split it.")
        )
    if text.startswith(b"\xef\xbb\xbf"):
        raise KnowledgeError(Problem(file, 1, 1, "the file starts with a byte order mark", "Save it as plain UTF-8."))
    try:
        return text.decode("utf-8")
    except UnicodeDecodeError as error:
        line = text[: error.start].count(b"\n") + 1
        raise KnowledgeError(Problem(file, line, 1, "not UTF-8 text", "Save the file as UTF-8.")) from None


def _refuse_anchors_and_tags(text: str, file: str) -> None:
    """Aliases can make a small file explode and hide which fact stands where; tags can name code."""
    if not any(mark in text for mark in "&*!%"):
        return
    problems: list[tuple[Any, str, str]] = []  # with the marks of PyYAML
    try:
        for event in yaml.parse(text, Loader=_Loader):
            mark = event.start_mark
            if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
                problems.append((mark, "anchors and aliases (& and *) are not read", "Write the value out."))
            elif tag := getattr(event, "tag", None):
                problems.append((mark, f"the tag {tag} is not read", "Remove it; plain words and numbers only."))
            elif isinstance(event, yaml.DocumentStartEvent) and (event.version or event.tags):
                problems.append((mark, "directives (%) are not read", "Remove the line."))
    except yaml.YAMLError as error:
        raise KnowledgeError(_from_yaml_error(error, file)) from None
    if problems:
        raise KnowledgeError(*capped(Problem(file, m.line + 1, m.column + 1, what, mend) for m, what, mend in problems))


def _from_yaml_error(error: yaml.YAMLError, file: str) -> Problem:
    mark = getattr(error, "problem_mark", None)
    what = getattr(error, "problem", None) or str(error).splitlines()[0]
    mend = "Check the indentation, and quote text that holds a colon, a # or a leading quote."
    return Problem(
        file, mark.line + 1 if mark else 0, mark.column + 1 if mark else 0, f"not readable as YAML: {what}", mend
    )


class _Builder:
    def __init__(self, document: Document, problems: list[Problem]) -> None:
        self.document, self.problems = document, problems

    def complain(self, node: yaml.Node, what: str, mend: str) -> None:
        mark = node.start_mark
        self.problems.append(Problem(self.document.file, mark.line + 1, mark.column + 1, what, mend))

    def build(self, node: yaml.Node, path: Path, depth: int) -> Any:
        self.document.marks[path] = (node.start_mark.line + 1, node.start_mark.column + 1)
        if depth > MAX_DEPTH:
            self.complain(node, f"nested more than {MAX_DEPTH} deep", "Flatten it.")
            return None
        if isinstance(node, yaml.ScalarNode):
            return self.scalar(node)
        if isinstance(node, yaml.SequenceNode):
            return [self.build(item, (*path, i), depth + 1) for i, item in enumerate(node.value)]
        return self.mapping(node, path, depth)  # type: ignore[arg-type]  # there is no fourth kind of node

    def mapping(self, node: yaml.MappingNode, path: Path, depth: int) -> dict[str, Any]:
        built: dict[str, Any] = {}
        lines: dict[str, int] = {}
        for key_node, value_node in node.value:
            if not isinstance(key_node, yaml.ScalarNode):
                self.complain(key_node, "a key must be a plain word", "Write `key: value`.")
                continue
            key = key_node.value
            if key in built:
                self.complain(
                    key_node,
                    f"the key `{key}` stands twice, first on line {lines[key]}",
                    "Keep one of them; YAML readers silently drop the other.",
                )
                continue
            lines[key] = key_node.start_mark.line + 1
            self.document.key_marks[(*path, key)] = (lines[key], key_node.start_mark.column + 1)
            built[key] = self.build(value_node, (*path, key), depth + 1)
        return built

    def scalar(self, node: yaml.ScalarNode) -> Any:
        text = node.value
        if node.style:  # quoted or a block: text, whatever it looks like
            return text
        if text in _NULL:
            return None
        if text in _BOOL:
            return _BOOL[text]
        if _INTEGER.fullmatch(text):
            return int(text) if len(text) < 19 else text
        if _SURPRISING.fullmatch(text):
            self.complain(
                node,
                f"`{text}` unquoted is read differently by different YAML readers (as a truth value, a time, a date, an octal or an exponent)",
                f'Write "{text}" in quotes if text is meant, or true/false or a plain number.',
            )
        elif _FLOAT.fullmatch(text):
            return float(text)
        return text
