"""What came of batches, and the own record beside what is published."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase, load
from rousewort.ledger.events import Batch, Event, add_up
from rousewort.ledger.results import OWN, own_record, published, result_of, with_own_lengths, write_protocols
from scipy import stats

START = date(2025, 1, 1)
HABITS = {"published_seeds": 20, "likeness": 0.1, "sure": 0.9}


def closed(plan: dict[str, Any], sown: int, up: int, cold: int = 60, number: int = 1, **start: Any) -> Batch:
    days = [(0, "start", {"seeds": sown, **start}), (0, "move", {"step": "cold_moist-1"}), (cold, "sow", {})]
    days += [
        (cold + 10, "count", {"new": up // 2}),
        (cold + 20, "count", {"new": up - up // 2}),
        (cold + 60, "close", {}),
    ]
    events = [Event(n, START + timedelta(day), kind, "", data) for n, (day, kind, data) in enumerate(days, 1)]
    return add_up(Batch(number, f"CECA-{number}", plan, "digest"), events)


def expecting(plan: dict[str, Any], share: float | None) -> dict[str, Any]:
    return {
        **plan,
        "expected_germination": {"share": share, "said_by": "mean of 2 published reports", "sources": ["x"]},
    }


def test_result_says_share_days_and_lengths_beside_the_plan(redbud: dict[str, Any]) -> None:
    result = result_of(closed(expecting(redbud, 0.6), 100, 40, cold=50))
    assert (result.share, result.expected.share, result.first, result.half) == (0.4, 0.6, 10, 10)
    assert result.expected_days == (7, 45)
    cold = next(g for g in result.given if g.kind == "cold_moist")
    assert (cold.days, *cold.planned[:3]) == (50, 42, 60, 60)


def test_viability_of_the_lot_goes_before_what_is_published(redbud: dict[str, Any]) -> None:
    assert result_of(closed(expecting(redbud, 0.6), 100, 40, viability=0.9)).expected.share == 0.9


def test_own_record_is_the_beta_update_worked_by_hand(redbud: dict[str, Any]) -> None:
    """Prior 0.6 worth 20 seeds: beta(12, 8). 31 seeds count like 31 / (1 + 30 * 0.1) = 7.75 seeds; 21 of them germinated:
    5.25 and 2.5. Posterior beta(17.25, 10.5)."""
    record = own_record([closed(expecting(redbud, 0.6), 31, 21)], "Cercis canadensis", HABITS)
    assert record.share == pytest.approx(17.25 / 27.75)
    low, high = stats.beta(17.25, 10.5).interval(0.9)
    assert (record.low, record.high) == (pytest.approx(low, abs=1e-9), pytest.approx(high, abs=1e-9))


def test_one_seed_batches_without_likeness_give_the_plain_beta_binomial(redbud: dict[str, Any]) -> None:
    habits = {**HABITS, "likeness": 0.0}
    record = own_record([closed(expecting(redbud, None), 50, 20)], "Cercis canadensis", habits)
    low, high = stats.beta(0.5 + 20, 0.5 + 30).interval(0.9)
    assert record.share == pytest.approx(20.5 / 51)
    assert (record.low, record.high) == (pytest.approx(low, abs=1e-9), pytest.approx(high, abs=1e-9))


def test_more_batches_move_the_expectation_further_and_narrow_it(redbud: dict[str, Any]) -> None:
    plan = expecting(redbud, 0.8)
    made = [
        own_record([closed(plan, 100, 20, number=n) for n in range(1, k + 1)], "Cercis canadensis", HABITS)
        for k in (1, 3, 9)
    ]
    assert 0.8 > made[0].share > made[1].share > made[2].share > 0.2
    assert made[0].high - made[0].low > made[2].high - made[2].low


def test_one_large_batch_counts_less_than_many_small_ones(redbud: dict[str, Any]) -> None:
    plan = expecting(redbud, 0.8)
    large = own_record([closed(plan, 1000, 200)], "Cercis canadensis", HABITS)
    many = own_record([closed(plan, 100, 20, number=n) for n in range(1, 11)], "Cercis canadensis", HABITS)
    assert many.share < large.share


def test_length_moves_toward_what_germinated_and_not_toward_what_failed(redbud: dict[str, Any]) -> None:
    plan = expecting(redbud, 0.6)

    def own(*batches: Batch) -> int:
        record = own_record(batches, "Cercis canadensis", HABITS)
        return next(n.own for n in record.lengths if n.step == "cold_moist-1")

    assert own(closed(plan, 100, 90, cold=100)) > 60 > own(closed(plan, 100, 90, cold=30))
    assert own(closed(plan, 100, 0, cold=200)) == 60
    # 12 seeds' worth of the plan; 100 seeds of likeness 0.1 count 90 / 10.9 = 8.26 germinated: (12*60 + 8.26*100) / 20.26
    assert own(closed(plan, 100, 90, cold=100)) == round((12 * 60 + 90 / 10.9 * 100) / (12 + 90 / 10.9))


def test_plan_with_own_lengths_names_the_record_as_a_source_of_its_own(redbud: dict[str, Any]) -> None:
    record = own_record([closed(expecting(redbud, 0.6), 100, 90, cold=100, held="demo")], "Cercis canadensis", HABITS)
    plan = with_own_lengths(redbud, record)
    cold, before = plan["steps"][3], redbud["steps"][3]
    assert cold["days"]["use"] == cold["days"]["high"] > 60 and cold["days"]["from"] == OWN
    assert cold["days"]["low"] == before["days"]["low"]
    assert cold["because"][-1]["sources"] == [OWN] and str(cold["days"]["use"]) in cold["do"][0]
    assert plan["sources"][:-1] == redbud["sources"] and plan["sources"][-1]["held"] == "demo"
    assert "invented" in plan["sources"][-1]["citation"]
    assert redbud["steps"][3]["days"]["use"] == 60  # the plan given is left alone


def test_only_closed_batches_of_that_species_and_provenance_count(redbud: dict[str, Any]) -> None:
    plan = expecting(redbud, 0.6)
    mine, other = closed(plan, 10, 5, provenance="Otter Lane"), closed(plan, 10, 1, number=2, provenance="Upper Weir")
    assert own_record([mine, other], "Cercis canadensis", HABITS, "Otter Lane").germinated == 5
    for species, provenance in (("Acer rubrum", ""), ("Cercis canadensis", "nowhere")):
        with pytest.raises(UserError, match="No closed batch"):
            own_record([mine, other], species, HABITS, provenance)


def test_published_germination_is_the_mean_of_reports() -> None:
    def report(share: Any) -> dict[str, Any]:
        return {"source": "a", "held": "read", "results": [{"germinated_pct": share}]}

    found = published(
        {"protocols": [report({"low": 40, "high": 60}), report({"high": 90}), {"source": "b", "held": "read"}]}
    )
    assert found.share == pytest.approx(0.7) and found.sources == ("a",)
    assert published(None).share is None and published({"protocols": []}).share is None


def test_protocol_is_read_by_the_knowledge_base_and_says_that_it_is_invented(
    kb: KnowledgeBase, redbud: dict[str, Any], tmp_path: Path
) -> None:
    record = own_record([closed(redbud, 100, 40, held="demo", provenance="Otter Lane")], "Cercis canadensis", HABITS)
    made = write_protocols(tmp_path / "layer", record, "Fabaceae", "Sallow Bridge community nursery")
    mine = load([tmp_path / "layer"])
    added = mine.taxon("Cercis canadensis")["protocols"][len(kb.taxon("Cercis canadensis")["protocols"]) :]
    assert [(r["held"], r["results"][0]["germinated_pct"], r["lot"]["provenance"]) for r in added] == [
        ("demo", 40, "Otter Lane")
    ]
    assert "invented" in mine.sources["own-record-sallow-bridge-community-nursery"]["citation"]
    before = made[1].read_text()
    with pytest.raises(UserError, match="there already"):
        write_protocols(tmp_path / "layer", record, "Fabaceae", "Sallow Bridge community nursery")
    assert made[1].read_text() == before
