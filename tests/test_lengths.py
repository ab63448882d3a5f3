"""Days of cold: a decision within what the species' own sources say, never past what anybody tried; whether to chill, a policy."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rousewort.cli.main import main
from rousewort.evaluation.lengths import Curve, fit, measure, stale, to_csv, trials
from rousewort.knowledge.chilling import MISFIT, TYPES, Tried, germinated, studies
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.store import MemoryStore
from rousewort.planning.amounts import Amount, reported, step_amounts
from rousewort.planning.facts import gather
from rousewort.planning.lengths import SPLIT_SEEDS, chill, decide, hedge
from rousewort.planning.need import DAYS, Need, learnt, length, need, utility

COLD = "cold_moist"
shares = st.lists(st.floats(0.001, 1), min_size=len(TYPES), max_size=len(TYPES)).map(
    lambda drawn: [one / sum(drawn) for one in drawn]
)
fits = st.lists(st.integers(0, MISFIT), min_size=len(TYPES), max_size=len(TYPES))


def known(drawn: list[float], longest: float = 240) -> Need:
    return Need(drawn, longest, "class")


def invented(kb: KnowledgeBase, *protocols: dict[str, Any], traits: dict[str, Any] | None = None) -> KnowledgeBase:
    """The shipped knowledge with one plant more, of a genus of its own in a family of its own."""
    memory = kb._memory
    record = {
        "name": "Sallowia pontis",
        "rank": "species",
        "family": "Sallowiaceae",
        "traits": traits or {"dormancy_class": [{"is": "physiological", "held": "read", "source": "gosling-2007"}]},
        "protocols": list(protocols),
    }
    return KnowledgeBase(MemoryStore({**memory.records, "Sallowia pontis": record}, memory._shared, kb.vocabulary))


def report(
    found: str | None = None, days: Any = None, source: str | None = "gosling-2007", **more: Any
) -> dict[str, Any]:
    phase = {"kind": COLD, **({"days": days} if days is not None else {}), **({"found": found} if found else {})}
    held = {"source": source, "held": "read"} if source else {"held": "practice"}
    return {"id": "x", **held, "phases": [phase], **more}


def trial(*rows: tuple[int, int], sown: int = 200, source: str = "gosling-2007") -> dict[str, Any]:
    results = [{"rows": [[days, germinated, sown] for days, germinated in rows]}]
    return report(None, "varied", source) | {"columns": ["cold_days", "germinated", "sown"], "results": results}


def days_of(kb: KnowledgeBase, name: str = "Sallowia pontis", lean: str | None = None) -> Amount:
    record = kb.taxon(name)
    assert record
    facts = gather(kb, Match(name, name, "accepted", genus=name.split()[0], family=record["family"]))
    return step_amounts(kb, facts, COLD, ["needs_cold"], lean).amounts["days"]


def decided(kb: KnowledgeBase, **more: Any) -> Any:
    facts = gather(kb, Match("Sallowia pontis", "Sallowia pontis", "accepted", genus="Sallowia", family="Sallowiaceae"))
    return chill(kb, facts, **more)


# --- laws


@given(shares, st.integers(14, 400), st.sampled_from([None, "short", "long"]))
def test_a_length_is_never_longer_than_anybody_tried_and_lies_in_its_range(
    drawn: list[float], longest: int, lean: str | None
) -> None:
    made = length(known(drawn, longest), lean)
    assert made.low <= made.use <= made.high <= max(longest, 14)
    assert made.use in DAYS


@given(shares)
def test_no_other_length_is_expected_to_do_better(drawn: list[float]) -> None:
    made = length(known(drawn))
    assert all(utility(drawn, made.use) >= utility(drawn, day) for day in DAYS)


@given(shares)
def test_leaning_short_is_never_longer_and_leaning_long_never_shorter(drawn: list[float]) -> None:
    short, usual, long = (length(known(drawn), lean).use for lean in ("short", None, "long"))
    assert short <= usual <= long


@given(shares, st.lists(fits, max_size=4), st.floats(0.5, 20))
def test_shares_stay_shares_whatever_is_learnt(drawn: list[float], many: list[list[int]], worth: float) -> None:
    after = learnt(drawn, [{"fits": one, "stands": 1.0} for one in many], worth)
    assert sum(after) == pytest.approx(1) and min(after) >= 0


@given(st.floats(0, 1), st.floats(0, 1), st.integers(14, 240))
def test_a_surer_need_is_never_chilled_less(one: float, other: float, use: int) -> None:
    days = Amount(use, use, use, "species")
    less, more = (decide(needed, days) for needed in sorted((one, other)))
    chilled = [sum(part.share for part in decision.shares if part.days) for decision in (less, more)]
    assert chilled[0] <= chilled[1]


@given(st.sampled_from(TYPES), st.floats(0, 400))
def test_what_is_not_harmed_germinates_no_less_after_longer(kind: Any, days: float) -> None:
    assert 0 <= germinated(kind, days) <= 1
    if not kind.harm:
        assert germinated(kind, days + 10) >= germinated(kind, days)


# --- planted cases


def test_more_reports_of_a_need_raise_its_chance_and_needless_ones_lower_it(kb: KnowledgeBase) -> None:
    needed, needless = report("needed", 60), report("unneeded")
    chances = [
        decided(invented(kb, *(p | {"source": f"work-{i}"} for i, p in enumerate(told)))).needed
        for told in ([needless] * 3, [needless], [], [needed], [needed] * 3)
    ]
    assert chances == sorted(chances) and chances[0] < 0.5 < 0.85 < chances[-1]


def test_use_stays_within_a_published_recommendation_for_the_species(kb: KnowledgeBase) -> None:
    for low, high in ((14, 21), (60, 90), (200, 230)):
        found = days_of(invented(kb, report("advised", {"low": low, "high": high})))
        assert (found.low, found.high, found.basis) == (low, high, "species") and low <= found.use <= high


def test_use_is_no_shorter_than_what_a_source_found_needed(kb: KnowledgeBase) -> None:
    told = (
        report("needed", {"low": 150, "high": 180}),
        report("advised", {"low": 20, "high": 40}, "gosling-2009-seed"),
    )
    assert days_of(invented(kb, *told)).use >= 150
    assert days_of(invented(kb, *told), lean="short").use >= 150


def test_what_was_found_on_it_goes_before_what_is_advised_and_says_so(kb: KnowledgeBase) -> None:
    found = days_of(invented(kb, report("advised", {"low": 40, "high": 60}), report("effective", 75, None)))
    assert (found.low, found.use, found.high) == (40, 75, 75) and "goes before what is advised" in found.note


def test_what_growers_commonly_do_is_left_only_openly(kb: KnowledgeBase) -> None:
    found = days_of(invented(kb, report(None, 20, None, design="practice"), trial((0, 0), (60, 20), (120, 180))))
    assert (
        found.use > 20 and found.low == 20 and found.note.startswith("20 days are advised for it too; more is expected")
    )


def test_cold_of_no_said_length_is_two_months_or_three_and_a_half(kb: KnowledgeBase) -> None:
    found = days_of(invented(kb, report("effective", None), report("needed", None, "gosling-2009-seed")))
    assert 60 <= found.use <= 105


def test_a_trial_teaches_its_own_length(kb: KnowledgeBase) -> None:
    soon = days_of(invented(kb, *(trial((0, 0), (14, 150), (28, 180), source=f"w{i}") for i in range(4))))
    late = days_of(invented(kb, *(trial((0, 0), (60, 4), (120, 90), (180, 170), source=f"w{i}") for i in range(4))))
    assert soon.use <= 60 < 120 <= late.use <= 180


def test_lots_that_come_up_unchilled_are_split_or_left(kb: KnowledgeBase) -> None:
    easy = decided(invented(kb, *(trial((0, 180), (30, 178), source=f"w{i}") for i in range(6))), again=True)
    assert easy.needed < 0.3 and easy.policy != "all"
    assert easy.shares in (hedge(easy.days.use), ((1.0, 0),))


def test_a_small_lot_is_not_split() -> None:
    days = Amount(60, 60, 60, "species")
    assert decide(0.7, days, SPLIT_SEEDS).policy == "split"
    assert decide(0.7, days, SPLIT_SEEDS - 1).policy == "all"
    assert decide(0.5, days, SPLIT_SEEDS - 1).policy == "none"  # 60 of 102 days: chill above .59
    assert decide(0.5, days, SPLIT_SEEDS - 1, again=False).policy == "all"  # a year is lost: above .17


def test_nothing_known_still_gives_a_length_and_a_policy(kb: KnowledgeBase) -> None:
    facts = gather(kb, Match("Sallowia", None, "genus", genus="Sallowia", family="Sallowiaceae"))
    made = chill(kb, facts)
    assert made.policy == "split" and 60 <= made.days.use <= 90


def test_seed_too_warm_to_be_chilled_is_no_trial_of_cold(kb: KnowledgeBase) -> None:
    warm = trial((0, 0), (60, 180))
    warm["phases"][0]["temperature_c"] = 15
    assert not list(studies({"protocols": [warm]}, kb.vocabulary))


def test_several_series_of_one_work_are_one_study(kb: KnowledgeBase) -> None:
    one = trial((0, 0), (60, 180))
    found = list(studies({"protocols": [one, one, one]}, kb.vocabulary))
    assert len(found) == 1 and found[0]["longest"] == 60 and found[0]["curve"]


# --- the shipped table and how it was measured


def test_the_shipped_table_is_fitted_to_what_is_held_now(kb: KnowledgeBase) -> None:
    assert stale(kb) == [], "fit it again: rousewort calibrate --lengths --write"


def test_a_report_more_makes_the_table_stale(kb: KnowledgeBase) -> None:
    assert "physiological" in stale(invented(kb, report("needed", 60)))


def test_the_table_is_written_and_read_alike(kb: KnowledgeBase) -> None:
    fitted = fit(kb)
    lines = to_csv(fitted).splitlines()
    assert len(lines) == len(fitted) + 1
    for group, row in kb.store.shared("chilling").items():
        assert row["shares"] == pytest.approx(fitted[group]["shares"])
        assert sum(row["shares"]) == pytest.approx(1, abs=0.001)


def test_check_says_whether_the_table_is_stale(kb: KnowledgeBase, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calibrate", "--lengths", "--check"]) == 0
    assert "not stale" in capsys.readouterr().out
    assert main(["calibrate", "--check"]) == 2


def test_a_curve_is_read_between_its_points_and_never_past_them() -> None:
    curve = Curve([Tried(0, 0.0, 50), Tried(60, 0.4, 50), Tried(60, 0.6, 50), Tried(120, 0.3, 50)])
    assert (curve.at(0), curve.at(30), curve.at(60), curve.at(90), curve.at(400)) == (0.0, 0.25, 0.5, 0.4, 0.3)
    assert curve.best == 0.5
    utility_of_60, share = curve.score(60)
    assert (utility_of_60, share) == (pytest.approx(0.45), 1.0)
    # Half chilled 60 days, half left out, seen bare after 42 days and chilled then.
    assert curve.policy(hedge(60), 60, 42)[0] == pytest.approx(0.5 * 0.45 + 0.5 * (0.5 - 0.05 * 102 / 60))


def test_leaving_out_leaves_nothing_of_a_work_or_genus(kb: KnowledgeBase) -> None:
    kept = kb.keeping(genus=lambda genus: genus != "Betula")
    assert not kept.store.group("genus", "Betula")["chilled"]
    assert not any(s["species"].startswith("Betula") for s in kept.store.group("family", "Betulaceae")["chilled"])
    kept.store.shared("chilling")["all"] = {}
    assert kb.store.shared("chilling")["all"]["longest"]


@pytest.mark.slow
def test_our_lengths_beat_the_same_for_all_on_works_and_genera_left_out(kb: KnowledgeBase) -> None:
    made = measure(kb)
    for by in ("works", "genera"):
        ways = made[by]["ways"]
        for other in ("no cold", "always 60", "always 90", "always 120", "genus median"):
            assert ways["Rousewort, length"]["utility"] >= ways[other]["utility"], (by, other, ways)
    assert made["works"]["studies"] == len({(t.species, t.work) for t in trials(kb)}) > 100


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_every_planned_length_of_cold_holds_what_its_own_sources_say(kb: KnowledgeBase, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(kb.names())))
    record = kb.taxon(name)
    assert record
    facts = gather(kb, Match(name, name, "accepted", genus=name.split()[0], family=record["family"]))
    days, old = step_amounts(kb, facts, COLD, ["needs_cold"]).amounts["days"], reported(kb, facts, COLD, ["needs_cold"])
    assert days.low is not None and days.high is not None and days.low <= days.use <= days.high
    if old and old.basis == "species" and days.basis == "species":
        own = (kb.store.summary(name) or {})["doses"]
        ends = [d["days"] for d in own if d["kind"] == COLD and "days" in d]
        assert days.use <= max([need(kb, facts).longest, *(e for end in ends for e in end.values() if e)])
