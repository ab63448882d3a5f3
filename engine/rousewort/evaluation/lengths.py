"""How good planned lengths of cold are, on trials that the plan did not know; and the fit of what they rest on.

A trial counted seed of one lot after several lengths of cold, none among them. Works, then whole genera, are left out in turn:
entries, fitted shares and all that is pooled are made again without them. A length is scored by what the trial found at it (between
two lengths in a straight line; past the longest what the longest gave), less what its days cost (rousewort.planning.need).
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from random import Random
from typing import Any, NamedTuple

from rousewort.base.parallel import map_on_cores
from rousewort.knowledge.chilling import TYPES, Tried, curves, even
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.protocols import works_of
from rousewort.knowledge.store import genus_of
from rousewort.planning.amounts import quantile, reported
from rousewort.planning.facts import gather
from rousewort.planning.lengths import Share, chill, hedge
from rousewort.planning.need import DAY_COST, EVERY, USUAL_DAYS, WORTH, learnt

ROUNDS = 12  # of the fit; many more, and types that trials cannot tell apart take all from one another
USUAL_LONGEST = 0.9  # share of the lengths tried in a group that are no longer than its longest
FEWEST = 4  # studies that make a group of its own


def fit(kb: KnowledgeBase) -> dict[str, dict[str, Any]]:
    """Group of plants → {"studies", "longest", "evidence": digest, "shares": one a type}: how common each type of need for
    cold is among studies of all plants, of each class, and of each level of it (`physiological/deep`).

    The likeliest shares given every study, those of the wider group counted as WORTH["class"] studies beside them.
    """
    of_group: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for name in kb.names():
        summary = kb.store.summary(name) or {}
        dormancy, level = (_word(summary, keys) for keys in ([kb.vocabulary.class_key], kb.vocabulary.level_keys[::-1]))
        for study in summary["chilled"]:
            for group in (EVERY, dormancy, f"{dormancy}/{level}" if dormancy and level else None):
                if group:
                    of_group[group].append(study)
    table: dict[str, dict[str, Any]] = {}
    for group in sorted(of_group, key=lambda name: (name != EVERY, name.count("/"), name)):
        wider = table.get(group.partition("/")[0]) or table.get(EVERY)
        studies = of_group[group]
        if wider is None or len(studies) >= FEWEST:
            longest = [study["longest"] for study in studies if study["longest"]]
            table[group] = {
                "studies": len(studies),
                "longest": round(quantile(longest, USUAL_LONGEST))
                if len(longest) >= FEWEST or not wider
                else wider["longest"],
                "evidence": digest(studies),
                "shares": _fitted(studies, wider["shares"] if wider else even()),
            }
    return table


def _word(summary: Mapping[str, Any], keys: Iterable[str]) -> str | None:
    return next((summary["traits"][key][0][0] for key in keys if key in summary["traits"]), None)


def _fitted(studies: Sequence[Mapping[str, Any]], wider: Sequence[float]) -> list[float]:
    return [round(share, 5) for share in learnt(wider, studies, WORTH["class"], ROUNDS)]


def digest(studies: Iterable[Mapping[str, Any]]) -> str:
    """Changes whenever what the studies say does."""
    lines = sorted(f"{study.get('source')} {study['stands']} {study['longest']} {study['fits']}" for study in studies)
    return hashlib.blake2b("\n".join(lines).encode(), digest_size=6).hexdigest()


def stale(kb: KnowledgeBase) -> list[str]:
    """Groups of the shipped table that were fitted to other studies than are held now, or are missing or too many."""
    held, now = kb.store.shared("chilling"), fit(kb)
    return [g for g in sorted({*held, *now}) if held.get(g, {}).get("evidence") != now.get(g, {}).get("evidence")]


def to_csv(table: Mapping[str, Mapping[str, Any]]) -> str:
    """The table as kb/tables/chilling.csv holds it."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["group", "studies", "longest", "evidence", *(kind.word for kind in TYPES)])
    for group, row in table.items():
        shares = (f"{share:.5f}".rstrip("0").rstrip(".") for share in row["shares"])
        writer.writerow([group, row["studies"], row["longest"], row["evidence"], *shares])
    return text.getvalue()


# --- how good lengths are on trials that the plan did not know

FOLDS = 10
LEAST_BEST = 0.1  # germination at the best length of a trial below which it says nothing of lengths
ALWAYS = (0, 60, 90, 120)
DRAWS = 1000  # of works, for intervals
USEFUL = 0.8  # of a trial's best


class Trial(NamedTuple):
    """One series of one work on one species."""

    species: str
    work: str
    series: tuple[Tried, ...]


class Curve:
    """Germination against days of cold, as a trial found it."""

    def __init__(self, series: Iterable[Tried]) -> None:
        at: dict[float, list[float]] = defaultdict(list)
        for point in series:
            at[point.days].append(point.share)
        self.points = sorted((days, sum(shares) / len(shares)) for days, shares in at.items())

    @cached_property
    def best(self) -> float:
        return max(share for _, share in self.points)

    def at(self, days: float) -> float:
        for (low, below), (high, above) in zip(self.points, self.points[1:], strict=False):
            if low <= days <= high:
                return below + (above - below) * (days - low) / (high - low)
        return self.points[-1][1]

    def score(self, days: float, later: float = 0) -> tuple[float, float]:
        """(utility, share of the best). `later`: days lost before the cold began."""
        return self.at(days) - DAY_COST * (days + later), self.at(days) / self.best

    def policy(self, shares: Iterable[Share], days: float, look_again: int) -> tuple[float, float]:
        """As `score`, of a lot in parts. A part that was left unchilled and is under half up is chilled after all."""
        utility = share = 0.0
        for part in shares:
            late = not part.days and self.at(0) < self.best / 2
            got = self.score(days, look_again) if late else self.score(part.days)
            utility, share = utility + part.share * got[0], share + part.share * got[1]
        return utility, share


