"""Relatives: how likely each class is, what plans say of it, and how far that was found to be true."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.cli.main import main
from rousewort.evaluation.calibrate import Trial, brier, class_counts, figures, leave_species_out, table
from rousewort.knowledge.holdout import sources_of
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.store import MemoryStore, genus_of
from rousewort.knowledge.summary import pool
from rousewort.planning import class_estimate
from rousewort.planning.class_estimate import estimate
from rousewort.planning.facts import Known, gather
from rousewort.planning.plan import Plan, Planner

KEY = "dormancy_class"
CLASSES = ["none", "physical", "physiological", "morphological", "morphophysiological", "physical_physiological"]
FAMILY = "Cistaceae"  # one of which watertight coats are published; what is known of it is invented here
counts = st.dictionaries(st.sampled_from(CLASSES), st.integers(0, 40), max_size=6)


class _Invented:
    """A store with one invented genus in one invented family, holding so many species of each class."""

    def __init__(
        self, kb: KnowledgeBase, genus: dict[str, int], family: dict[str, int], traits: dict | None = None
    ) -> None:
        self.kb, self.traits = kb, traits or {}
        self.groups = {"genus": self._group("Rara", genus), "family": self._group("Rarissima", family)}

    def _group(self, stem: str, numbers: dict[str, int]) -> dict:
        fact = [{"is": "", "held": "read"}]
        members = [(f"{stem} {w} {i}", w) for w, n in numbers.items() for i in range(n)]
        empty = {"answers": {}, "doses": [], "sowing": [], "chilled": []}
        return pool(
            ((name, {"traits": {KEY: [[word, fact, []]]}, **empty}) for name, word in members), self.kb.vocabulary
        )

    def group(self, rank: str, name: str) -> dict:
        return self.groups[rank]

    def summary(self, name: str) -> dict | None:
        return {"traits": self.traits} if name == FAMILY else None

    def shared(self, part: str) -> object:
        return self.kb.store.shared(part)

    def classed(self, rank: str, name: str) -> dict:
        return {}

    def clade_of(self, name: str) -> str | None:
        return None


def invented(
    kb: KnowledgeBase, genus: dict, family: dict, traits: dict | None = None, **more
) -> class_estimate.Estimate:
    return estimate(KnowledgeBase(_Invented(kb, genus, family, traits)), "Rara", FAMILY, **more)  # type: ignore[arg-type]


# --- the estimate


@given(genus=counts, family=counts)
def test_chances_are_a_share_of_one_over_every_class_likeliest_first(
    kb: KnowledgeBase, genus: dict, family: dict
) -> None:
    chances = invented(kb, genus, family).chances
    assert set(chances) == set(CLASSES) == set(kb.vocabulary.traits[KEY]["values"])
    assert sum(chances.values()) == pytest.approx(1)
    assert list(chances.values()) == sorted(chances.values(), reverse=True)


@given(genus=counts, family=counts, word=st.sampled_from(CLASSES), rank=st.sampled_from(["genus", "family"]))
def test_one_more_species_of_a_class_never_makes_it_less_likely(
    kb: KnowledgeBase, genus: dict, family: dict, word: str, rank: str
) -> None:
    before = invented(kb, genus, family).chances[word]
    more = {"genus": dict(genus), "family": dict(family)}
    more[rank][word] = more[rank].get(word, 0) + 1
    assert invented(kb, **more).chances[word] >= before - 1e-12


def test_one_species_of_the_genus_yields_to_a_large_family_less_than_ten_do(kb: KnowledgeBase) -> None:
    one = invented(kb, {"physical": 1}, {"physiological": 40}).chances["physical"]
    ten = invented(kb, {"physical": 10}, {"physiological": 40}).chances["physical"]
    assert 0.4 < one < 0.6
    assert ten > 0.85


def test_what_is_seen_of_the_seed_rules_out_classes_that_show_otherwise(kb: KnowledgeBase) -> None:
    seen = invented(kb, {"physical": 9}, {"morphological": 1}, seen={"embryo": "undergrown"}).chances
    assert {word for word, chance in seen.items() if chance} == {"morphological", "morphophysiological"}


def test_what_is_typical_of_a_family_weighs_on_its_classes(kb: KnowledgeBase) -> None:
    plain = invented(kb, {}, {}).chances["morphophysiological"]
    typical = {"embryo": [["undergrown", [{"is": "undergrown", "held": "read"}], []]]}
    assert invented(kb, {}, {}, typical).chances["morphophysiological"] > 2 * plain


def test_a_class_nearly_as_likely_is_treated_for_where_that_serves_both(kb: KnowledgeBase) -> None:
    assert invented(kb, {"none": 11, "physiological": 10}, {}).serving == "physiological"
    assert invented(kb, {"none": 19, "physiological": 2}, {}).serving == "none"
    assert invented(kb, {"physical": 11, "physiological": 10}, {}).serving == "physical"  # a winter opens no coat


def test_where_no_relative_has_a_class_none_is_lent(kb: KnowledgeBase) -> None:
    found = estimate(kb, None, "Nusquamaceae")
    assert found.rank == "none" and not found.others(None)


# --- hiding a species


def test_a_hidden_species_leaves_the_groups_that_a_base_without_it_has(
    memory: MemoryStore, kb: KnowledgeBase, some_species: list[str]
) -> None:
    for name in some_species[::8]:
        rest = {n: r for n, r in memory.records.items() if n != name}
        anew = MemoryStore(rest, memory._shared, kb.vocabulary)
        hidden = kb.without(species=name).store
        assert hidden.record(name) is None and name not in hidden.names("species")
        for rank, group in (("genus", genus_of(name)), ("family", memory.records[name]["family"])):
            assert hidden.group(rank, group) == anew.group(rank, group), name


def test_what_a_genus_file_has_from_the_hidden_species_sources_is_hidden_too(
    kb: KnowledgeBase, species: list[str]
) -> None:
    touched = 0
    for name in species:
        cited = sources_of(kb.taxon(name) or {})
        for whole in (genus_of(name), (kb.taxon(name) or {})["family"]):
            before = kb.taxon(whole)
            if before and cited & sources_of(before):
                after = kb.without(species=name).taxon(whole) or {}
                assert not cited & sources_of(after), f"{whole} without {name}"
                touched += 1
    assert touched > 20


def test_hiding_a_species_and_a_source_hides_both(kb: KnowledgeBase) -> None:
    source = next(iter(sorted(sources_of(kb.taxon("Cercis siliquastrum") or {}))))
    rest = kb.without(species="Cercis canadensis", source=source)
    assert rest.taxon("Cercis canadensis") is None
    assert source not in sources_of(rest.taxon("Cercis siliquastrum") or {})
    assert kb.taxon("Cercis canadensis") is not None


# --- calibration


@pytest.fixture(scope="module")
def trials(kb: KnowledgeBase) -> list[Trial]:
    return leave_species_out(kb)


@pytest.mark.parametrize("which", ["classes", "classes_with_inferred"])
def test_relatives_beat_every_plain_baseline_in_class_and_brier_score(trials: list[Trial], which: str) -> None:
    rows = figures(trials)[which]
    ours = rows["rousewort"]
    for baseline in ("overall", "family", "genus"):
        # The genus alone is nearly as often right; its chances are worse.
        least = rows[baseline]["right"] + (0 if baseline == "genus" else 1)
        assert ours["right"] >= least, baseline
        assert ours["brier"] < rows[baseline]["brier"], baseline


def test_the_sequence_from_relatives_beats_the_commonest_overall_and_in_the_family(trials: list[Trial]) -> None:
    rows = figures(trials)["sequences"]
    assert rows["rousewort"]["right"] > max(rows["overall"]["right"], rows["family"]["right"])


def test_where_a_plan_is_made_its_sequence_beats_copying_the_genus_too(trials: list[Trial]) -> None:
    rows = figures(trials)["sequences"]
    # Where the relatives leave it open the lot is split instead, and what each part shows is watched: of about a quarter.
    assert rows["rousewort"]["said"] > 0.75 * rows["rousewort"]["tried"]
    assert rows["rousewort"]["right_said"] > max(rows[k]["right_said"] for k in ("overall", "family", "genus"))


# --- what relatives lend


def lent(kb: KnowledgeBase, name: str, family: str, **seen: str) -> dict[str, Known]:
    """What a plant that has no entry is taken to be: key → fact."""
    match = Match(name, name, "genus", genus=genus_of(name), family=family)
    return {known.key: known for known in gather(kb, match, seen).known.values()}


def test_a_lent_level_yields_to_the_seasons_reported_of_nearer_kin(kb: KnowledgeBase) -> None:
    """Most of the carrot family grows its embryo in the cold; Sanicula is reported to need warmth before it."""
    assert lent(kb, "Nescio carota", "Apiaceae")["morphophysiological_level"].word == "deep_complex"
    facts = lent(kb, "Sanicula nescia", "Apiaceae")
    assert facts["season_order"][1:3] == ("warm_cold", "genus")
    assert "morphophysiological_level" not in facts


def test_no_plan_holds_a_lent_level_against_nearer_reports(kb: KnowledgeBase, species: list[str]) -> None:
    levels = kb.vocabulary.traits["morphophysiological_level"]["values"]
    nearness = ("bench", "species", "genus", "family")
    for name in species:
        facts = gather(kb, kb.lookup(name))
        for level in facts.of("morphophysiological_level"):
            for order in facts.of("season_order"):
                if nearness.index(order.basis) < nearness.index(level.basis):
                    assert order.word in levels[level.word].get("seasons", [order.word]), name


def test_reports_of_relatives_with_another_dormancy_do_not_count(kb: KnowledgeBase) -> None:
    """The heath family reports cold unneeded mostly where seed is not dormant at all."""
    waiting = {"dormancy_class": "physiological", "home_climate": "cold_winter"}
    for known in gather(kb, Match("x", None, "family", family="Ericaceae"), waiting).of("reported_cold"):
        classes = {(kb.store.summary(n) or {})["traits"].get(KEY, [["physiological"]])[0][0] for n in known.relatives}
        assert classes == {"physiological"}


def test_a_family_lends_its_need_for_cold_only_to_plants_of_cold_winters(kb: KnowledgeBase) -> None:
    waiting = {"dormancy_class": "physiological"}
    assert "reported_cold" not in lent(kb, "Nescio gentiana", "Gentianaceae", **waiting)
    cold = lent(kb, "Nescio gentiana", "Gentianaceae", home_climate="cold_winter", **waiting)["reported_cold"]
    assert (cold.word, cold.basis) == ("helps", "family")


@pytest.mark.parametrize("home", ["tropical_wet", "tropical_dry", "tropical_montane"])
def test_no_relative_lends_a_need_for_cold_to_a_plant_of_the_tropics(kb: KnowledgeBase, home: str) -> None:
    assert lent(kb, "Acer nescium", "Sapindaceae", dormancy_class="physiological")["reported_cold"].word == "helps"
    facts = lent(kb, "Acer nescium", "Sapindaceae", dormancy_class="physiological", home_climate=home)
    assert "reported_cold" not in facts


def test_relatives_that_disagree_about_a_treatment_are_said_to(kb: KnowledgeBase) -> None:
    """Buttercups: some gain from cold, some germinate without: half the lot is chilled."""
    cold = lent(kb, "Ranunculus nescius", "Ranunculaceae")["reported_cold"]
    assert (cold.word, cold.basis) == ("mixed", "genus") and len(cold.relatives) >= 2


def test_a_chance_said_is_a_chance_kept(trials: list[Trial]) -> None:
    """Within three standard errors in each row of 30 and more; rows rise."""
    rows = [row for row in figures(trials)["reliability"] if row["tried"] >= 30]
    assert len(rows) >= 3
    shares = [row["right"] / row["tried"] for row in rows]
    assert shares == sorted(shares)
    for row, share in zip(rows, shares, strict=True):
        error = (row["mean"] * (1 - row["mean"]) / row["tried"]) ** 0.5
        assert abs(share - row["mean"]) <= 3 * error, row


def test_every_trial_is_made_without_the_species(trials: list[Trial], kb: KnowledgeBase, species: list[str]) -> None:
    assert [t.species for t in trials] == kb.names()
    alone = [t for t in trials if t.rank == "genus" and sum(genus_of(n) == t.genus for n in species) == 1]
    for trial in alone:  # a genus of one species can know a class only from what another source says of the whole
        rest = kb.without(species=trial.species).store  # or from the table of classes
        stated = rest.summary(trial.genus) or {"traits": {}}
        section = rest.clade_of(trial.species)
        assert KEY in stated["traits"] or rest.classed("genus", trial.genus) or section, trial.species


def test_brier_score_of_certain_right_wrong_and_even_chances() -> None:
    assert brier({"a": 1.0, "b": 0.0}, "a") == 0
    assert brier({"a": 1.0, "b": 0.0}, "b") == 2
    assert brier({"a": 0.5, "b": 0.5}, "a") == 0.5
    assert brier({"a": 1.0}, "b") == 2, "a class that a baseline has never seen"


STALE = 0.03  # of a row's trials: so much may change before the committed table must be written again


def test_the_committed_table_is_near_what_the_command_would_write(trials: list[Trial], kb: KnowledgeBase) -> None:
    """It need not be exact: a new entry must not move every plan. Mend it with `rousewort calibrate --write`."""
    fresh, held = table(trials, class_counts(kb)), kb.calibration
    for old, new in zip(held["class_by_chance"], fresh["class_by_chance"], strict=True):
        for key in ("right", "tried"):
            assert abs(old[key] - new[key]) <= max(5, STALE * new["tried"]), f"stale: {old}, now {new}"
    assert held["prior"] == pytest.approx(fresh["prior"], abs=0.01)


def test_the_command_prints_the_table_and_writes_nothing_unasked(layer, capsys: pytest.CaptureFixture[str]) -> None:
    before = (layer / "calibration.yaml").read_bytes()
    assert main(["calibrate"]) == 0
    printed = capsys.readouterr().out
    assert (layer / "calibration.yaml").read_bytes() == before
    assert re.search(r"Rousewort +\d+ of \d+ \(\d+\.\d %\) +0\.\d{3}", printed)
    assert max(map(len, printed.splitlines())) <= 80


# --- what plans say


def placed(planner: Planner, name: str, family: str) -> Plan:
    return planner.plan_for(Match(name, name, "genus", genus=genus_of(name), family=family))


def test_the_plan_names_the_relatives_that_it_rests_on(planner: Planner, kb: KnowledgeBase) -> None:
    block = placed(planner, "Viburnum nusquam", "Adoxaceae").basis["relatives"]
    assert (block["rank"], block["name"]) == ("genus", "Viburnum")
    for item in block["classes"]:
        assert len(item["species"]) <= item["count"]
        for name in item["species"]:
            assert kb.taxon(name)["family"] == "Adoxaceae"  # type: ignore[index]


def test_a_species_with_a_class_of_its_own_names_no_relatives_for_it(planner: Planner) -> None:
    assert "relatives" not in planner.plan("Cercis canadensis").basis


def split_genera(kb: KnowledgeBase) -> list[tuple[str, str]]:
    pairs = []
    for genus in sorted({genus_of(name) for name in kb.names()}):
        family = kb.genus_family(genus)
        if family and estimate(kb, genus, family).others(estimate(kb, genus, family).serving):
            pairs.append((genus, family))
    return pairs


def test_where_relatives_differ_the_note_says_so_and_the_lot_can_be_split(kb: KnowledgeBase, planner: Planner) -> None:
    told = 0
    for genus, family in split_genera(kb)[:60]:
        plan = placed(planner, f"{genus} nusquam", family)
        assert "relatives differ" in plan.basis["note"], genus
        for split in plan.splits:
            told += 1
            line = split["text"]
            other = planner.plan_for(plan.match, measurements=split["observed"])
            assert other.outcome == "plan"
            ours = [s.kind for s in plan.steps if not s.optional]
            assert [s.kind for s in other.steps if not s.optional] != ours, f"{genus}: {line}"
    assert told >= 10


def answered(plan: Plan, name: str) -> None:
    """A plan with something to do, a laboratory, or what to observe next; always with an honest ground."""
    assert plan.outcome in ("plan", "laboratory", "unknown", "unreachable"), name
    if plan.outcome == "plan":
        assert plan.steps and plan.basis["kind"] != "none", name
        assert 0 < plan.basis["confidence"] < 1, name
        assert plan.dormancy["class"] or any(s.kind not in ("inspect", "clean", "soak", "sow") for s in plan.steps), (
            name
        )
    else:
        assert plan.advice, name
        asked = [step.kind for step in plan.steps if not step.optional]
        assert plan.outcome == "unreachable" or set(asked) <= {"inspect", "clean", "sow"}, f"{name}: only hedged steps"


def test_every_family_gives_an_answer_or_what_to_observe_next(kb: KnowledgeBase, planner: Planner) -> None:
    families = kb.store.shared("families")
    assert len(families) >= 428
    outcomes = {}
    for family in families:
        plan = planner.plan(family)
        answered(plan, family)
        outcomes[family] = plan.outcome
    assert outcomes["Fabaceae"] == "plan" and outcomes["Orchidaceae"] == "laboratory"
    assert outcomes["Acanthaceae"] == "unknown"


def test_every_genus_stands_in_a_family_that_exists(kb: KnowledgeBase) -> None:
    placed_in = kb.store.shared("genus_family")
    assert len(placed_in) > 20_000
    assert [(genus, family) for genus, family in placed_in.items() if not kb.is_family(family)] == []


def test_a_genus_of_each_family_and_each_with_entries_gives_a_species_unknown_to_us_an_answer(
    kb: KnowledgeBase, planner: Planner
) -> None:
    placed_in = kb.store.shared("genus_family")
    with_entries = {genus_of(name) for name in kb.names()}
    first = {family: genus for genus, family in sorted(placed_in.items(), reverse=True)}
    for genus in sorted({*first.values(), *with_entries}):
        family = placed_in[genus]
        match = kb.lookup(f"{genus} nusquamensis")
        assert match.matched_by in ("genus", "spelling"), genus
        assert match.family == family, genus
        answered(placed(planner, f"{genus} nusquamensis", family), genus)


def test_seed_that_dies_when_dried_is_lent_no_watertight_coat_and_is_not_soaked(kb: KnowledgeBase) -> None:
    """Mango stands among the sumachs, whose coats keep water out; its own seed is shed full of water."""
    facts = lent(kb, "Mangifera nescia", "Anacardiaceae")
    assert facts["drying"].word == "sensitive" and "coat_water" not in facts
    for name in ("Mangifera indica", "Durio zibethinus", "Theobroma cacao", "Shorea nescia"):
        kinds = [step.kind for step in Planner(kb, "plain").plan(name).steps]
        assert kinds and not {"soak", "nick", "abrade", "hot_water", "acid", "cold_moist"} & set(kinds), name


def test_seed_that_cannot_wait_is_not_told_to_wait_for_an_answer(kb: KnowledgeBase) -> None:
    plan = Planner(kb, "plain").plan_for(
        Match("Nescio", "Nescio sapota", "family", family="Sapotaceae"), measurements={"drying": "sensitive"}
    )
    assert plan.outcome == "unknown" and any(line.startswith("Sow most of it at once") for line in plan.advice)


TROPICAL = """Swietenia macrophylla, Manilkara zapota, Pouteria sapota, Nephelium lappaceum, Litchi chinensis, Canarium ovatum,
Ceiba pentandra, Pachira aquatica, Cola nitida, Cecropia peltata, Ficus benghalensis, Brosimum alicastrum, Calophyllum
inophyllum, Virola surinamensis, Eugenia uniflora, Psidium guajava, Carica papaya, Schefflera actinophylla, Tabebuia rosea,
Alstonia scholaris, Syzygium jambos, Garcinia mangostana"""


@pytest.mark.parametrize("name", [" ".join(name.split()) for name in TROPICAL.split(",")])
def test_no_tropical_tree_is_told_to_chill_or_lie_out_in_winter(kb: KnowledgeBase, name: str) -> None:
    """Temperate relatives are the better studied; what they need is not lent to a plant whose home has no winter."""
    plan = Planner(kb, "plain").plan(name)
    assert not {"cold_moist", "outdoor_winter"} & {step.kind for step in plan.steps}
    assert not any("60 days cold" in line for line in plan.advice)


def test_where_no_plan_is_made_no_record_of_plans_is_claimed(kb: KnowledgeBase) -> None:
    plan = Planner(kb, "plain").plan("Pouteria sapota")
    assert (plan.outcome, plan.basis["confidence"]) == ("unknown", 0.0) and "trials" not in plan.basis["note"]
