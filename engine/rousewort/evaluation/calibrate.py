"""How far to trust what relatives say: every species is hidden in turn and predicted from its genus and family.

Three things are compared with what is known of the hidden species: its dormancy class (and level), the sequence of
its plan, and whether coat, cold and warm treatments are given as its sources say. Plain baselines stand beside each.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from rousewort.base.parallel import map_on_cores
from rousewort.evaluation.agreement import claims, gives
from rousewort.knowledge.kinds import Kinds
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.store import genus_of
from rousewort.knowledge.summary import decide, firm
from rousewort.planning.class_estimate import estimate
from rousewort.planning.plan import Plan, Planner

# Lower ends of the rows of the reliability table.
CHANCES = (0.0, 0.5, 0.7, 0.9)


@dataclass(frozen=True)
class Trial:
    """One hidden species beside what its relatives say. `word` is its class as known, firm if a source states it."""

    species: str
    family: str
    word: str | None
    firm: bool
    level: str | None
    chances: Mapping[str, float]
    rank: str
    planned: str | None
    planned_level: str | None
    basis: str
    outcome: str
    sequence: tuple[str, ...]
    own_sequence: tuple[str, ...]
    own_basis: str
    gives: Mapping[str, float]
    wanted: Mapping[str, bool]

    @property
    def genus(self) -> str:
        return genus_of(self.species)

    @property
    def best(self) -> str:
        return next(iter(self.chances))


def leave_species_out(
    kb: KnowledgeBase, engine: str = "plain", progress: Callable[[int, int], None] | None = None
) -> list[Trial]:
    """Hide every species in turn. The shares at large, too, are counted without it."""
    names = kb.names()
    hide = partial(_try, shares=class_counts(kb))
    trials = []
    for done, trial in enumerate(map_on_cores(Planner, (kb, engine), hide, names), 1):
        if progress:
            progress(done, len(names))
        trials.append(trial)
    return trials


def class_counts(kb: KnowledgeBase) -> Counter[str]:
    """Species of each class at large; one added to each, so that none is impossible."""
    counts = Counter(dict.fromkeys(kb.vocabulary.classes, 1))
    counts.update(word for name in kb.names() for word in [_word(kb, name, kb.vocabulary.class_key)] if word)
    return counts


def _try(known: Planner, name: str, shares: Counter[str]) -> Trial:
    kb = known.kb
    family = kb.taxon(name)["family"]  # type: ignore[index]
    word = _word(kb, name, kb.vocabulary.class_key)
    prior = shares - Counter([word]) if word else shares
    rest = kb.without(species=name)
    found = estimate(rest, genus_of(name), family, prior=prior)
    plan = Planner(rest, known.engine).plan_for(Match(name, name, "genus", genus=genus_of(name), family=family))
    own = known.plan_for(Match(name, name, "accepted"))  # without genus and family: from its own facts alone
    stated = [s for s in kb.taxon(name).get("traits", {}).get(kb.vocabulary.class_key, ()) if firm(s)]  # type: ignore[union-attr]
    wanted, kinds = _wanted(kb, name), kb.vocabulary.kinds
    return Trial(
        species=name,
        family=family,
        word=decide(stated)[0] if stated else word,
        firm=bool(stated),
        level=next((level for key in kb.vocabulary.level_keys for level in [_word(kb, name, key)] if level), None),
        chances=found.chances,
        rank=found.rank,
        planned=plan.facts.dormancy,
        planned_level=next(
            (level for key in kb.vocabulary.level_keys for level in [plan.facts.word(key)] if level), None
        ),
        basis=plan.basis["kind"],
        outcome=plan.outcome,
        sequence=sequence(kinds, plan),
        own_sequence=sequence(kinds, own),
        own_basis=own.basis["kind"],
        gives={what: gives(kinds, plan, what) for what in wanted},
        wanted=wanted,
    )


def _word(kb: KnowledgeBase, name: str, key: str) -> str | None:
    words = (kb.store.summary(name) or {}).get("traits", {}).get(key)
    return words[0][0] if words else None


def _wanted(kb: KnowledgeBase, name: str) -> dict[str, bool]:
    """Treatment → give it or leave it, where most of the species' sources agree."""
    made = {}
    for what in kb.vocabulary.kinds.claims:
        votes = [claim.give[what] for claim in claims(kb, name) if what in claim.give]
        if 2 * sum(votes) != len(votes):
            made[what] = 2 * sum(votes) > len(votes)
    return made


