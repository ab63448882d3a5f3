"""What a change of knowledge does to plans: which sequences or lengths differ, and which facts and rules made them differ."""

from __future__ import annotations

import io
import subprocess
import tarfile
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.base.errors import UserError
from rousewort.knowledge.build import build, with_added
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match, load
from rousewort.knowledge.spelled_out import share, spelled_out
from rousewort.knowledge.store import MemoryStore, genus_of
from rousewort.planning.plan import Plan, Planner

LEAST_SHOWN = 12  # reasons of one plan that are named; the rest are counted


class Change(NamedTuple):
    """How one species' plan differs. `what`: added, removed, outcome, sequence, numbers, words (cautions, reasons only)."""

    name: str
    what: str
    before: str
    after: str
    because: tuple[str, ...]


class Comparison(NamedTuple):
    """`compared`: species in both. `rules`, `treatments`: ids that are new (+), gone (-) or changed (~)."""

    compared: int
    changes: tuple[Change, ...]
    rules: tuple[str, ...]
    treatments: tuple[str, ...]


def compare(
    before: KnowledgeBase,
    after: KnowledgeBase,
    engine: str | None = None,
    progress: Callable[[str, int], None] | None = None,
) -> Comparison:
    """Every species' plan for a grower with the usual things, on both."""
    planners = Planner(before, engine), Planner(after, engine)
    rules = tuple(_changed({r["id"]: r for r in before.rules}, {r["id"]: r for r in after.rules}))
    treatments = tuple(_changed(before.treatments, after.treatments))
    old, new = set(before.names()), set(after.names())
    changes: list[Change] = []
    for count, name in enumerate(sorted(old | new), 1):
        if progress:
            progress("planning", count)
        plans = [_plan(p, name) if name in names else None for p, names in zip(planners, (old, new), strict=True)]
        change = difference(name, plans[0], plans[1], {r[1:] for r in rules}, {t[1:] for t in treatments})
        if change:
            changes.append(change)
    return Comparison(len(old & new), tuple(changes), rules, treatments)


def _plan(planner: Planner, name: str) -> Plan:
    record = planner.kb.taxon(name) or {}
    return planner.plan_for(Match(name, name, "accepted", genus=genus_of(name), family=record.get("family")))


def difference(
    name: str, before: Plan | None, after: Plan | None, rules: Iterable[str] = (), treatments: Iterable[str] = ()
) -> Change | None:
    """How two plans differ, or None. `rules`, `treatments`: those whose text changed, so that they can be named."""
    if before is None or after is None:
        there = before or after
        what = "removed" if after is None else "added"
        return (
            Change(name, what, line_of(before) if before else "", line_of(after) if after else "", ())
            if there
            else None
        )
    lines = line_of(before), line_of(after)
    because = tuple(_because(before, after, set(rules), set(treatments)))
    if before.outcome != after.outcome:
        return Change(name, "outcome", *lines, because)
    if [_bones(s) for s in before.steps] != [_bones(s) for s in after.steps]:
        return Change(name, "sequence", *lines, because)
    if [_numbers(s) for s in before.steps] != [_numbers(s) for s in after.steps]:
        return Change(name, "numbers", lines[0], lines[1], because)
    said = [
        (p.cautions, [(s.do, s.cautions, s.medium) for s in p.steps], [a.text for a in p.alternatives], p.ruled_out)
        for p in (before, after)
    ]
    return (
        Change(name, "words", *lines, because or ("wording, cautions or alternatives",)) if said[0] != said[1] else None
    )


def line_of(plan: Plan) -> str:
    """`nick, soak 12–24 h, cold_moist 60 (42–90) d 4 °C, sow`, or the outcome where there are no steps."""
    return ", ".join(_step_text(step) for step in plan.steps) or plan.outcome


def _step_text(step: Any) -> str:
    parts = [step.kind + ("?" if step.optional else "")]
    for unit, a in step.amounts.items():
        span = (
            ""
            if a.low == a.high == a.use
            else f" ({'…' if a.low is None else a.low}–{'…' if a.high is None else a.high})"
        )
        parts.append(f"{a.use}{span} {unit[0] if unit != 'minutes' else 'min'}")
    if step.temperature:
        use = step.temperature.use
        parts.append(f"{use['day']}/{use['night']} °C" if isinstance(use, Mapping) else f"{use} °C")
    return " ".join(parts)


def _bones(step: Any) -> tuple:
    return step.kind, step.removes, step.optional


def _numbers(step: Any) -> tuple:
    amounts = tuple((unit, a.low, a.use, a.high) for unit, a in sorted(step.amounts.items()))
    warm = step.temperature
    return amounts, (str(warm.low), str(warm.use), str(warm.high)) if warm else None


def _because(before: Plan, after: Plan, rules: set[str], treatments: set[str]) -> Iterator[str]:
    """Facts first, then rules that fire on only one side or were changed, then the ground of numbers."""
    told = list(_facts_differ(before, after)) + list(_rules_differ(before, after, rules))
    used = {s.kind for p in (before, after) for s in p.steps}
    told += [f"treatment {kind} was changed" for kind in sorted(treatments & used)]
    told += _grounds_differ(before, after)
    yield from told[:LEAST_SHOWN]
    if len(told) > LEAST_SHOWN:
        yield f"and {len(told) - LEAST_SHOWN} more"


