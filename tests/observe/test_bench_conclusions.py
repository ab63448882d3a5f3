"""From raw bench numbers to words, questions and contradictions. All numbers here are invented (Sallow Bridge community nursery)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.atomic_write import write_atomically
from rousewort.base.errors import UserError
from rousewort.observe.arithmetic import sums_of
from rousewort.observe.ask import Inquiry, Question
from rousewort.observe.compare import apart, parts_of
from rousewort.observe.conclude import Conclusion, against_books, match_for, read
from rousewort.observe.entries import Observations, as_text, checked, load_file, parse
from rousewort.observe.key import tests as key_of
from rousewort.planning.grower import make_grower

NOBODY = "Sallowia ripensis"
SHUT = {"intact_g": {0: 1.0, 48: 1.02}, "nicked_g": {0: 1.0, 48: 1.9}}
OPEN = {"intact_g": {0: 1.0, 48: 1.5}, "nicked_g": {0: 1.0, 48: 1.55}}
SOON, LATE = {"sown": 50, "roots": {14: 10, 28: 40}}, {"sown": 50, "roots": {28: 1, 60: 5}}
SMALL, FULL = {"embryo_mm": [0.4], "seed_mm": [4.0]}, {"embryo_mm": [3.8], "seed_mm": [4.0]}


@pytest.fixture
def bench(kb, planner):
    return Inquiry(kb, match_for(kb, NOBODY), planner=planner)


def seen(kb, **tests) -> Observations:
    return checked(Observations(NOBODY, seen=tests), kb.vocabulary)


# The key itself


def test_every_word_class_source_and_number_of_the_key_is_known(kb):
    files = kb.vocabulary.files
    for test in key_of(kb.vocabulary).values():
        assert sums_of(test.data).numbers
        assert test.reads and test.do and test.fields
        for clause in test.reads:
            assert clause.held in files["held"]
            assert clause.source is None or clause.source in kb.sources
            assert clause.source or clause.held == "practice", f"{test.id}: a published threshold needs its source"
            for trait, words in [*((t, (w,)) for t, w in clause.then.items()), *clause.leaves.items()]:
                assert set(words) <= set(kb.vocabulary.given[trait])
            assert set(clause.when) <= set(test.gives) | set(test.fields), f"{test.id}: {clause.when}"


def test_every_arm_and_pattern_of_a_trial_speaks_the_vocabulary(kb):
    table = kb.vocabulary.files["trials"]
    arms = {arm["id"] for arm in table["arms"]}
    assert len(arms) == len(table["arms"]) and "control" in arms
    for arm in table["arms"]:
        assert {s["kind"] for s in arm["seasons"]} <= set(kb.treatments) | {"grow"}
        assert set(arm.get("needs", ())) <= set(kb.vocabulary.files["equipment"])
        assert set(arm["means"]) <= {*kb.treatments, "open_coat"}
        for clause in arm.get("shows", ()):
            said = {clause["did"], *clause.get("beside", {}).values()}
            assert said <= {"seedling", "root", "none"} and set(clause.get("beside", {})) <= arms
            assert all(word in kb.vocabulary.given[trait] for trait, word in clause["says"].items())
    named = set()
    for pattern in table["patterns"]:
        named.add(pattern["is"]["dormancy_class"])
        assert all(
            word in kb.vocabulary.given[key] for key, word in {**pattern["is"], **pattern.get("adds", {})}.items()
        )
        assert set(pattern) - {"id", "is", "adds"} <= arms
        assert {pattern[a] for a in arms if a in pattern} <= {"seedling", "root", "none"}
    assert named == set(kb.vocabulary.traits["dormancy_class"]["values"])


# Arithmetic and thresholds


@pytest.mark.parametrize(
    ("test", "values", "words"),
    [
        ("imbibition", {"intact_g": {0: 1, 24: 1.0999}, "nicked_g": {0: 1, 24: 1.3}}, {"coat_water": "stops"}),
        ("imbibition", {"intact_g": {0: 1, 24: 1.05}, "nicked_g": {0: 1, 24: 1.1}}, {}),
        ("imbibition", {"intact_g": {0: 1, 4: 1.0}, "nicked_g": {0: 1, 4: 1.9}}, {}),
        ("imbibition", {"intact_g": {0: 1, 24: 1.0}}, {}),
        ("imbibition", {"intact_g": {0: 1, 48: 1.4}, "intact_swollen": 10, "intact_seeds": 25}, {"coat_water": "stops"}),
        ("embryo", {"embryo_mm": [2.6], "seed_mm": [4.0]}, {}),
        ("embryo", {"embryo_mm": [0.4], "seed_mm": [4.0], "organs": "no"}, {"embryo": "undifferentiated"}),
        ("excised_embryo", {"normal": 9, "stunted": 1}, {}),
        ("hormone_response", {"treated": 40, "treated_roots": 30, "water": 40, "water_roots": 2}, {"gibberellin": "replaces_cold"}),
        ("hormone_response", {"treated": 40, "treated_roots": 3, "water": 40, "water_roots": 2}, {"gibberellin": "no_help"}),
        ("hormone_response", {"treated": 10, "treated_roots": 1, "water": 10, "water_roots": 0}, {}),
        ("dry_storage", {"fresh": 40, "fresh_roots": 2, "stored": 40, "stored_roots": 30}, {"dry_after_ripening": "helps"}),
        ("dry_storage", {"fresh": 40, "fresh_roots": 30, "stored": 40, "stored_roots": 2}, {}),
        ("light_test", {"light": 50, "light_roots": 40, "dark": 50, "dark_roots": 1}, {"light": "required"}),
        ("light_test", {"light": 50, "light_roots": 2, "dark": 50, "dark_roots": 1}, {}),
        ("seed_mass", {"grams": 2.3, "seeds": 100}, {"seed_size": "medium"}),
        ("drying_test", {"fresh": 20, "fresh_alive": 18, "ten": 20, "ten_alive": 3}, {"drying": "sensitive"}),
        ("drying_test", {"fresh": 20, "fresh_alive": 18, "ten": 20, "ten_alive": 18, "five": 20, "five_alive": 2}, {"drying": "intermediate"}),
    ],
)  # fmt: skip
def test_raw_numbers_become_the_words_that_the_thresholds_say(kb, test, values, words):
    whole = checked(Observations(seen={test: values}), kb.vocabulary).seen[test]
    assert read(key_of(kb.vocabulary)[test], whole, kb.vocabulary).words == words


def test_percentages_are_of_filled_seed(kb):
    reading = read(
        key_of(kb.vocabulary)["fresh_germination"], {"sown": 50, "empty": 20, "roots": {28: 16}}, kb.vocabulary
    )
    assert reading.numbers["prompt_pct"] == pytest.approx(100 * 16 / 30)
    assert reading.clause.leaves["dormancy_class"] == ("none", "morphological")


@given(dry=st.floats(0.1, 10), swell=st.floats(0, 1.5), more=st.floats(0, 1.5))
def test_law_a_soak_test_does_not_depend_on_how_much_was_weighed(kb, dry, swell, more):
    def word(scale):
        values = {"intact_g": {0: scale, 48: scale * (1 + swell)}, "nicked_g": {0: 1.0, 48: 1 + swell + more}}
        reading = read(key_of(kb.vocabulary)["imbibition"], values, kb.vocabulary)
        return reading.words, reading.numbers["intact_gain_pct"]

    (one, gain), (other, _) = word(1.0), word(dry)
    if min(abs(gain - limit) for limit in (10, 30)) > 1e-6 and abs(100 * more - 20) > 1e-6:
        assert one == other


# Together


def test_nothing_seen_settles_nothing(bench):
    conclusion = bench.conclude(Observations(NOBODY))
    assert (conclusion.words, conclusion.left, conclusion.contradictions) == ({}, {}, ())


def test_contradicting_tests_are_shown_and_give_the_plan_no_class(bench, kb):
    conclusion = bench.conclude(seen(kb, imbibition=SHUT, fresh_germination=SOON))
    assert "dormancy_class" not in conclusion.words
    (clash,) = conclusion.contradictions
    assert "keeps water out" in clash.one + clash.other and "30 days" in clash.one + clash.other


def test_a_trial_and_a_test_that_differ_on_a_trait_leave_it_unknown(bench, kb):
    known = seen(kb, hormone_response={"treated": 40, "treated_roots": 30, "water": 40, "water_roots": 2})
    known.found = {"gibberellin": "no_help"}
    conclusion = bench.conclude(known)
    assert "gibberellin" not in conclusion.words
    assert [c.about for c in conclusion.contradictions] == ["gibberellin"]


def test_what_was_seen_outranks_the_books_and_the_difference_is_told(kb, planner):
    bench = Inquiry(kb, match_for(kb, "Cercis canadensis"), planner=planner)
    conclusion = bench.conclude(seen(kb, imbibition=OPEN))
    assert [c.about for c in against_books(kb, bench.match, conclusion)]
    assert "watertight_coat" not in bench.plan(bench.words_for_plan(conclusion)).findings.obstacles
    assert "watertight_coat" in bench.plan({}).findings.obstacles


def test_a_soak_test_and_a_hard_coated_family_are_stronger_together(kb, planner):
    def chance(family, **tests):
        bench = Inquiry(kb, match_for(kb, NOBODY, family), planner=planner)
        return bench.chances(bench.conclude(seen(kb, **tests))).get("physical", 0)

    both = chance("Fabaceae", imbibition=SHUT)
    assert both > chance("Fabaceae") and both > chance(None, imbibition=SHUT)


def test_levels_need_their_class(bench, kb):
    stunted = {"normal": 1, "stunted": 9}
    assert "physiological_level" not in bench.conclude(seen(kb, excised_embryo=stunted)).words
    whole = bench.conclude(seen(kb, excised_embryo=stunted, imbibition=OPEN, embryo=FULL, fresh_germination=LATE))
    assert whole.words["physiological_level"] == "deep"


def test_an_empty_lot_ends_the_questions(bench, kb):
    answer = bench.ask(seen(kb, cut_test={"full": 2, "empty": 18}))
    assert isinstance(answer, Conclusion) and [r.test.id for r in answer.stop] == ["cut_test"]


# Questions


def test_the_first_question_is_whether_the_lot_is_filled(bench):
    assert bench.ask(Observations(NOBODY)).test.id == "cut_test"


def test_skipped_and_answered_questions_are_not_asked_again(bench, kb):
    known, asked = Observations(NOBODY), []
    while isinstance(question := bench.ask(known), Question):
        asked.append(question.test.id)
        known.skipped.append(question.test.id)
    assert len(asked) == len(set(asked)) > 3


def test_a_question_is_worth_more_where_more_is_open(kb, planner):
    def worth(family):
        bench = Inquiry(kb, match_for(kb, NOBODY, family), planner=planner)
        return next((q.worth for q in bench.questions(Observations(NOBODY)) if q.test.id == "imbibition"), 0)

    # Of plants at large a coat that keeps water out is rare, in the mallows half have it, in the pines none.
    assert worth("Malvaceae") > worth(None) > worth("Pinaceae") > 0


def test_after_the_soak_test_shows_a_watertight_coat_nicked_seed_is_asked_for(bench, kb):
    known = seen(
        kb, imbibition=SHUT, cut_test={"full": 20, "empty": 0}, origin={"home": "cold_winter", "life": "woody"}
    )
    ids = [q.test.id for q in bench.questions(known)]
    assert "nicked_germination" in ids and "embryo" not in ids


def test_no_seed_of_a_tiny_lot_is_spent(kb, planner):
    bench = Inquiry(kb, match_for(kb, NOBODY), make_grower(kb.vocabulary, seeds=12), planner)
    assert all(q.test.spends == 0 for q in bench.questions(Observations(NOBODY)))


def test_where_a_waiting_embryo_comes_from_is_asked_since_it_decides_the_winter(bench):
    assert "origin" in [q.test.id for q in bench.questions(Observations(NOBODY))]


def test_gibberellic_acid_is_asked_about_only_where_it_is_there(kb, planner):
    def ids(*have):
        bench = Inquiry(kb, match_for(kb, NOBODY), make_grower(kb.vocabulary, have=have), planner)
        return [q.test.id for q in bench.questions(seen(kb, imbibition=OPEN, embryo=FULL, fresh_germination=LATE))]

    assert "hormone_response" not in ids()
    assert "excised_embryo" in ids() and "excised_embryo" in ids("gibberellic_acid")


@given(st.sets(st.sampled_from("abcdef")), st.sets(st.sampled_from("abcdef")))
def test_law_distance_of_plans(one, other):
    a, b = (frozenset(("step", kind) for kind in kinds) for kinds in (one, other))
    assert apart(a, b) == apart(b, a) and 0 <= apart(a, b) <= 1 and (apart(a, b) == 0) == (a == b)


# Files and mistakes


def test_saved_observations_come_back_whole(kb, tmp_path):
    known = seen(kb, imbibition=SHUT, fresh_germination=SOON, embryo=SMALL)
    known.family, known.skipped = "Fabaceae", ["tetrazolium"]
    known.found, known.left = {"gibberellin": "helps"}, {"dormancy_class": ["physical", "none"]}
    write_atomically(tmp_path / "seen.yaml", as_text(known).encode())
    assert load_file(tmp_path / "seen.yaml", kb.vocabulary) == known


def test_every_impossible_value_is_named_at_once(kb):
    wrong = {
        "cut_test": {"full": -1, "empty": 2},
        "embryo": {"embryo_mm": [0], "seed_mm": [4]},
        "imbibition": {"intact_g": {0: -2, 24: 1}},
        "seed_mass": {"grams": 1, "seads": 4},
        "weather": {},
    }
    with pytest.raises(UserError) as trouble:
        checked(Observations(seen=wrong), kb.vocabulary)
    text = str(trouble.value)
    for piece in ("cut_test.full", "embryo_mm holds 0", "intact_g holds", "seads is not part", "'weather'"):
        assert piece in text


@pytest.mark.parametrize(
    ("test", "values", "piece"),
    [
        ("fresh_germination", {"sown": 10, "roots": {7: 11}}, "only 10 filled"),
        ("fresh_germination", {"sown": 10, "roots": {7: 5, 14: 3}}, "fall from 5 to 3"),
        ("fresh_germination", {"sown": 10, "empty": 10, "roots": {7: 0}}, "nothing was tested"),
        ("imbibition", {"intact_g": {24: 2.0}}, "dry mass at hour 0"),
        ("imbibition", {"intact_g": {0: 2.0, 24: 2.1}, "nicked_g": {0: 2.0, 25: 2.1}}, "same hour"),
        ("embryo", {"embryo_mm": [5], "seed_mm": [4]}, "longer than seeds"),
        ("root_and_shoot", {"root_day": 30, "shoot_day": 10, "between": "warm"}, "before the roots"),
        ("excised_embryo", {"normal": 0, "stunted": 0}, "no embryos"),
    ],
)
def test_values_that_cannot_both_be_true_are_refused_in_words(kb, test, values, piece):
    whole = checked(Observations(seen={test: values}), kb.vocabulary).seen[test]
    with pytest.raises(UserError, match=piece):
        read(key_of(kb.vocabulary)[test], whole, kb.vocabulary)


def test_typed_answers_are_read_as_meant(kb):
    fields = {**key_of(kb.vocabulary)["imbibition"].fields, **key_of(kb.vocabulary)["embryo"].fields}
    assert parse("0=2.31, 24:2.4 48 = 3", fields["intact_g"]) == {0: 2.31, 24: 2.4, 48: 3}
    assert parse("1.2 1,4;3", fields["seed_mm"]) == [1.2, 1, 4, 3]
    for text in ("2.31", "0=2 then 24", "0=2, 0=3", "x=2"):
        with pytest.raises(ValueError):
            parse(text, fields["intact_g"])


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    import os

    path = tmp_path / "seen.yaml"
    path.write_text("old", encoding="utf-8")
    monkeypatch.setattr(os, "replace", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(UserError, match="cannot be written"):
        write_atomically(path, b"new")
    assert path.read_text(encoding="utf-8") == "old" and list(tmp_path.iterdir()) == [path]


def test_words_that_the_questions_leave_out_would_change_no_plan(kb, planner):
    """Of wholly unknown seed, words that no rule tells from another, or from not knowing, are not planned with: it must make
    no difference."""
    bench = Inquiry(kb, match_for(kb, "seed"), planner=planner)
    assert ("embryo", "full_size") in bench.idle
    assert not {("embryo", "undifferentiated"), ("coat_water", "stops"), ("home_climate", "arid")} & bench.idle

    def planned(*facts):
        return parts_of(bench.plan(dict(facts)), "inspect", never=True)

    assert len(bench.alike) > len(bench.idle) > 20
    merged = {fact: other for fact, other in bench.alike.items() if fact != other and fact[1] != "unknown"}
    assert merged.keys() >= bench.idle
    for word, rest in (("none", {}), ("physical_physiological", {"home_climate": "alpine"})):
        for fact, other in merged.items():
            given = [("dormancy_class", word), *rest.items()]
            assert planned(*given, fact) == planned(*given, *([other] if other else [])), fact
