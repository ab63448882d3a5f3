"""What Rousewort says when something is wrong: every problem at once, each with where it is and what to write instead."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

MOST_TOLD = 50  # problems that are printed; the rest are counted
LONGEST = 2000  # letters of one


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


def capped(problems: Iterable[Problem]) -> list[Problem]:
    """The problems of one file, no more than a person will read, and none longer: a file may hold half a million."""
    found: list[Problem] = []
    for problem in problems:
        if len(found) == MOST_TOLD:
            found.append(
                Problem(
                    problem.file, 0, 0, f"more than {MOST_TOLD} problems; the rest are not shown", "Mend these first."
                )
            )
            break
        found.append(problem._replace(what=_at_most(problem.what), mend=_at_most(problem.mend)))
    return found


class UserError(Exception):
    """A mistake of the user's, or in a file of theirs. Holds all problems found; shown without a traceback."""

    exit_code = 2

    def __init__(self, *problems: str | Problem) -> None:
        told = [_at_most(str(problem)) for problem in problems[:MOST_TOLD]]
        left = len(problems) - len(told)
        super().__init__("\n".join([*told, *([f"… and {left} more problems like these"] if left else [])]))
        self.problems: Sequence[str | Problem] = list(problems)


def _at_most(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 100]} … {text[-90:]}"


class NotFound(UserError):
    """What was named is not there; pages answer 404 to it."""


class KnowledgeError(UserError):
    """The knowledge base does not pass its checks."""

    exit_code = 1
    problems: Sequence[Problem]


class CacheDamaged(Exception):
    """A compiled index was not as it was written. It is only a cache: whoever asked asks once more."""


class RuleFault(Exception):
    """A rule or an engine failed while running: our fault, never the user's."""
