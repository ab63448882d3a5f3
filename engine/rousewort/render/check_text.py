"""What checking found, as text with the line it speaks of, as JSON, or as annotations of a CI run. Decides nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from rousewort.base.errors import Problem
from rousewort.knowledge.doubts import Doubt
from rousewort.render.terminal import Page

LONGEST_LINE = 100


def shown(file: str) -> str:
    """A path as the user would write it: from where they are, if it is below."""
    path, here = Path(file), Path.cwd()
    return str(path.relative_to(here)) if path.is_absolute() and path.is_relative_to(here) else file


def as_text(problems: Sequence[Problem], doubts: Sequence[Doubt], page: Page) -> str:
    """Problems, then doubts, each with place, offending line, what is wrong, why, and what to write."""
    lines = _Lines()
    for problem in problems:
        _one(page, problem, page.style("error", "1;31"), "", lines)
    for doubt in doubts:
        level = page.quiet(f"judged ({doubt.code})") if doubt.judged else page.warn(f"doubt ({doubt.code})")
        _one(page, doubt.problem, level, doubt.why, lines, doubt.judged)
    return page.text() if page.lines else ""


def _one(page: Page, problem: Problem, level: str, why: str, lines: _Lines, judged: str = "") -> None:
    where = f"{shown(problem.file)}:{problem.line}:{problem.column}" if problem.line else shown(problem.file)
    page.blank()
    page.lines.append(f"{page.bold(where)}: {level}")
    text = lines.line(problem)
    if text:
        number = f"{problem.line:>5} | "
        start = max(0, problem.column - LONGEST_LINE + 20)
        page.lines.append(page.quiet(number) + text[start : start + LONGEST_LINE])
        page.lines.append(" " * (len(number) + problem.column - 1 - start) + page.warn("^"))
    page.say(problem.what, 2)
    if why:
        page.say(f"Why: {why}", 2)
    if judged:
        page.say(f"Judged: {judged}", 2)
    elif problem.mend:
        page.say(f"Mend: {problem.mend}", 2)


class _Lines:
    """Lines of files, each file read once."""

    def __init__(self) -> None:
        self._files: dict[str, list[str]] = {}

    def line(self, problem: Problem) -> str:
        if not problem.line:
            return ""
        if problem.file not in self._files:
            try:
                self._files[problem.file] = Path(problem.file).read_text("utf-8", errors="replace").splitlines()
            except OSError:
                self._files[problem.file] = []
        lines = self._files[problem.file]
        return lines[problem.line - 1] if problem.line <= len(lines) else ""


def as_json(problems: Sequence[Problem], doubts: Sequence[Doubt]) -> list[dict[str, Any]]:
    """One list: level (error, doubt, judged), code, file, line and column (1-based; 0 the whole file), what, why, mend;
    where it was judged, the mend is the reason why it stands.
    """
    rows = [("error", "error", p, "") for p in problems]
    rows += [
        ("judged" if d.judged else "doubt", d.code, d.problem._replace(mend=d.judged or d.problem.mend), d.why)
        for d in doubts
    ]
    return [
        {
            "level": level,
            "code": code,
            "file": shown(p.file),
            "line": p.line,
            "column": p.column,
            "what": p.what,
            "why": why,
            "mend": p.mend,
        }
        for level, code, p, why in rows
    ]


def as_annotations(problems: Sequence[Problem], doubts: Sequence[Doubt]) -> str:
    """Workflow commands (`::error file=…`), which several CI systems show beside the line."""
    return "".join(
        f"::{'error' if row['level'] == 'error' else 'warning'} file={_property(row['file'])},line={max(row['line'], 1)},"
        f"col={max(row['column'], 1)},title={_property(row['code'])}::"
        + _message(" ".join(part for part in (_sentence(row["what"]), row["why"], row["mend"]) if part))
        + "\n"
        for row in as_json(problems, doubts)
    )


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else f"{text}."


def _message(text: str) -> str:
    return text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _property(text: str) -> str:
    return _message(text).replace(":", "%3A").replace(",", "%2C")


def counted(doubts: Sequence[Doubt], codes: Mapping[str, Mapping[str, Any]]) -> str:
    """`   12  far-number: …`, a line a code, the most frequent first."""
    counts = {code: sum(d.code == code for d in doubts) for code in codes}
    order = sorted((code for code in codes if counts[code]), key=lambda code: -counts[code])
    return "\n".join(f"  {counts[code]:>5}  {code}: {codes[code]['means']}" for code in order)
