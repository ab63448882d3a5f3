"""An entry whose every text is an attack builds into pages on which nothing but words has changed."""

from __future__ import annotations

import copy
import json
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from rousewort.handbook.build import build
from rousewort.handbook.inspect import inspect
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.store import MemoryStore

ATTACK = (
    "</title></script></p><script>alert('rw-attack')</script><img src=x onerror=alert('rw-attack')>"
    "[go](javascript:alert('rw-attack')){: onclick=alert('rw-attack') } <svg onload=alert('rw-attack')> {{ config }} \" onfocus=alert('rw-attack') x=\""
)
NAME = "Cercis <script>alert('rw-attack')</script>"


def poisoned(value: Any, key: str = "") -> Any:
    """Every free text of a record with the attack in it; words of the vocabulary stay, they are checked on loading."""
    if isinstance(value, dict):
        return {k: poisoned(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [poisoned(v, key) for v in value]
    free = {
        "note",
        "where",
        "low_standing",
        "common_names",
        "synonyms",
        "says",
        "said",
        "citation",
        "provenance",
        "quoting",
        "saw",
    }
    return f"{value} {ATTACK}" if key in free else value


@pytest.fixture(scope="module")
def hostile(kb: KnowledgeBase, memory: MemoryStore) -> KnowledgeBase:
    record = copy.deepcopy(memory.records["Cercis canadensis"])
    record["name"] = NAME
    record["synonyms"] = [ATTACK]
    record["lots"] = [{"says": ATTACK, "source": "evil", "held": "read"}]
    for group in record["traits"].values():
        group[0] |= {"note": ATTACK, "where": ATTACK, "source": "evil", "held": "read", "low_standing": ATTACK}
    for protocol in record["protocols"]:
        protocol |= {
            "note": ATTACK,
            "where": ATTACK,
            "said": ATTACK,
            "quoting": ATTACK,
            "lot": {"provenance": ATTACK, "note": ATTACK},
        }
        protocol["results"] = [{"germinated_pct": 5, "verdict": ATTACK}]
        for phase in protocol["phases"]:
            phase |= {"note": ATTACK, "said": ATTACK, "medium": ATTACK, "dose": ATTACK, "place": ATTACK}
    shared = copy.deepcopy(memory._shared)
    shared["sources"]["evil"] = {"citation": ATTACK}
    shared["sources"] = {key: poisoned(value) for key, value in shared["sources"].items()}
    shared["rules"] = [
        {**poisoned(rule), "because": {k: f"{v} {ATTACK}" for k, v in rule["because"].items()}, "limits": [ATTACK]}
        for rule in shared["rules"]
    ]
    for treatment in shared["treatments"].values():
        treatment |= {
            "what": ATTACK,
            "why": ATTACK,
            "do": [ATTACK],
            "watch": [ATTACK],
            "until": ATTACK,
            "success": ATTACK,
        }
        treatment["cautions"] = [{**caution, "text": ATTACK} for caution in treatment["cautions"]]
    records = {
        NAME: record,
        "Cercis": poisoned(memory.records["Cercis"]),
        "Fabaceae": poisoned(memory.records["Fabaceae"]),
    }
    return KnowledgeBase(MemoryStore(records, shared, kb.vocabulary))


class Finds(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.bad: list[str] = []
        self.script = False
        self.data = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.script = tag == "script" and ("type", "application/ld+json") not in attrs
        for key, value in attrs:
            if key.startswith("on") or (key in ("href", "src", "style") and "alert(" in (value or "")):
                self.bad.append(f"<{tag} {key}={value!r}>")
        if tag == "img" and ("src", "x") in attrs:
            self.bad.append("<img src=x>")

    def handle_endtag(self, tag: str) -> None:
        self.script = False

    def handle_data(self, data: str) -> None:
        self.data += data
        if self.script and "rw-attack" in data:
            self.bad.append(f"script: {data[:60]}")


@pytest.mark.slow
def test_no_attack_becomes_an_element_or_a_handler_on_any_page(hostile: KnowledgeBase, tmp_path: Path) -> None:
    built = build(hostile, tmp_path / "out")
    assert list(inspect(built.folder)) == []
    seen = 0
    for path in built.folder.rglob("*.html"):
        finds = Finds()
        finds.feed(path.read_text("utf-8"))
        assert not finds.bad, path
        seen += "rw-attack" in finds.data
    assert seen > 100, "the attack stands on many pages, as words"


def test_what_scripts_read_stays_data(hostile: KnowledgeBase, tmp_path: Path) -> None:
    from rousewort.handbook.build import write_pages

    write_pages(hostile, tmp_path)
    text = (tmp_path / "data/names.js").read_text("utf-8")
    assert "<" not in text
    plans = next((tmp_path / "species").glob("*.plans.js")).read_text("utf-8")
    assert "<" not in plans
    parts = json.loads(plans.removeprefix("rousewortPlans(").rstrip().removesuffix(");"))["texts"]
    for part in parts:
        finds = Finds()
        finds.feed(part)
        assert not finds.bad
    assert any("rw-attack" in part for part in parts)
    names = json.loads(text.removeprefix("window.rousewortNames=").rstrip().rstrip(";"))
    assert any(row[0] == NAME for row in names)
