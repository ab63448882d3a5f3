"""Plans for plants without an entry, from what their relatives share: for every genus that exists, when the handbook is built.

Such a plan depends on what genus and family lend and never on the species, so a text holds `NAME` where the plant's name
belongs, and genera that are lent the same share one text. Genera that have a page of their own carry theirs there; the others stand
in a file for each family, which a page reads when somebody asks for one of them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from rousewort.handbook import page_models
from rousewort.handbook.catalogue import WANTED, Catalogue
from rousewort.handbook.escape import as_data
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.names import fold, slug
from rousewort.planning.facts import Facts, gather
from rousewort.planning.plan import Plan
from rousewort.planning.sheet import make_sheet
from rousewort.schedule.dating import schedule

NAME = "§ §"


class Lent(NamedTuple):
    """What a family and its genera lend. `plans`: each once; `of`: name of a genus or the family → place in `plans`."""

    family: str
    plans: tuple[Plan, ...]
    of: Mapping[str, int]


def by_family(kb: KnowledgeBase) -> dict[str, list[str]]:
    """Family → its genera, all that the table of genera and the entries know, A to Z."""
    found: dict[str, list[str]] = defaultdict(list)
    for genus, family in sorted(kb.store.shared("genus_family").items()):
        found[family].append(genus)
    for family in kb.names("family"):
        found[family]  # one that is known of, with no genus in the table
    return dict(sorted(found.items()))


def lent_by(catalogue: Catalogue, family: str, genera: list[str]) -> Lent:
    """The plans of a species without entry in each of these genera of a family, and in a genus that nobody knows."""
    plans: list[Plan] = []
    places: dict[Any, int] = {}
    of: dict[str, int] = {}
    memo = catalogue.kb.memo
    matches = {family: Match(NAME, NAME, "family", family=family)}
    matches |= {genus: Match(NAME, NAME, "genus", genus=genus, family=family) for genus in genera}
    for name, match in matches.items():
        kept = len(memo)
        same = (match.matched_by, *_signature(gather(catalogue.kb, match)))
        if same not in places:
            places[same] = len(plans)
            plans.append(catalogue.planner.plan_for(match))
        of[name] = places[same]
        while match.genus and len(memo) > kept:
            memo.popitem()  # what twenty thousand genera lend, each asked once, is not worth keeping
    return Lent(family, tuple(plans), of)


def _signature(facts: Facts) -> Iterator[Any]:
    """What makes two plants of one family have the same plan: the same facts, of which the genus gives none of its own."""
    yield frozenset((known.key, known.word, known.basis, known.share) for known in facts.known.values())
    if facts.relatives:
        yield tuple(facts.relatives.chances.items()), facts.relatives.serving
        yield repr([group for group in facts.relatives.groups if group.tells])
    yield facts.genus if any(known.basis == "genus" for known in facts.known.values()) else None


def shown(kb: KnowledgeBase, plan: Plan) -> dict[str, Any]:
    """For the template: the sheet, how sure, its year, and whether the seasons outside are part of it."""
    dated = schedule(plan, kb.vocabulary.calendar, wanted=WANTED) if plan.steps else None
    sheet = make_sheet(kb, plan)
    return {
        "s": sheet,
        "sure": page_models.sure_lines(sheet, plan),
        "line": page_models.timeline(kb, dated) if dated else None,
        "outdoors": any(step.kind in kb.vocabulary.kinds.outdoors for step in plan.steps),
    }


def data_path(family: str) -> str:
    """Where the plans of a family's genera without a page lie."""
    return f"data/relatives/{slug(family)}.js"


def genera_files(families: Mapping[str, list[str]]) -> Iterator[tuple[str, str]]:
    """For the search box: path and text of a file for each first letter, with every genus by its family."""
    letters: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for family, genera in families.items():
        for genus in genera:
            letters[fold(genus)[:1]][family].append(genus)
    for letter, found in sorted(letters.items()):
        if letter.isascii() and letter.isalpha():
            text = f"rousewortGenera({as_data(letter)},{as_data(found, separators=(',', ':'))});\n"
            yield f"data/genera/{letter}.js", text
