"""The codes that batches are called by at the bench: short, typed with wet hands, read from a smeared label."""

from __future__ import annotations

import re

LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"  # no I, O or Q, which read as figures; 23, a prime
EARLIER = "[A-Z]{1,4}-"  # before the number, in ledgers of earlier versions


def code_of(number: int) -> str:
    """`7R`: the number of a batch and a letter that tells it from another batch after a slip.

    A weighted sum of the figures from the last, modulo 23: one figure mistaken, or two that changed places, gives another letter.
    """
    figures = enumerate(reversed(str(number)), 2)
    return f"{number}{LETTERS[sum(int(figure) * weight for weight, figure in figures) % len(LETTERS)]}"


def is_code(code: str, number: int) -> bool:
    """Whether a batch of this number can be called so, by this version or an earlier one."""
    return code == code_of(number) or bool(re.fullmatch(f"{EARLIER}{number}", code))


def number_in(typed: str) -> int:
    """The number in what somebody typed or scanned; -1 where there is none that a batch can have."""
    figures = re.search("[0-9]+", typed)
    return int(figures[0]) if figures and len(figures[0]) < 10 else -1