def sequence(kinds: Kinds, plan: Plan) -> tuple[str, ...]:
    """Coat, cold and warm treatments of a plan in order; optional steps are left out."""
    order: list[str] = []
    for step in plan.steps:
        what = kinds.claim(step.kind, step.removes)
        if what and not step.optional and order[-1:] != [what]:
            order.append(what)
    return tuple(order)


# --- figures


def brier(chances: Mapping[str, float], word: str) -> float:
    """Sum over classes of (chance − outcome)²: 0 is best, 2 worst."""
    return sum((chance - (w == word)) ** 2 for w, chance in chances.items()) + (word not in chances)


def shares_by(trials: Sequence[Trial], kind: str) -> Callable[[Trial], dict[str, float]]:
    """A plain baseline: the shares of classes at large (`overall`), in the family, or in the genus, each without the
    hidden species; where a group has none, those of the next wider one."""
    groups = {
        "overall": [lambda t: ""],
        "family": [lambda t: t.family, lambda t: ""],
        "genus": [lambda t: t.genus, lambda t: t.family, lambda t: ""],
    }[kind]
    return _shares_by([(t, t.word) for t in trials if t.word], groups)


def _shares_by(
    pairs: Iterable[tuple[Trial, Any]], groups: Sequence[Callable[[Trial], str]]
) -> Callable[[Trial], dict[Any, float]]:
    counts: dict[str, Counter[str]] = {}
    value_of = {}
    for trial, value in pairs:
        value_of[trial.species] = value
        for group in groups:
            counts.setdefault(group(trial), Counter())[value] += 1

    def shares(trial: Trial) -> dict[Any, float]:
        for group in groups:
            left = counts.get(group(trial), Counter()).copy()
            if trial.species in value_of:
                left[value_of[trial.species]] -= 1
            left = +left
            if left:
                return {v: n / left.total() for v, n in sorted(left.items(), key=lambda item: (-item[1], str(item[0])))}
        return {}

    return shares


def _likeliest(shares: Callable[[Trial], dict[Any, float]], trial: Trial) -> Any:
    return next(iter(shares(trial)), ())


def class_figures(trials: Sequence[Trial], judged: Sequence[Trial]) -> dict[str, dict[str, float]]:
    """Accuracy and Brier score of Rousewort and of the baselines on `judged`; `trials` are what baselines count."""
    rows: dict[str, Callable[[Trial], Mapping[Any, float]]] = {"rousewort": lambda t: t.chances}
    rows |= {kind: shares_by(trials, kind) for kind in ("overall", "family", "genus")}
    return {
        name: {
            "tried": len(judged),
            "right": sum(next(iter(made(t)), None) == t.word for t in judged),
            "brier": round(sum(brier(made(t), t.word or "") for t in judged) / max(len(judged), 1), 4),
        }
        for name, made in rows.items()
    }


def reliability(judged: Sequence[Trial]) -> list[dict[str, Any]]:
    """Rows by the chance given to the likeliest class: how many, the mean chance, and how often it was right."""
    rows = []
    for low, high in _ends():
        here = _between(judged, low, high)
        mean = sum(t.chances[t.best] for t in here) / len(here) if here else None
        right = sum(t.best == t.word for t in here)
        row = {"from": low, "to": min(high, 1.0), "right": right, "tried": len(here)}
        rows.append({**row, "mean": mean and round(mean, 3)})
    return rows