def trials(kb: KnowledgeBase) -> list[Trial]:
    """Every trial with an untreated control in which any length did something."""
    found = []
    for name in kb.names():
        for protocol in (kb.taxon(name) or {}).get("protocols", ()):
            for series in curves(protocol, kb.vocabulary) if "source" in protocol else ():
                if min(p.days for p in series) == 0 and max(p.share for p in series) >= LEAST_BEST:
                    found.append(Trial(name, protocol["source"], tuple(series)))
    return found


def measure(kb: KnowledgeBase) -> dict[str, Any]:
    """{"works": …, "genera": …}: of each way of leaving out, the table of `_table`."""
    return {by: _table(_left_out(kb, by)) for by in ("works", "genera")}


def _left_out(kb: KnowledgeBase, by: str) -> list[tuple[Trial, dict[str, tuple[float, float]]]]:
    """Each trial with the (utility, share of the best) of each way to choose a length without knowing it."""
    folds = [(by, fold) for fold in range(FOLDS)]
    return [one for part in map_on_cores(_whole, (kb,), _fold, folds, least=1) for one in part]


def _whole(kb: KnowledgeBase) -> tuple[KnowledgeBase, list[Trial]]:
    return kb, trials(kb)


def _fold_of(name: str) -> int:
    return hashlib.blake2b(name.encode(), digest_size=4).digest()[0] % FOLDS


def _fold(
    prepared: tuple[KnowledgeBase, list[Trial]], task: tuple[str, int]
) -> list[tuple[Trial, dict[str, tuple[float, float]]]]:
    (kb, every), (by, fold) = prepared, task
    if by == "works":
        kept = kb.keeping(fact=lambda fact: all(_fold_of(work) != fold for work in works_of(fact)))
        held = [trial for trial in every if _fold_of(trial.work) == fold]
    else:
        kept = kb.keeping(genus=lambda genus: _fold_of(genus) != fold)
        held = [trial for trial in every if _fold_of(genus_of(trial.species)) == fold]
    kept.store.shared("chilling").update(fit(kept))
    return [(trial, _ways(kb, kept, trial)) for trial in held]


def _ways(kb: KnowledgeBase, kept: KnowledgeBase, trial: Trial) -> dict[str, tuple[float, float]]:
    family = (kb.taxon(trial.species) or {})["family"]
    facts = gather(kept, Match(trial.species, trial.species, "accepted", genus=genus_of(trial.species), family=family))
    kind = kb.vocabulary.kinds.indoors("cold")[0]
    curve, made = Curve(trial.series), chill(kept, facts)
    pooled = kept.store.group("genus", genus_of(trial.species))["doses"]
    lengths = [_middle(dose["days"]) for dose in pooled if dose["kind"] == kind and "days" in dose]
    old = reported(kept, facts, kind, ())
    scores = {f"always {days}" if days else "no cold": curve.score(days) for days in ALWAYS}
    scores["genus median"] = curve.score(quantile(lengths, 0.5) if lengths else 60)
    scores["upper quartile of reports"] = curve.score(old.use if old else 0)
    scores["Rousewort, length"] = curve.score(made.days.use)
    scores["Rousewort, policy"] = curve.policy(made.shares, made.days.use, made.look_again)
    scores["always half at 90"] = curve.policy(hedge(), USUAL_DAYS, made.look_again)
    return scores


def _middle(days: Mapping[str, Any]) -> float:
    ends = [float(end) for end in (days["low"], days["high"]) if end is not None]
    return sum(ends) / len(ends)


def _table(scored: Sequence[tuple[Trial, Mapping[str, tuple[float, float]]]]) -> dict[str, Any]:
    """{"works", "studies": numbers, "ways": {way: {"utility", "share", "useful": part of studies with USEFUL of the best or
    more, "ahead_from", "ahead_to": by how much Rousewort's length is ahead in utility, 95 in 100 draws of works}}}.

    The series of one work on one species are one study."""
    of_study: dict[tuple[str, str], list[Mapping[str, tuple[float, float]]]] = defaultdict(list)
    for trial, scores in scored:
        of_study[trial.work, trial.species].append(scores)
    studies = {
        study: {way: tuple(sum(one[way][at] for one in many) / len(many) for at in (0, 1)) for way in many[0]}
        for study, many in of_study.items()
    }
    of_work: dict[str, list[Mapping[str, tuple[float, ...]]]] = defaultdict(list)
    for (work, _), means in studies.items():
        of_work[work].append(means)
    ways = {}
    for way in next(iter(studies.values())):
        got = [means[way] for means in studies.values()]
        low, high = _ahead(of_work, "Rousewort, length", way)
        ways[way] = {
            "utility": round(sum(one[0] for one in got) / len(got), 3),
            "share": round(sum(one[1] for one in got) / len(got), 3),
            "useful": round(sum(one[1] >= USEFUL for one in got) / len(got), 3),
            "ahead_from": low,
            "ahead_to": high,
        }
    return {"works": len(of_work), "studies": len(studies), "ways": ways}


def _ahead(
    of_work: Mapping[str, Sequence[Mapping[str, tuple[float, ...]]]], ours: str, way: str
) -> tuple[float, float]:
    draw, works, gains = Random(1), sorted(of_work), []
    for _ in range(DRAWS):
        drawn = [means for work in draw.choices(works, k=len(works)) for means in of_work[work]]
        gains.append(sum(means[ours][0] - means[way][0] for means in drawn) / len(drawn))
    return round(quantile(gains, 0.025), 3), round(quantile(gains, 0.975), 3)
