"""Claims: on what ground each stands, and that its figure is the measured one and no other."""

from __future__ import annotations

import copy
import random

import pytest
from rousewort.evaluation.claim_trials import ClaimTrial, claim_scores, drawn, foretold, interval, table_of, try_claims
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.claims import FEWEST_TRIALS, Claim, record_of, votes_on, weakest
from rousewort.planning.plan import Planner

KEYS = (("cold",), ("cold", "yes"), ("cold", "yes", "genus"))


def test_a_row_of_few_trials_is_drawn_towards_those_above_it() -> None:
    counts = {("cold",): (80, 100), ("cold", "yes"): (72, 80), ("cold", "yes", "genus"): (1, 2)}
    above = (72 + 10 * 0.8) / 90
    assert drawn(KEYS[1], KEYS, counts) == pytest.approx(above)
    assert drawn(KEYS[2], KEYS, counts) == pytest.approx((1 + 10 * above) / 12)


def test_where_nothing_was_measured_no_figure_is_given() -> None:
    row = {"right": 3, "tried": FEWEST_TRIALS - 1}
    assert record_of((("smoke",), ("smoke", "yes")), {}) is None
    assert record_of((("smoke",), ("smoke", "yes")), {("smoke",): row, ("smoke", "yes"): row}) is None


def test_the_weakest_claim_is_sought_among_those_that_decide(kb: KnowledgeBase) -> None:
    claims = [Claim("cold", True, "", 0.9), Claim("coat", False, "", 0.4), Claim("cold_days", 60, "", 0.3)]
    assert weakest(kb, claims) == claims[0], "a coat that is left alone decides nothing where cold is given"
    sown = [*claims[1:], Claim("class", "ND", "", 0.6)]
    assert weakest(kb, sown) == sown[-1], "where nothing is given, the class decides"
    assert weakest(kb, [Claim("cold", True, "")]) is None


def test_a_claim_without_its_record_has_no_figure_and_the_plan_no_confidence(kb: KnowledgeBase) -> None:
    other = copy.copy(kb)
    other.memo, other.__dict__["calibration"] = {}, {**kb.calibration, "claims": []}
    plan = Planner(other, "plain").plan("Cercis canadensis")
    assert plan.claims and all(claim.right is None and claim.tried is None for claim in plan.claims)
    assert plan.basis["confidence"] == 0.0


def test_advice_and_experiment_are_told_apart(kb: KnowledgeBase) -> None:
    grounds = {vote.ground for vote in votes_on(kb, kb.taxon("Cercis canadensis")) if vote.about == "cold"}
    assert "advice" in grounds and grounds <= set(kb.vocabulary.files["claims"]["grounds"])


def test_the_interval_is_by_works_not_by_claims() -> None:
    """One work that judges many claims counts once when works are drawn again."""
    many = [ClaimTrial(f"w{n}", "x", "cold", (("cold",),), n % 9 > 0) for n in range(90)]
    low, high = interval(many)
    assert 0.78 < low < 0.89 < high < 0.97
    two = [ClaimTrial("ab"[n % 2], "x", "cold", (("cold",),), n % 2 > 0) for n in range(90)]
    assert interval(two) == (0.0, 1.0)


def test_a_figure_on_a_hidden_work_is_reckoned_without_that_work() -> None:
    trials = [ClaimTrial("a", "x", "cold", (("cold",),), False)] * 30
    trials += [ClaimTrial("b", "y", "cold", (("cold",),), True)] * 30
    assert {(t.work, share) for t, share, _ in foretold(trials)} == {("a", 1.0), ("b", 0.0)}


@pytest.fixture(scope="module")
def trials(kb: KnowledgeBase) -> list[ClaimTrial]:
    return try_claims(kb)


def test_figures_beat_one_constant_by_a_tenth_on_hidden_works(trials: list[ClaimTrial]) -> None:
    scores = claim_scores(trials)
    assert scores["all"]["brier"] <= 0.9 * scores["all"]["constant"], scores["all"]
    for about in ("cold", "coat", "warm"):  # and none of these loses to one figure for its own question
        assert scores[about]["brier"] < scores[about]["constant"], scores[about]


def test_a_work_that_does_without_a_treatment_is_heard_too(kb: KnowledgeBase) -> None:
    """Else only works that praise a treatment are asked whether it is needed."""
    advised = {
        "id": "a",
        "source": "w",
        "held": "read",
        "design": "advice",
        "phases": [{"kind": "cold_moist", "days": 60}],
    }
    record = {"name": "Genus planta", "rank": "species", "family": "Rosaceae", "protocols": [advised]}
    says = {vote.about: vote.says for vote in votes_on(kb, record)}
    assert says["cold"] is True and says["warm"] is False and says["coat"] is False
    failed = {**advised, "design": "uncontrolled", "results": [{"germinated_pct": 12}]}
    assert "warm" not in {vote.about for vote in votes_on(kb, {**record, "protocols": [failed]})}


def test_the_committed_record_is_near_what_the_command_would_write(trials: list[ClaimTrial], kb: KnowledgeBase) -> None:
    """A new entry must not move every plan. Mend it with `rousewort agreement --write`."""
    held = {row["of"]: row for row in kb.calibration["claims"]}
    for row in table_of(trials):
        old = held.get(row["of"], {"right": 0, "tried": 0})
        for key in ("right", "tried"):
            assert abs(old[key] - row[key]) <= max(5, 0.05 * row["tried"]), f"stale: {old}, now {row}"


def test_plans_of_two_hundred_species_claim_cold_with_many_figures(kb: KnowledgeBase) -> None:
    planner = Planner(kb, "plain")
    names = random.Random(7).sample(kb.names(), 200)
    claims = [c for name in names for c in planner.plan(name).claims if c.about == "cold"]
    assert len({claim.right for claim in claims}) >= 8
