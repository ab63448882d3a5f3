"""What is wrong in a knowledge-base file is told with file, line, column and what to write instead, all at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_plant import PLANT, PLANT_PATH, RULE, RULE_PATH
from rousewort.base.errors import KnowledgeError, Problem
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.check import check_layer
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.strict_yaml import read
from rousewort.knowledge.summary import summarise

Find = Callable[[dict], list[Problem]]


def changed(text: str, old: str, new: str) -> str:
    assert text.count(old) == 1, f"{old!r} must stand once in the file that the test changes"
    return text.replace(old, new)


def test_the_plant_and_the_rule_of_these_tests_pass_as_they_are(built: Callable[..., KnowledgeBase]) -> None:
    kb = built({PLANT_PATH: PLANT, RULE_PATH: RULE})
    assert kb.taxon("Sallowia pontis")["family"] == "Fabaceae"
    assert any(rule["id"] == "bridge-rule" for rule in kb.rules)


@pytest.mark.parametrize(
    ("old", "new", "place", "what", "mend"),
    [
        ("family: Fabaceae", "familly: Fabaceae", (3, 1), "`familly` is not a key here", "Did you mean `family`?"),
        ("  dormancy_class:", "  dormancy_clas:", (7, 3), "`dormancy_clas`", "Did you mean `dormancy_class`?"),
        (
            "is: physical,",
            "is: phsical,",
            (8, 12),
            "`phsical` is not a word for dormancy_class",
            "Did you mean `physical`?",
        ),
        ("is: physical,", "is: 5,", (8, 12), "`5` is not a word", "Allowed: none, physical"),
        ("held: practice}\n  seeds", "hold: practice}\n  seeds", (8, 7), "`held` is missing", "How the fact is held"),
        ("low: 100", "low: many", (10, 13), "must be of type number, not `many`", "Lower count."),
        ("low: 100", "low: 0", (10, 13), "less than or equal", "Lower count."),
        ("low: 100", "low: 9000000", (10, 13), "greater than the maximum", "Lower count."),
        ("low: 100", "low: 500", (10, 7), "reversed: low 500 is above high 120", "Swap them."),
        ("{low: 80, high: 85}", "{low: 80, high: 999}", (17, 55), "none of the forms", "From, to."),
        ("{low: 80, high: 85}", "{low: 90, high: 80}", (17, 55), "reversed", "Swap them."),
        ("way: poured, ", "", (17, 9), "`way` is missing", ""),
        (
            "source: fao-1992",
            "source: fao-1929",
            (13, 13),
            "`fao-1929` is not in sources.yaml",
            "Did you mean `fao-1992`?",
        ),
        ("source: fao-1992\n    ", "", (12, 5), "`source` is missing", ""),
        ("rank: species", "rank: genus", (2, 7), "an entry of rank genus does not belong in species/", "Move the file"),
        (
            "name: Sallowia pontis",
            "name: Sallowia ponti",
            (1, 7),
            "must be species/sallowia/sallowia-ponti.yaml",
            "rename",
        ),
        ("name: Sallowia pontis", "name: Sallowia", (1, 7), "at least two words", "genus and epithet"),
        ("synonyms: [Sallowia vetus]", "synonyms: Sallowia vetus", (4, 11), "must be of type array", ""),
        ("common_names: [sallow bridge pea]", "common_names: [12]", (5, 16), "must be of type string", ""),
        ("rank: species\n", "", (1, 1), "`rank` is missing", "What the entry is about"),
        ("family: Fabaceae\n", "", (1, 1), "`family` is missing", ""),
        (
            "temperature_c: {low: 80, high: 85}",
            "minutes: {low: 1, high: 2}, hours: {low: 1, high: 2}",
            (17, 9),
            "both hours and minutes",
            "Give one.",
        ),
    ],
)
def test_a_mistake_in_an_entry_is_told_where_it_stands(
    problems: Find, old: str, new: str, place: tuple[int, int], what: str, mend: str
) -> None:
    found = problems({PLANT_PATH: changed(PLANT, old, new)})
    told = [p for p in found if what in p.what and mend in p.mend]
    assert told, "\n".join(map(str, found))
    assert told[0].file == PLANT_PATH
    assert (told[0].line, told[0].column) == place, str(told[0])


def test_all_problems_of_all_files_are_told_at_once_in_order(problems: Find) -> None:
    other = PLANT.replace("pontis", "rivi").replace("vetus", "antiqua")
    found = problems(
        {
            PLANT_PATH: PLANT.replace("is: physical", "is: phsical")
            .replace("low: 100", "low: many")
            .replace("fao-1992", "nobody-1900"),
            "species/sallowia/sallowia-rivi.yaml": other.replace("family:", "famly:"),
            "species/sallowia/sallowia-tertia.yaml": "name: NO\n",
            RULE_PATH: RULE.replace("obstacle: watertight_coat", "obstacle: watertight_cot"),
            "sources.yaml": "new-1990: {}\n",
        }
    )
    assert found == sorted(found)
    assert len(found) == len(set(found))
    assert {p.file for p in found} == {
        PLANT_PATH,
        "species/sallowia/sallowia-rivi.yaml",
        "species/sallowia/sallowia-tertia.yaml",
        RULE_PATH,
        "sources.yaml",
    }
    here = "\n".join(p.what for p in found if p.file == PLANT_PATH)
    assert "phsical" in here and "many" in here


def test_every_problem_of_one_kind_in_one_file_is_told(problems: Find) -> None:
    text = PLANT.replace("low: 100", "low: 500").replace("{low: 80, high: 85}", "{low: 90, high: 80}")
    assert len([p for p in problems({PLANT_PATH: text}) if "reversed" in p.what]) == 2


def test_every_unknown_key_of_one_mapping_is_told(problems: Find) -> None:
    text = changed(PLANT, "rank: species", "rank: species\nheight: 3\ncolour: red")
    told = "\n".join(p.what for p in problems({PLANT_PATH: text}))
    assert "`height`" in told and "`colour`" in told


@pytest.mark.parametrize("rank", ["name", "synonyms"])
def test_two_files_that_claim_one_name_are_both_named(problems: Find, rank: str) -> None:
    other = PLANT.replace("Sallowia pontis", "Sallowia rivi")
    if rank == "name":
        other = other.replace("[Sallowia vetus]", "[Sallowia pontis]")
    found = problems({PLANT_PATH: PLANT, "species/sallowia/sallowia-rivi.yaml": other})
    (claim,) = [p for p in found if "already claimed" in p.what]
    assert "Sallowia pontis" in claim.what and PLANT_PATH in claim.what
    assert claim.file == "species/sallowia/sallowia-rivi.yaml"


def test_two_treatment_files_of_one_kind_are_refused(problems: Find, layer: Path) -> None:
    """The second would silently replace the first."""
    soak = (layer / "treatments" / "soak.yaml").read_text("utf-8")
    found = problems({"treatments/soak.yaml": soak, "treatments/steep.yaml": soak})
    assert any(p.file == "treatments/steep.yaml" and "soak" in p.what for p in found)


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("species/sallowia-pontis.yaml", PLANT),
        ("species/other/sallowia-pontis.yaml", PLANT),
        ("species/sallowia/pontis.yaml", PLANT),
        ("species/sallowia/sallowia-pontis.yml", PLANT),
        ("genera/sallowia/sallowia-pontis.yaml", PLANT),
        ("rules/another-rule.yaml", RULE),
        ("rules/deeper/bridge-rule.yaml", RULE),
    ],
)
def test_a_file_in_the_wrong_place_is_told_the_right_one(problems: Find, path: str, text: str) -> None:
    found = problems({path: text})
    assert any(p.file == path and ("must be" in p.what or "does not belong" in p.what) for p in found), found


@pytest.mark.parametrize(
    "path", ["speceis/sallowia/sallowia-pontis.yaml", "sallowia-pontis.yaml", "source.yaml", "rule/bridge-rule.yaml"]
)
def test_a_file_in_a_folder_that_is_no_part_of_a_knowledge_base_is_not_silently_left_out(
    problems: Find, path: str
) -> None:
    assert any(p.file == path for p in problems({path: PLANT}))


@pytest.mark.parametrize(
    ("old", "new", "what", "mend"),
    [
        ("status: draft\n", "", "`status` is missing", "draft, stable, doubted"),
        ("status: draft", "status: stabel", "`stabel` is not a word for status", "Did you mean `stable`?"),
        ("date: '2026-12-01'\n", "", "`date` is missing", "The day, as '2026-12-01'"),
        ("'2026-12-01'", "'1 December'", "is not how date is written", "The day, as '2026-12-01'"),
        (
            "[Seed that was never dried may be open already.]",
            "[]",
            "limits: [] has less than 1 item",
            "Where it may be wrong",
        ),
        ("[Seed that was never dried may be open already.]", "[Rarely.]", "shorter than 25", "as a whole sentence"),
        ("fires: [{species", "fires: [{speices", "`speices` is not a key here", "Did you mean `species`?"),
        ("source: yang-2022-acid, ", "", "`source` is missing", "The id of a work"),
        (
            "source: yang-2022-acid",
            "source: yang-2022-acdi",
            "`yang-2022-acdi` is not in sources.yaml",
            "`yang-2022-acid`",
        ),
        ("source: yang-2022-acid", "held: read", "`source` is missing", ""),
    ],
)
def test_a_rule_without_what_a_grown_rule_has_is_told_what_to_write(
    problems: Find, old: str, new: str, what: str, mend: str
) -> None:
    assert old in RULE
    found = problems({RULE_PATH: RULE.replace(old, new)})
    assert any(p.file == RULE_PATH and p.line and what in p.what and mend in p.mend for p in found), found


def test_an_example_that_is_a_list_of_facts_is_told_the_form(problems: Find) -> None:
    """The form before: facts that said the condition again."""
    old = RULE[RULE.index("  fires:") : RULE.index("  silent:")]
    (problem,) = problems({RULE_PATH: RULE.replace(old, "  fires: [[{coat_water: stops}]]\n")})
    assert "fires must be of type object" in problem.what and "species: a name" in problem.mend


def test_a_source_may_be_added_by_the_layer_that_uses_it(built: Callable[..., KnowledgeBase]) -> None:
    kb = built(
        {
            "sources.yaml": "bridge-2001: {citation: 'An invented work. 2001.'}\n",
            PLANT_PATH: PLANT.replace("fao-1992", "bridge-2001"),
        }
    )
    assert kb.sources["bridge-2001"]["citation"] == "An invented work. 2001."
    assert "fao-1992" in kb.sources, "the sources beneath stay"


@pytest.mark.parametrize("text", ["[a, b]", "5", "null", "text", "true", "{}", "[]"])
@pytest.mark.parametrize(
    "path",
    [
        PLANT_PATH,
        RULE_PATH,
        "treatments/soak.yaml",
        "sources.yaml",
        "names/families.yaml",
        "names/genera.yaml",
        "calibration.yaml",
    ],
)
def test_a_file_of_the_wrong_type_is_a_problem_and_no_crash(
    built: Callable[..., KnowledgeBase], path: str, text: str
) -> None:
    try:
        built({path: text + "\n"})
    except KnowledgeError as trouble:
        assert all(isinstance(p, Problem) for p in trouble.problems)
    else:
        assert text == "{}" and path not in (PLANT_PATH, RULE_PATH, "treatments/soak.yaml"), (
            "only an empty mapping may pass"
        )


def test_a_hostile_file_among_good_ones_spoils_only_itself(problems: Find) -> None:
    found = problems({PLANT_PATH: PLANT, "species/sallowia/sallowia-bomb.yaml": "a: &a [x]\nb: [*a, *a]\n"})
    assert {p.file for p in found} == {"species/sallowia/sallowia-bomb.yaml"}


def test_an_unreadable_name_in_a_folder_is_told(problems: Find) -> None:
    found = problems({"species/sallowia/sallowia-latin.yaml": "name: Blüte\n".encode("latin-1")})
    assert "UTF-8" in found[0].what


# --- whatever stands in a file

JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-5, 3000)
    | st.floats(-1, 400, allow_nan=False)
    | st.sampled_from(["physical", "read", "x", "", "fao-1992"]),
    lambda inner: (
        st.lists(inner, max_size=2)
        | st.dictionaries(st.sampled_from(["low", "high", "is", "held", "kind", "odd"]), inner, max_size=3)
    ),
    max_leaves=4,
)


def places(value: Any, path: tuple = ()) -> Iterator[tuple]:
    if path:
        yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in inner:
        yield from places(item, (*path, key))


@given(data=st.data())
@pytest.mark.parametrize(("path", "text"), [(PLANT_PATH, PLANT), (RULE_PATH, RULE)], ids=["entry", "rule"])
def test_any_part_of_a_file_may_be_anything_and_is_told_or_taken(
    kb: KnowledgeBase, path: str, text: str, data: st.DataObject
) -> None:
    """One part of a good file is replaced by junk: the answer is problems or parts, never a crash."""
    content = read(text, path).data
    *way, last = data.draw(st.sampled_from(list(places(content))))
    target = content
    for key in way:
        target = target[key]
    target[last] = data.draw(JUNK)
    try:
        document = read(dump(content), path)
    except KnowledgeError:
        return
    known = {part: kb.store.shared(part) for part in ("sources", "treatments", "rules")}
    checked = check_layer({path: document}, kb.vocabulary, known, set())
    for problem in checked.problems:
        assert problem.line >= 1 and problem.what, problem
    if not checked.problems and path == PLANT_PATH:
        (record,) = checked.taxa
        summarise(record, kb.vocabulary)
