"""How often claims of plans were right, by what they rest on: every work hidden in turn, and asked what it says.

A fold is a work: hidden, it leaves every entry that carries it, and genus and family are reckoned without it. Each species
that it speaks of is planned twice: as its entry then stands, which tries claims on the species' own evidence; and with the
species hidden too, which tries what kin tell. Asked are works that were read or are a published table; what is only
recalled proves nothing. A length is right within a sixth of the range that the hidden work gives.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from rousewort.base.parallel import map_on_cores
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.store import genus_of
from rousewort.planning.claims import FEWEST_TRIALS, Rated, Vote, rated, votes_on
from rousewort.planning.plan import Planner

NEAR = 1 / 6  # by how much of it a length may miss the hidden work's range
DRAWS, SEED = 400, 20261201  # of works, for the intervals
DRAWN = 10  # each row of the record is drawn towards the row above it as if so many of that row's trials were its own
CERTAIN = (0.0, 0.6, 0.7, 0.8, 0.9)  # lower ends of the rows of the reliability table


class ClaimTrial(NamedTuple):
    """One claim of a plan beside what the hidden work says. `keys`: as in `Rated`."""

    work: str
    species: str
    about: str
    keys: tuple[tuple[str, ...], ...]
    right: bool


def try_claims(
    kb: KnowledgeBase, engine: str = "plain", progress: Callable[[int, int], None] | None = None
) -> list[ClaimTrial]:
    """Every claim that a hidden work can judge."""
    tasks: dict[str, list[tuple[str, list[Vote]]]] = defaultdict(list)
    for name in kb.names():
        told: dict[str, list[Vote]] = defaultdict(list)
        for vote in votes_on(kb, kb.taxon(name)):
            if vote.source and vote.ground != "recalled":
                told[vote.source].append(vote)
        for work, votes in told.items():
            tasks[work].append((name, votes))
    made = []
    for done, trials in enumerate(map_on_cores(Planner, (kb, engine), _hide, sorted(tasks.items()), least=10), 1):
        if progress:
            progress(done, len(tasks))
        made += trials
    return made


def _hide(known: Planner, task: tuple[str, list[tuple[str, list[Vote]]]]) -> list[ClaimTrial]:
    work, species = task
    rest = known.kb.without(source=work)
    own = known.kb.vocabulary.files["claims"]["grounds"]
    made = []
    for name, votes in species:
        family = (known.kb.taxon(name) or {}).get("family")
        for kb, by, on_species in ((rest, "accepted", True), (rest.without(species=name), "genus", False)):
            plan = Planner(kb, known.engine).plan_for(Match(name, name, by, genus=genus_of(name), family=family))
            if plan.outcome != "plan":
                continue
            claims = [c for c in rated(kb, plan.facts, plan.steps) if bool(own[c.ground].get("own")) == on_species]
            made += [
                ClaimTrial(work, name, claim.about, claim.keys, right)
                for claim in claims
                for right in _judged(kb, claim, votes)
            ]
    return made


def _judged(kb: KnowledgeBase, claim: Rated, votes: Iterable[Vote]) -> Iterable[bool]:
    """Whether the hidden work bears a claim out; nothing where it does not speak of it."""
    questions = kb.vocabulary.files["claims"]["questions"]
    lasting = {question.get("lasting"): about for about, question in questions.items()}
    for vote in votes:
        if claim.about in lasting and vote.about == lasting[claim.about] and vote.days and isinstance(claim.says, int):
            low, high = vote.days
            yield low * (1 - NEAR) <= claim.says <= high * (1 + NEAR)
        elif vote.about == claim.about:
            says = vote.says if isinstance(vote.says, bool) else kb.vocabulary.classes[vote.says]["short"]
            yield says == claim.says


# --- figures


Counts = Mapping[tuple[str, ...], Sequence[int]]  # key → right, tried


def drawn(key: tuple[str, ...], keys: Iterable[tuple[str, ...]], counts: Counts) -> float | None:
    """The share of claims of a key that were right, each row drawn towards the one above it; None without any trial."""
    share = None
    for above in keys:
        right, tried = counts.get(above, (0, 0))
        if tried:
            share = right / tried if share is None else (right + DRAWN * share) / (tried + DRAWN)
        if above == key:
            break
    return share


def counted(trials: Iterable[ClaimTrial]) -> dict[str, dict[tuple[str, ...], list[int]]]:
    """Work → key → right and tried."""
    by_work: dict[str, dict[tuple[str, ...], list[int]]] = defaultdict(lambda: defaultdict(lambda: [0, 0]))
    for trial in trials:
        for key in trial.keys:
            by_work[trial.work][key][0] += trial.right
            by_work[trial.work][key][1] += 1
    return by_work


def _summed(works: Iterable[Counts]) -> dict[tuple[str, ...], list[int]]:
    made: dict[tuple[str, ...], list[int]] = defaultdict(lambda: [0, 0])
    for counts in works:
        for key, (right, tried) in counts.items():
            made[key][0] += right
            made[key][1] += tried
    return made


def table_of(trials: Sequence[ClaimTrial]) -> list[dict[str, Any]]:
    """The rows of kb/calibration.yaml: {"of": parts of the key with / between them, "right", "tried", "share", "low", "high"}.

    `share` is drawn towards the row above; low and high are the middle 95 % of it when works are drawn again.
    """
    chains = {key: trial.keys for trial in trials for key in trial.keys}
    works, chance = list(counted(trials).values()), random.Random(SEED)
    shares: dict[tuple[str, ...], list[float]] = defaultdict(list)
    for _ in range(DRAWS):
        counts = _summed(chance.choices(works, k=len(works)))
        for key, keys in chains.items():
            if (share := drawn(key, keys, counts)) is not None:
                shares[key].append(share)
    rows, counts = [], _summed(works)
    for key in sorted(chains):
        right, tried = counts[key]
        low, high = _middle(shares[key])
        share = min(max(round(drawn(key, chains[key], counts) or 0.0, 2), 0.01), 0.99)  # nothing is certain
        rows.append({"of": "/".join(key), "right": right, "tried": tried, "share": share, "low": low, "high": high})
    return rows


def _middle(shares: list[float]) -> tuple[float, float]:
    """Between which the middle 95 % lie."""
    ordered, out = sorted(shares), len(shares) // 40
    return min(round(ordered[out], 2), 0.99), round(ordered[-1 - out], 2)


def interval(trials: Sequence[ClaimTrial]) -> tuple[float, float]:
    """The middle 95 % of shares when works are drawn again, with as many as there are."""
    works = [counts["",] for counts in counted([trial._replace(keys=(("",),)) for trial in trials]).values()]
    chance = random.Random(SEED)
    shares = []
    for _ in range(DRAWS):
        of = chance.choices(works, k=len(works))
        shares.append(sum(right for right, _ in of) / sum(tried for _, tried in of))
    return _middle(shares)


def foretold(trials: Sequence[ClaimTrial]) -> list[tuple[ClaimTrial, float | None, float]]:
    """Each trial with the figure that its claim would carry, and with one constant figure for all claims about the same,
    both reckoned without its own work."""
    by_work = counted(trials)
    whole = _summed(by_work.values())
    made = []
    for trial in trials:
        own = by_work[trial.work]
        counts = {key: [whole[key][0] - own[key][0], whole[key][1] - own[key][1]] for key in trial.keys}
        right, tried = counts[trial.keys[0]]
        share = drawn(trial.keys[-1], trial.keys, counts) if tried >= FEWEST_TRIALS else None
        made.append((trial, share, right / max(tried, 1)))
    return made


def claim_scores(trials: Sequence[ClaimTrial]) -> dict[str, dict[str, Any]]:
    """About what → {"tried", "right", "measured": of those with a figure, "brier" of the figures, "constant": Brier of one figure
    for all claims about the same; of "all", of one figure for every claim}."""
    told: dict[str, list[tuple[ClaimTrial, float | None, float]]] = defaultdict(list)
    one = sum(trial.right for trial in trials) / max(len(trials), 1)
    for trial, share, constant in foretold(trials):
        told[trial.about].append((trial, share, constant))
        told["all"].append((trial, share, one))
    return {about: _score(of) for about, of in sorted(told.items())}


def _score(of: Sequence[tuple[ClaimTrial, float | None, float]]) -> dict[str, Any]:
    with_figure = [(trial.right, share, constant) for trial, share, constant in of if share is not None]
    n = max(len(with_figure), 1)
    return {
        "tried": len(of),
        "right": sum(trial.right for trial, _, _ in of),
        "measured": len(with_figure),
        "brier": round(sum((share - right) ** 2 for right, share, _ in with_figure) / n, 4),
        "constant": round(sum((constant - right) ** 2 for right, _, constant in with_figure) / n, 4),
    }


def claim_reliability(trials: Sequence[ClaimTrial]) -> list[dict[str, Any]]:
    """By the figure that claims carried on hidden works: how many, the mean figure, and how often they were right."""
    told = [(share, trial) for trial, share, _ in foretold(trials) if share is not None]
    rows = []
    for low, high in zip(CERTAIN, (*CERTAIN[1:], 1.1), strict=True):
        here = [(share, trial) for share, trial in told if low <= share < high]
        if here:
            right, tried = sum(trial.right for _, trial in here), len(here)
            ends = interval([trial for _, trial in here])
            mean = round(sum(share for share, _ in here) / tried, 3)
            rows.append(
                {"from": low, "to": min(high, 1.0), "mean": mean, "right": right, "tried": tried, "ends": list(ends)}
            )
    return rows
