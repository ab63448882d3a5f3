"""A trial as a draft entry for a private knowledge base: a protocol for each arm that says something, the class that it supports, and its source."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Any

from rousewort.base.atomic_write import write_atomically
from rousewort.base.errors import UserError
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.names import slug
from rousewort.observe.measures import fisher
from rousewort.observe.result import CONTROL, ArmResult, TrialResult

NOT_YET = 0.10  # a control below this share did "next to nothing"


def draft(kb: KnowledgeBase, match: Match, result: TrialResult, when: date) -> dict[str, Any]:
    """The entry as plain data in the form of kb/schema/taxon.schema.yaml. UserError where there is nothing to say."""
    protocols = list(_protocols(result, _source_id(match, when)))
    if not protocols and not result.left:
        raise UserError(
            "The trial says nothing that could be written down: no arm differs clearly and several classes fit."
        )
    known = kb.taxon(match.name or "")
    adds = bool(known and known["rank"] == "species")
    family = (known or {}).get("family") or match.family
    if not family:
        raise UserError(f"The family of {match.name} is not known here: give it with --family to write a draft.")
    head = {"name": match.name, "rank": "species", "family": family} | ({"adds_to": match.name} if adds else {})
    entry: dict[str, Any] = dict(head)
    settled = {**result.found, **{key: words[0] for key, words in result.left.items() if len(words) == 1}}
    if len(result.left.get(kb.vocabulary.class_key, ())) != 1:
        settled = {k: w for k, w in settled.items() if k not in kb.vocabulary.level_keys}
    traits = {k: w for k, w in settled.items() if k in kb.vocabulary.traits and not adds}
    if traits:
        ground = "; ".join(f"{r.arm.label} {r.roots.germinated} of {r.roots.seeds}" for r in result.arms)
        held = {"source": _source_id(match, when), "held": "read", "inferred_from": "own_trial", "note": ground}
        entry["traits"] = {k: [{"is": word, **held}] for k, word in traits.items()}
    if protocols:
        entry["protocols"] = protocols
    return entry


def _source_id(match: Match, when: date) -> str:
    letters = "".join(c if c.isascii() and c.isalnum() else "-" for c in (match.name or match.query).lower())
    return f"own-trial-{'-'.join(part for part in letters.split('-') if part)}-{when.isoformat()}"


def _protocols(result: TrialResult, source: str) -> Iterable[dict[str, Any]]:
    """The best arm that beats the control, and each single treatment that clearly made no difference, or that seed which
    came up in the control did without."""
    control = next((r for r in result.arms if r.arm.id == CONTROL), None)
    if control is None:
        return
    winners = [r for r in result.arms if r.better]
    best = _shortest_of_the_best(winners)
    used: set[str] = set()
    if best:
        used = set(best.arm.data["means"])
        yield _protocol(best, control, "needed" if control.roots.share < NOT_YET else "effective", source)
    came = "none" not in control.did
    for r in result.arms:
        kinds = r.arm.data["means"]
        if r is not control and not r.better and came and len(kinds) == 1 and not used & set(kinds):
            yield _protocol(r, control, "unneeded", source)
        elif (
            r is not control
            and not r.better
            and "none" in r.did
            and len(r.did) == 1
            and len(kinds) == 1
            and not used & set(kinds)
        ):
            yield _protocol(r, control, "useless", source)


def _shortest_of_the_best(winners: list[ArmResult]) -> ArmResult | None:
    """Of the arms that do about as well as the best (Fisher's exact test does not part them), the shortest."""
    if not winners:
        return None
    top = max(winners, key=lambda r: r.roots.share).roots
    alike = [r for r in winners if fisher(r.roots.germinated, r.roots.seeds, top.germinated, top.seeds) >= 0.05]
    return min(alike, key=lambda r: r.arm.days)


def _protocol(r: ArmResult, control: ArmResult, found: str, source: str) -> dict[str, Any]:
    """One arm beside the control, both as counts of filled seed."""
    seasons = {s["kind"]: s for s in r.arm.seasons}
    phases = []
    for kind in r.arm.data["means"]:
        days = seasons.get(kind, {}).get("days")
        phases.append({"kind": kind} | ({"days": days, "length_basis": "only_tried"} if days else {}))
    return {
        "id": f"arm-{slug(r.arm.id)}",
        "source": source,
        "held": "read",
        "design": "treatment_and_control",
        "phases": phases,
        "found": found,
        "test": {"of": "filled"},
        "results": [
            {"germinated": r.roots.germinated, "sown": r.roots.seeds},
            {"untreated": True, "germinated": control.roots.germinated, "sown": control.roots.seeds},
        ],
    }


def write_layer(
    kb: KnowledgeBase, match: Match, result: TrialResult, folder: Path, when: date, grower: str
) -> list[Path]:
    """Write the draft and its source as a private layer (`--kb FOLDER`). Never overwrites: UserError if a file is there."""
    entry = draft(kb, match, result, when)
    name = match.name or match.query
    genus = name.lower().split()[0]
    plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in name.lower())
    species = folder / "species" / genus / f"{plain}.yaml"
    sources = folder / "sources.yaml"
    there = [str(path) for path in (species, sources) if path.exists()]
    if there:
        raise UserError(
            *(f"{path} is there already and is not overwritten: choose another folder, or move it." for path in there)
        )
    species.parent.mkdir(parents=True, exist_ok=True)
    citation = f"{grower}, own germination trial of {name}, read {when.isoformat()}, not published"
    texts = {
        sources: dump({_source_id(match, when): {"citation": citation}}),
        species: "# A draft from one trial of one lot: read it over before you trust it.\n" + dump(entry),
    }
    for path, text in texts.items():
        write_atomically(path, text.encode())
    return [species, sources]
