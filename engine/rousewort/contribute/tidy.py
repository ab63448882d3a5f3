"""A file in its one canonical form, with its comments.

A comment of its own line stays above what it stood above; one at the end of a line moves above that line. Where a
comment cannot be placed so, the file is left as it is and the reason is told.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import yaml

from rousewort.base.errors import KnowledgeError, Problem
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.check import kind_of
from rousewort.knowledge.strict_yaml import Document, read
from rousewort.knowledge.strict_yaml import Path as Keys

Place = tuple[int, int]
SCHEMA_LINE = "# yaml-language-server: $schema="


def tidy(text: str | bytes, file: str, schema: str | None = None) -> str:
    """The canonical text. `schema`: what the first line should point editors to, where it does not point anywhere yet.

    Raises KnowledgeError for text that cannot be read, or whose comments would be lost.
    """
    document = read(text, file)
    plain = text.decode("utf-8") if isinstance(text, bytes) else text
    plain = plain.replace("\r\n", "\n")
    made = dump(document.data)
    head = "".join(line for line in plain.splitlines(keepends=True) if line.startswith("#"))
    if head + made == plain and (schema is None or SCHEMA_LINE in head):
        return plain  # most files are in form already, and this is quick to see
    comments = list(_comments(plain))
    if comments:
        targets = list(_targets(comments, document))
        opened = {keys[:-1] for _, keys in targets if keys}
        made = _with_comments(dump(document.data, opened=opened), targets, document.file)
        _same(made, comments, document)
    if schema and SCHEMA_LINE not in made:
        made = f"{SCHEMA_LINE}{schema}\n{made}"
    return made


def schema_for(path: Path, root: Path) -> str | None:
    """What the first line of an entry points to: the schema beside it, where there is one."""
    kind = kind_of(path.relative_to(root).as_posix())
    if kind is None or not (root / "schema" / f"{kind}.schema.yaml").exists():
        return None
    return "../" * (len(path.relative_to(root).parts) - 1) + f"schema/{kind}.schema.yaml"


def _comments(text: str) -> Iterator[tuple[Place, str, bool]]:
    """Every comment: a # at the start of a line or after a space, outside every scalar."""
    scalars = []
    for token in yaml.scan(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader)):
        if isinstance(token, yaml.ScalarToken):
            end = token.end_mark
            if token.style in ("|", ">"):  # its end mark stands before the next token; its content ends earlier
                end_line = token.start_mark.line + 1
                lines = text.splitlines()
                inner = next((len(x) - len(x.lstrip()) for x in lines[end_line : end.line] if x.strip()), 0)
                while end_line < end.line and (
                    not lines[end_line].strip() or lines[end_line].startswith(" " * max(inner, 1))
                ):
                    end_line += 1
                scalars.append(((token.start_mark.line + 1, 0), (end_line, 0)))
            else:
                scalars.append(((token.start_mark.line, token.start_mark.column), (end.line, end.column)))
    for number, line in enumerate(text.splitlines()):
        for column, letter in enumerate(line):
            free = letter == "#" and (column == 0 or line[column - 1] in " \t")
            if free and not any(start <= (number, column) < end for start, end in scalars):
                yield (number + 1, column + 1), line[column:].rstrip(), not line[:column].strip()
                break


def _targets(comments: list[tuple[Place, str, bool]], document: Document) -> Iterator[tuple[str, Keys | None]]:
    """Each comment with the key or item that it stands above or beside; None at the end of the file."""
    order = sorted(((place, keys) for keys, place in _places(document)), key=lambda item: (item[0], len(item[1])))
    for place, words, alone in comments:
        if alone:
            yield words, next((k for p, k in order if p > place), None)
        else:
            beside = next((k for p, k in order if p[0] == place[0]), None)
            yield words, beside or next((k for p, k in reversed(order) if p < place), None)


def _with_comments(made: str, targets: list[tuple[str, Keys | None]], file: str) -> str:
    places = dict(_places(read(made, file)))
    lines = made.splitlines()
    above: dict[int, list[str]] = {}
    for words, keys in targets:
        at = _line_of(keys, places, lines) if keys else len(lines) + 1
        above.setdefault(at, []).append(words)
    out: list[str] = []
    for number, line in enumerate([*lines, ""], 1):
        indent = " " * (len(line) - len(line.lstrip()))
        out += [indent + words for words in above.get(number, ())]
        out.append(line)
    return "\n".join(out)


def _places(document: Document) -> Iterator[tuple[Keys, Place]]:
    """Where every key and every item of a list starts."""
    yield from document.key_marks.items()
    yield from ((keys, place) for keys, place in document.marks.items() if keys and isinstance(keys[-1], int))


def _line_of(keys: Keys, places: dict[Keys, Place], lines: list[str]) -> int:
    """The line of a key or item, or of the nearest one around it that begins its line."""
    while keys:
        line, column = places[keys]
        if not lines[line - 1][: column - 1].strip(" -"):
            return line
        keys = keys[:-1]
    return 1


def _same(made: str, comments: list[tuple[Place, str, bool]], document: Document) -> None:
    """Nothing may be lost or changed; where it would be, the person decides."""
    lost = [(place, words) for place, words, _ in comments]
    try:
        again = read(made, document.file).data == document.data
        for _, words, _ in _comments(made):
            lost.remove(next(item for item in lost if item[1] == words))
    except (KnowledgeError, StopIteration):
        again = False
    if lost or not again:
        place = lost[0][0] if lost else (0, 0)
        raise KnowledgeError(
            Problem(
                document.file,
                *place,
                "this comment has no place in the canonical form",
                "Move it to a line of its own above an entry's key, or into a `note`.",
            )
        )