def _facts_differ(before: Plan, after: Plan) -> Iterator[str]:
    old, new = before.facts.known, after.facts.known
    for fact in sorted({*old, *new}):
        key, word = fact
        if fact not in new:
            yield f"no longer known: {key}: {word} (was from {_from(old[fact])})"
        elif fact not in old:
            yield f"now known: {key}: {word} (from {_from(new[fact])})"
        elif old[fact].basis != new[fact].basis:
            yield f"{key}: {word} is now from {_from(new[fact])}, was from {_from(old[fact])}"


def _from(known: Any) -> str:
    cited = sorted({s["source"] for s in known.sources if "source" in s})
    return known.basis + (f", {', '.join(cited[:2])}" if cited else "")


def _rules_differ(before: Plan, after: Plan, changed: set[str]) -> Iterator[str]:
    fired = [{f.rule.data["id"]: f for f in p.findings.firings} for p in (before, after)]
    for rule in sorted({*fired[0], *fired[1]}):
        if rule not in fired[1]:
            yield f"rule {rule} no longer fires"
        elif rule not in fired[0]:
            yield f"rule {rule} now fires"
        elif rule in changed:
            yield f"rule {rule} was changed"


def _grounds_differ(before: Plan, after: Plan) -> list[str]:
    old = {s.id: s for s in before.steps}
    told = []
    for step in after.steps:
        for unit, amount in step.amounts.items():
            was = old[step.id].amounts.get(unit) if step.id in old else None
            if was and (was.low, was.use, was.high) != (amount.low, amount.use, amount.high):
                cited = sorted(
                    {s["source"] for s in amount.sources if "source" in s}
                    - {s["source"] for s in was.sources if "source" in s}
                )
                lost = sorted(
                    {s["source"] for s in was.sources if "source" in s}
                    - {s["source"] for s in amount.sources if "source" in s}
                )
                ground = f"{step.id}: {unit} from {amount.basis}" + (
                    f", was from {was.basis}" if was.basis != amount.basis else ""
                )
                told.append(
                    ground
                    + (f"; new source {', '.join(cited)}" if cited else "")
                    + (f"; no longer {', '.join(lost)}" if lost else "")
                )
    return told


def _changed(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[str]:
    for key in sorted({*old, *new}):
        if old.get(key) != new.get(key):
            yield ("+" if key not in old else "-" if key not in new else "~") + key


def with_entry(kb: KnowledgeBase, record: Mapping[str, Any]) -> KnowledgeBase:
    """The knowledge base with one entry put in, replaced, or added to."""
    store: MemoryStore = kb._memory
    made = (
        with_added(store.records[record["adds_to"]], dict(record))
        if "adds_to" in record
        else spelled_out(dict(record), kb.vocabulary)
    )
    records = share({**store.records, made["name"]: made})
    shared = {
        **store._shared,
        "genus_family": {genus_of(made["name"]): made.get("family"), **store._shared["genus_family"]},
    }
    return KnowledgeBase(MemoryStore(records, shared, kb.vocabulary))


def open_whole(folder: Path) -> KnowledgeBase:
    """A folder as a knowledge base: whole where it has a vocabulary, else laid over ours. Raises UserError."""
    if not folder.is_dir():
        raise UserError(f"There is no knowledge base folder at {folder}.")
    return KnowledgeBase(build([folder])) if (folder / "vocabulary").is_dir() else load([folder])


def committed(file: Path) -> str | None:
    """A file as it was last committed; None where it was not, or where there is no git."""
    command = ["git", "-C", str(file.resolve().parent), "show", f"HEAD:./{file.name}"]
    try:
        made = subprocess.run(command, capture_output=True, check=False)
    except OSError:
        return None
    return made.stdout.decode("utf-8", errors="replace") if made.returncode == 0 else None


@contextmanager
def at_commit(clone: Path, commit: str) -> Iterator[Path]:
    """The knowledge base of a clone as it was at a commit, in a folder that is gone afterwards. Raises UserError."""
    command = ["git", "-C", str(clone), "archive", "--format=tar", commit, "--", "."]
    try:
        made = subprocess.run(command, capture_output=True, check=False)
    except OSError as error:
        raise UserError(
            f"git cannot be run here: {error.strerror}. Compare two folders: --before DIR --after DIR"
        ) from None
    if made.returncode or commit.startswith("-"):
        raise UserError(
            f"git does not give the knowledge base at '{commit}': {made.stderr.decode(errors='replace').strip()}"
        )
    with tempfile.TemporaryDirectory(prefix="rousewort-") as name:
        with tarfile.open(fileobj=io.BytesIO(made.stdout)) as archive:
            archive.extractall(name, filter="data")
        for now in (clone / "vocabulary").glob("*.yaml"):  # a file that there was not yet: today's words do
            then = Path(name, "vocabulary", now.name)
            if then.parent.is_dir() and not then.exists():
                then.write_bytes(now.read_bytes())
        yield Path(name)
