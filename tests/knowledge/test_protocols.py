"""A protocol is read whole; votes and lengths are counted from it phase by phase. An entry says each thing once."""

from __future__ import annotations

from typing import Any

import pytest
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import came_up, degrees, sown_at, span, treatments
from rousewort.knowledge.spelled_out import as_written, share, spelled_out
from rousewort.knowledge.store import MemoryStore
from rousewort.knowledge.strict_yaml import read
from rousewort.knowledge.summary import summarise


def protocol(*phases: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"id": "one", "held": "read", "source": "x", "phases": list(phases), **more}


@pytest.mark.parametrize(
    ("phase", "more", "found"),
    [
        ({"found": "harmful"}, {"found": "needed"}, "harmful"),
        ({}, {"found": "needed", "design": "advice"}, "needed"),
        ({}, {"design": "advice"}, "advised"),
        ({}, {"design": "standard"}, "advised"),
        ({"length_basis": "advice"}, {}, "advised"),
        ({"length_basis": "only_tried"}, {"design": "factorial"}, "tried"),
        ({}, {}, "tried"),
    ],
)
def test_what_stands_at_the_phase_goes_before_what_stands_beside_it(
    kb: KnowledgeBase, phase: dict, more: dict, found: str
) -> None:
    (one,) = treatments(protocol({"kind": "cold_moist", **phase}, **more), kb.vocabulary)
    assert one["found"] == found


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        (60, (60, 60)),
        ({"low": 60}, (60, None)),
        ({"high": 90, "across": "lots"}, (None, 90)),
        ("varied", None),
        (None, None),
    ],
)
def test_an_amount_is_a_range_or_nothing(written: Any, meant: tuple | None) -> None:
    assert span(written) == (None if meant is None else dict(zip(("low", "high"), meant, strict=True)))


def test_a_limit_is_one_end_and_not_a_temperature() -> None:
    assert degrees({"below": 10}) == {"low": None, "high": 10} and degrees({"above": 20}) == {"low": 20, "high": None}
    assert degrees("outdoors") is None and degrees({"day": 20, "night": 10, "day_hours": 12}) == {
        "day": 20,
        "night": 10,
    }


def test_sowing_is_no_treatment_and_gives_the_temperature_of_the_test(kb: KnowledgeBase) -> None:
    made = protocol({"kind": "cold_moist", "days": 60}, {"kind": "sow", "temperature_c": 15}, found="effective")
    assert [t["kind"] for t in treatments(made, kb.vocabulary)] == ["cold_moist"] and sown_at(made, kb.vocabulary) == {
        "low": 15,
        "high": 15,
    }


def test_figures_of_one_arm_or_lot_are_not_those_of_the_whole() -> None:
    results = [
        {"germinated_pct": 84},
        {"untreated": True, "germinated_pct": {"high": 3}},
        {"arm": ["sow"], "germinated_pct": 50},
    ]
    assert came_up(protocol(results=results)) == {
        "treated": {"low": 84, "high": 84},
        "untreated": {"low": None, "high": 3},
    }
    assert came_up(protocol(results=[{"germinated_pct": 99, "of": "best_lot"}])) == {}


def test_a_curve_and_a_row_of_a_table_are_no_vote_and_no_length_yet(kb: KnowledgeBase) -> None:
    cold, sow = {"kind": "cold_moist", "days": 60}, {"kind": "sow", "temperature_c": 15}
    curve = protocol(
        cold, sow, found="needed", columns=["cold_days", "germinated"], results=[{"rows": [[0, 1], [60, 9]]}]
    )
    row = protocol(cold, sow, found="needed", results=[{"germinated_pct": 80}]) | {"held": "table"}
    for one in (curve, row):
        made = summarise({"name": "Sallowia pontis", "protocols": [one]}, kb.vocabulary)
        assert (made["answers"], made["doses"], made["sowing"]) == ({}, [], [])


def test_practice_is_a_statement_after_those_that_name_a_work(kb: KnowledgeBase) -> None:
    written = {"name": "Sallowia pontis", "rank": "species", "practice": {"fruit": "dry", "home_climate": ["alpine", "cold_winter"]},
               "traits": {"fruit": [{"is": "fleshy", "source": "x", "held": "read"}]}}  # fmt: skip
    traits = spelled_out(written, kb.vocabulary)["traits"]
    assert [s["is"] for s in traits["fruit"]] == ["fleshy", "dry"] and [s["is"] for s in traits["home_climate"]] == [
        "alpine",
        "cold_winter",
    ]


def test_a_genus_shares_with_those_of_its_species_that_say_nothing_else(kb: KnowledgeBase) -> None:
    def records(word: str) -> dict[str, Any]:
        written: list[dict[str, Any]] = [
            {"name": "Sallowia", "rank": "genus", "family": "Fabaceae", "shared": {"fruit": word}},
            {"name": "Sallowia pontis", "rank": "species", "family": "Fabaceae"},
            {"name": "Sallowia rivi", "rank": "species", "family": "Fabaceae", "practice": {"fruit": "fleshy"}},
        ]
        return {r["name"]: spelled_out(r, kb.vocabulary) for r in written}

    made = share(records("dry"))
    assert made["Sallowia pontis"]["traits"] == {"fruit": [{"is": "dry", "held": "practice", "shared_by": "Sallowia"}]}
    assert made["Sallowia rivi"]["traits"]["fruit"] == [{"is": "fleshy", "held": "practice"}]
    again = share({**made, "Sallowia": records("cone")["Sallowia"]})
    assert again["Sallowia pontis"]["traits"]["fruit"][0]["is"] == "cone", "what an earlier file shared is taken back"
    assert share(again)["Sallowia pontis"] is again["Sallowia pontis"]


def test_every_shipped_entry_is_as_short_as_it_can_be_and_says_no_protocol_twice(kb: KnowledgeBase, layer: Any) -> None:
    """A bare word of practice stands in one line; only what no plan turns on is shared; ids are unique."""
    for path in sorted((layer / "species").rglob("*.yaml")):
        written = read(path.read_bytes(), str(path)).data
        assert as_written(spelled_out(written, kb.vocabulary)) == written, path
        assert "shared" not in written
    for path in sorted((layer / "genera").glob("*.yaml")):
        assert set(read(path.read_bytes(), str(path)).data.get("shared", {})) <= set(kb.vocabulary.shared_keys), path


def test_a_hidden_species_takes_what_decides_dormancy_with_it(kb: KnowledgeBase, memory: MemoryStore) -> None:
    assert not set(kb.vocabulary.shared_keys) & {kb.vocabulary.class_key, *kb.vocabulary.level_keys}
    for record in memory.records.values():
        shared = {key for key, of in record.get("traits", {}).items() if any("shared_by" in s for s in of)}
        assert shared <= set(kb.vocabulary.shared_keys), record["name"]
