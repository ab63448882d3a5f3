"""Any plant has a plan on the handbook, the one that the command makes."""

from __future__ import annotations

import csv
import json
import random
import re
from collections import defaultdict
from pathlib import Path

import pytest
from rousewort.handbook.catalogue import Catalogue
from rousewort.handbook.relatives import NAME, by_family, data_path, genera_files, lent_by
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.plan import Planner
from rousewort.planning.sheet import make_sheet

KB = Path(__file__).parents[2] / "kb"


@pytest.fixture(scope="module")
def catalogue(kb: KnowledgeBase) -> Catalogue:
    return Catalogue(kb, ["Cercis canadensis"])


def test_the_plan_of_two_hundred_genera_without_entry_is_that_of_the_command(
    kb: KnowledgeBase, planner: Planner, catalogue: Catalogue
) -> None:
    known = {name.split()[0] for name in kb.names("species")}
    chosen: dict[str, list[str]] = defaultdict(list)
    strangers = [(f, g) for f, genera in by_family(kb).items() for g in genera if g not in known]
    for family, genus in random.Random(16).sample(strangers, 200):
        chosen[family].append(genus)
    for family, genera in chosen.items():
        made = lent_by(catalogue, family, genera)
        for genus in genera:
            name = f"{genus} sallowbridgensis"
            asked = planner.plan(name)
            assert (asked.match.genus, asked.match.matched_by) == (genus, "genus")
            page = repr(make_sheet(kb, made.plans[made.of[genus]])).replace(NAME, name)
            assert page == repr(make_sheet(kb, asked)), genus


def test_genera_that_are_lent_something_of_their_own_share_no_plan(kb: KnowledgeBase, catalogue: Catalogue) -> None:
    genera = by_family(kb)["Rosaceae"]
    made = lent_by(catalogue, "Rosaceae", genera)
    lines = {genus: made.plans[made.of[genus]].line for genus in genera}
    assert len(made.plans) < len(genera) and lines["Rosa"] != lines["Prunus"]


def test_every_genus_of_the_table_can_be_found(kb: KnowledgeBase) -> None:
    found = {}
    for _, text in genera_files(by_family(kb)):
        families = json.loads(re.fullmatch(r"rousewortGenera\(\"[a-z]\",(.*)\);\n", text)[1])  # type: ignore[index]
        found |= {genus: family for family, genera in families.items() for genus in genera}
    with (KB / "tables/genus_family.csv").open(encoding="utf-8", newline="") as file:
        table = {row["genus"] for row in csv.DictReader(file)}
    assert len(table) > 20_000 and table <= set(found)
    heaviest = max(len(text) for _, text in genera_files(by_family(kb)))
    assert heaviest < 60_000


def test_no_two_families_share_a_file(kb: KnowledgeBase) -> None:
    paths = [data_path(family) for family in by_family(kb)]
    assert len(paths) == len(set(paths))
