"""What Rousewort says when something is wrong: every problem at once, each with where it is and what to write instead."""

from __future__ import annotations

from typing import NamedTuple


class Problem(NamedTuple):
    """One thing wrong in a file: where (1-based line and column, 0 = the whole file), what, and how to mend it."""

    file: str
    line: int
    column: int
    what: str
    mend: str = ""

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        return f"{where}: {self.what}" + (f"\n    {self.mend}" if self.mend else "")


class UserError(Exception):
    """A mistake of the user's, or in a file of theirs. Holds all problems found; shown without a traceback."""

    exit_code = 2

    def __init__(self, *problems: str | Problem) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = list(problems)


class KnowledgeError(UserError):
    """The knowledge base does not pass its checks."""

    exit_code = 1


class RuleFault(Exception):
    """A rule or an engine failed while running: our fault, never the user's."""
