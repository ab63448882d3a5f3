"""How sure a plan is, claim by claim, in words: what it says, how often such claims were right, on what ground."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from rousewort.planning.claims import FEWEST_TRIALS, Claim
from rousewort.planning.plan import Plan
from rousewort.planning.wording import begun

BASES = {
    "species": "from reports on the species",
    "genus": "from reports on its genus",
    "class": "as its class of dormancy has it",
    "treatment": "from general practice",
}
FEW_TRIED = re.compile(r" \(only .*\)$")  # the figure says it

AS_GOOD_AS_NOT = 0.5  # a claim that was right less often than this is called doubtful


class Sure(NamedTuple):
    """One claim of the plan and how often such claims were right.

    `about`: as in the JSON (coat, cold, cold_days …); `claim`: it in words ("Cold is needed", "60 days of cold, from reports
    on the species"); `figure`: "right in 41 of 44 (82–98 %)", None where nothing was measured; `rests_on`: on what ground.
    """

    about: str
    claim: str
    figure: str | None
    rests_on: str


def sure_of(plan: Plan) -> Iterator[Sure]:
    """What the plan asks for first, then what it leaves. An unmeasured class stands in the head already."""
    for claim in sorted(plan.claims, key=lambda claim: claim.says is False):
        figure = _figure(claim)
        if figure or claim.says != plan.dormancy["class"]:
            yield Sure(claim.about, _claim_text(plan, claim), figure, FEW_TRIED.sub("", claim.rests_on))


def _claim_text(plan: Plan, claim: Claim) -> str:
    questions = plan.facts.vocabulary.files["claims"]["questions"]
    if claim.about in questions and isinstance(claim.says, bool):
        return f"{begun(questions[claim.about]['does'])} {'is needed' if claim.says else 'is not needed'}"
    group = claim.about.removesuffix("_days")
    if claim.about != group:
        return f"{claim.says} days of {group}" + _days_from(plan, group)
    own = claim.says == plan.dormancy["class"]
    return begun(_plain_class(plan.dormancy["words"])) if own else str(claim.says)


def _days_from(plan: Plan, group: str) -> str:
    """Whence the longest step of a group has its length."""
    kinds = plan.facts.vocabulary.kinds
    days = [step.amounts["days"] for step in plan.steps if "days" in step.amounts and kinds.group(step.kind) == group]
    return f", {BASES[max(days, key=lambda amount: amount.use).basis]}" if days else ""


def _figure(claim: Claim) -> str | None:
    if claim.right is None or not claim.tried:
        return None
    interval, doubt = "", "doubtful, " if claim.right < AS_GOOD_AS_NOT else ""
    if claim.right_from is not None and claim.right_to is not None:
        interval = f"{round(claim.right_from * 100)}–{round(claim.right_to * 100)} %"
    if claim.tried < FEWEST_TRIALS:  # the share leans on all that are like it: no count of its own would say so
        return f"{doubt}right in {round(claim.right * 100)} % ({interval}; only {claim.tried} tried)"
    return f"{doubt}right in {round(claim.right * claim.tried)} of {claim.tried} ({interval})"


def _plain_class(words: str) -> str:
    """Without what explains it: that stands in the head."""
    return re.sub(r" \([^()]*\)", "", words)
