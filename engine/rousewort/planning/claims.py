"""What a plan claims, question by question: coat, cold, warm, class and lengths, each with how often such claims were right."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.facts import Facts
from rousewort.planning.steps import Step


class Claim(NamedTuple):
    """What a plan says of one question (coat, cold, warm, class, or a length), and how often such claims were right.

    `about`: as in the JSON; `says`: true or false, a word, a number of days. `right` (a share), its interval and `tried`
    are None where nothing was measured. `rests_on`: on what kind of ground, in words.
    """

    about: str
    says: bool | str | int
    rests_on: str
    right: float | None = None
    right_from: float | None = None
    right_to: float | None = None
    tried: int | None = None


def claims_of(kb: KnowledgeBase, facts: Facts, basis: str, steps: Sequence[Step], outcome: str) -> tuple[Claim, ...]:
    """What these steps say, of a plan that rests on `basis`; nothing where no plan is made."""
    return tuple(_claims(kb, facts, basis, steps)) if outcome == "plan" else ()


def _claims(kb: KnowledgeBase, facts: Facts, basis: str, steps: Sequence[Step]) -> Iterator[Claim]:
    kinds = kb.vocabulary.kinds
    for group in kinds.claims:
        given = [step for step in steps if kinds.claim(step.kind, step.removes) == group]
        yield Claim(group, any(not step.optional for step in given), basis)
        indoors = kinds.indoors(group)
        days = [step.amounts["days"].use for step in given if step.kind in indoors and "days" in step.amounts]
        if days:
            yield Claim(f"{group}_days", max(days), basis)
    for known in facts.of(kb.vocabulary.class_key):
        yield Claim("class", kb.vocabulary.classes[known.word]["short"], known.basis)