def sequence_figures(trials: Sequence[Trial]) -> dict[str, dict[str, int]]:
    """How often the sequence from relatives is that of the plan from the species' own facts alone, where its class or
    what its sources say of coat, cold or warmth decides that. Baselines take the plans of relatives as given.

    `said`: those of which Rousewort makes a plan and does not say that it is not known; `right_said`: right among them.
    """
    judged = [t for t in trials if t.own_basis == "species" and (t.word or t.wanted)]
    pairs = [(t, t.own_sequence) for t in trials]
    baselines = {
        "overall": _shares_by(pairs, [lambda t: ""]),
        "family": _shares_by(pairs, [lambda t: t.family, lambda t: ""]),
        "genus": _shares_by(pairs, [lambda t: t.genus, lambda t: t.family, lambda t: ""]),
    }
    made: dict[str, Callable[[Trial], Any]] = {"rousewort": lambda t: t.sequence}
    made |= {kind: partial(_likeliest, shares) for kind, shares in baselines.items()}
    said = [t for t in judged if t.outcome != "unknown"]
    return {
        kind: {
            "right": sum(of(t) == t.own_sequence for t in judged),
            "tried": len(judged),
            "right_said": sum(of(t) == t.own_sequence for t in said),
            "said": len(said),
        }
        for kind, of in made.items()
    }


def treatment_figures(trials: Sequence[Trial]) -> dict[str, dict[str, float]]:
    """Per treatment: of what sources give, how much the plan from relatives gives; of what they leave, how much it
    leaves. Sources mention a treatment mostly when they give it, so the two are told apart; `even` is their mean."""
    table = {}
    for what in sorted({what for t in trials for what in t.wanted}):
        of = [(t.gives[what], t.wanted[what]) for t in trials if what in t.wanted]
        give, leave = [g for g, wanted in of if wanted], [1 - g for g, wanted in of if not wanted]
        table[what] = {"given": sum(give), "to_give": len(give), "left": sum(leave), "to_leave": len(leave)}
        table[what]["even"] = round((sum(give) / max(len(give), 1) + sum(leave) / max(len(leave), 1)) / 2, 3)
    return table


def level_figures(trials: Sequence[Trial]) -> dict[str, int]:
    """The level, where it is known and the class was right."""
    judged = [t for t in trials if t.level and t.planned == t.word]
    said = [t for t in judged if t.planned_level]
    return {"right": sum(t.planned_level == t.level for t in said), "said": len(said), "tried": len(judged)}


def _ends() -> list[tuple[float, float]]:
    return list(zip(CHANCES, (*CHANCES[1:], 1.1), strict=True))


def _between(trials: Sequence[Trial], low: float, high: float) -> list[Trial]:
    return [t for t in trials if low <= t.chances[t.best] < high]


def figures(trials: Sequence[Trial]) -> dict[str, Any]:
    """Everything that `rousewort calibrate` prints, as plain data."""
    stated = [t for t in trials if t.word and t.firm]
    classed = [t for t in trials if t.word]
    by_rank = {rank: [t for t in stated if t.rank == rank] for rank in ("genus", "family", "none")}
    return {
        "classes": class_figures(trials, stated),
        "classes_with_inferred": class_figures(trials, classed),
        "by_rank": {rank: class_figures(trials, judged) for rank, judged in by_rank.items() if judged},
        "reliability": reliability(stated),
        "planned_class": {
            "right": sum(t.planned == t.word for t in stated),
            "blank": sum(t.planned is None for t in stated),
            "tried": len(stated),
        },
        "levels": level_figures(stated),
        "sequences": sequence_figures(trials),
        "treatments": treatment_figures(trials),
    }


def table(trials: Sequence[Trial], counts: Counter[str]) -> dict[str, Any]:
    """What kb/calibration.yaml holds of this: shares at large, and the reliability of class chances."""
    made = figures(trials)
    total = counts.total()
    rows = [{key: row[key] for key in ("from", "to", "right", "tried")} for row in made["reliability"]]
    return {
        "prior": {word: round(n / total, 3) for word, n in counts.items()},
        "class_by_chance": rows,
    }
