"""A kind of treatment added by files in kb/ alone is in plans, dates, labels, handbook and comparisons; what is left out is named.

The kind, its rule and its plant are invented: at the Sallow Bridge community nursery seed is drummed in a tin.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from rousewort.base.errors import UserError
from rousewort.contribute.rule_examples import example_problems
from rousewort.evaluation.agreement import claims, gives
from rousewort.handbook.writing import write_pages
from rousewort.knowledge.build import Laid, lay
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.loose_ends import loose_ends
from rousewort.planning.plan import Planner
from rousewort.schedule.dating import schedule
from rousewort.schedule.labels import Label, make_labels
from rousewort.schedule.model import BenchCalendar, Schedule

TREATMENT = """\
kind: percuss
label: drum in a tin
group: coat
rank: 35
container: none
drawn: mark
what: Shake the seed hard in a closed tin.
why: Knocks loosen the plug through which water enters.
needs: []
measures: minutes
ranges:
  - minutes: {low: 5, use: 10, high: 15}
    held: demo
do: ["Shake the tin for {minutes} minutes."]
watch: [Cracked seed means that you shook too hard.]
until: ten seeds of ten swell in water
success: Seed doubles in size within a day of soaking.
cautions: [{text: Ear muffs on., held: demo}]
sources: []
"""
RESPONSE = """\
reported_percuss:
  kinds: [percuss]
  inherits: genus
  means: What reports say of drumming.
"""
RULE = """\
id: drumming-proven
status: draft
date: '2026-12-01'
phase: treatments
when:
  - {obstacle: watertight_coat}
  - {reported_percuss: [needed, helps, mixed]}
then:
  - {offer: percuss, for: watertight_coat, standing: proven}
because: {why: "Reports on {name} found drumming good.", what: Drum it., ground: What worked on the seed itself comes first.}
limits: [Seed whose plug was never formed may not heed it.]
sources: [{held: demo, says: Drumming opened it.}]
examples:
  fires: [{species: Sallowia pontis, source: sallow-bridge-2026, saw: nine in ten came after ten minutes}]
  silent: [{species: Cercis canadensis, held: practice, saw: a coat as tight that nobody has drummed}]
"""
PLANT = """\
name: Sallowia pontis
rank: species
family: Fabaceae
traits:
  dormancy_class: [{is: physical, held: demo}]
  coat_water: [{is: stops, held: demo}]
protocols:
  - id: drummed-in-a-tin
    source: sallow-bridge-2026
    held: demo
    phases: [{kind: percuss, minutes: 10}]
    found: needed
"""
SOURCE = """\
sallow-bridge-2026:
  citation: Sallow Bridge community nursery. 2026. Invented notes on drummed seed.
  author: Sallow Bridge community nursery
  year: 2026
  read: whole
"""
FILES = {
    "treatments/percuss.yaml": TREATMENT,
    "rules/drumming-proven.yaml": RULE,
    "species/sallowia/sallowia-pontis.yaml": PLANT,
}
OTHERS = ("species/cercis/cercis-canadensis.yaml", "species/cercis/cercis-chinensis.yaml")
DAY = date(2027, 3, 1)


def append(path: Path, text: str) -> None:
    path.write_text(path.read_text("utf-8").rstrip("\n") + "\n" + text, "utf-8")


@pytest.fixture
def scratch(layer: Path, tmp_path: Path) -> Path:
    """kb/ with all its words, treatments, rules and sources, two species, and the new kind."""
    folder = tmp_path / "kb"
    for part in ("vocabulary", "treatments", "rules", "names"):
        shutil.copytree(layer / part, folder / part)
    shutil.copy(layer / "sources.yaml", folder)
    shutil.copy(layer / "calibration.yaml", folder)
    for other in OTHERS:
        (folder / other).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(layer / other, folder / other)
    for name, text in FILES.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, "utf-8")
    append(folder / "vocabulary" / "responses.yaml", RESPONSE)
    append(folder / "sources.yaml", SOURCE)
    return folder


def change(folder: Path, name: str, old: str, new: str) -> None:
    text = (folder / name).read_text("utf-8")
    assert text.count(old) == 1, f"{old!r} must stand once in {name}"
    (folder / name).write_text(text.replace(old, new), "utf-8")


def whole(folder: Path) -> KnowledgeBase:
    laid = lay([folder])
    assert laid.problems == []
    return KnowledgeBase(laid.store)


def dated(kb: KnowledgeBase) -> Schedule:
    return schedule(Planner(kb, "plain").plan("Sallowia pontis"), kb.vocabulary.calendar, start=DAY)


def test_the_check_finds_nothing_to_say_of_the_new_kind(scratch: Path) -> None:
    laid = lay([scratch])
    assert laid.problems == []
    assert [p for p in loose_ends(laid) if "percuss" in str(p)] == []
    rule = "rules/drumming-proven.yaml"  # the other rules' examples are species that the copy leaves out
    alone: Laid = laid._replace(documents=[{rule: laid.documents[0][rule]}])
    assert example_problems(alone) == []


def test_it_is_a_step_of_the_plan_with_its_own_length_and_words(scratch: Path) -> None:
    plan = Planner(whole(scratch), "plain").plan("Sallowia pontis")
    assert [step.kind for step in plan.steps if step.kind == "percuss"] == ["percuss"]
    step = next(step for step in plan.steps if step.kind == "percuss")
    assert step.removes == ("watertight_coat",) or list(step.removes) == ["watertight_coat"]
    assert step.amounts["minutes"].use == 10
    assert any("Ear muffs" in str(caution) for caution in step.cautions)
    assert "percuss" not in [s.kind for s in Planner(whole(scratch), "plain").plan("Cercis canadensis").steps]


def test_it_has_its_day(scratch: Path) -> None:
    made = dated(whole(scratch))
    steps = {step.kind: step for step in made.steps}
    assert DAY <= steps["percuss"].start <= steps["sow"].start


def bag_labels(kb: KnowledgeBase) -> list[Label]:
    try:
        return make_labels(BenchCalendar((dated(kb),)), "bag")
    except UserError:
        return []


def test_it_has_a_label_of_a_bag_only_if_its_file_says_that_it_lies_in_one(scratch: Path) -> None:
    assert [label for label in bag_labels(whole(scratch)) if "drum" in label.what] == []
    change(scratch, "treatments/percuss.yaml", "container: none", "container: bag")
    change(scratch, "treatments/percuss.yaml", "measures: minutes", "measures: days")
    change(
        scratch, "treatments/percuss.yaml", "minutes: {low: 5, use: 10, high: 15}", "days: {low: 2, use: 3, high: 4}"
    )
    change(scratch, "treatments/percuss.yaml", "for {minutes} minutes", "for {days} days")
    change(scratch, "species/sallowia/sallowia-pontis.yaml", "minutes: 10", "days: 3")
    assert len([label for label in bag_labels(whole(scratch)) if "drum" in label.what]) == 1


def test_the_handbook_has_its_page_and_the_plant_gives_it(scratch: Path, tmp_path: Path) -> None:
    write_pages(whole(scratch), tmp_path / "pages", only=["Cercis canadensis", "Sallowia pontis"])
    page = (tmp_path / "pages" / "treatments" / "percuss.md").read_text("utf-8")
    assert "Drum in a tin" in page and "Sallowia pontis" in page and "Knocks loosen the plug" in page
    species = next((tmp_path / "pages").rglob("sallowia-pontis.md")).read_text("utf-8")
    assert "drum in a tin" in species.lower()


def test_its_report_is_a_claim_of_its_group_that_the_plan_answers(scratch: Path) -> None:
    kb = whole(scratch)
    (claim,) = claims(kb, "Sallowia pontis")
    assert claim.give == {"coat": True}
    plan = Planner(kb, "plain").plan("Sallowia pontis")
    assert gives(kb.vocabulary.kinds, plan, "coat") == 1.0


def remove(name: str) -> Callable[[Path], None]:
    return lambda folder: (folder / name).unlink()


def without(name: str, old: str, new: str = "") -> Callable[[Path], None]:
    return lambda folder: change(folder, name, old, new)


@pytest.mark.parametrize(
    ("leave_out", "file", "line", "what"),
    [
        (remove("treatments/percuss.yaml"), "vocabulary/responses.yaml", "kinds: [percuss]", "no kind of treatment"),
        (remove("rules/drumming-proven.yaml"), "treatments/percuss.yaml", "kind: percuss", "no rule offers percuss"),
        (remove("rules/drumming-proven.yaml"), "vocabulary/responses.yaml", "reported_percuss", "no rule reads reported_percuss"),
        (without("vocabulary/responses.yaml", RESPONSE), "rules/drumming-proven.yaml", "reported_percuss", "`reported_percuss` is no trait"),
        (
            lambda f: (without("vocabulary/responses.yaml", RESPONSE)(f), without("rules/drumming-proven.yaml", "  - {reported_percuss: [needed, helps, mixed]}\n")(f)),
            "treatments/percuss.yaml",
            "kind: percuss",
            "reports of percuss (on Sallowia pontis) are weighed nowhere",
        ),
        (
            without("species/sallowia/sallowia-pontis.yaml", "kind: percuss, minutes: 10", "kind: nick"),
            "vocabulary/responses.yaml",
            "reported_percuss",
            "no entry has a report that reported_percuss is read off",
        ),
        (without("sources.yaml", SOURCE), "species/sallowia/sallowia-pontis.yaml", "source:", "`sallow-bridge-2026` is not in sources.yaml"),
        (without("treatments/percuss.yaml", "group: coat\n"), "treatments/percuss.yaml", "kind:", "`group` is missing"),
        (without("treatments/percuss.yaml", "container: none\n"), "treatments/percuss.yaml", "kind:", "`container` is missing"),
        (without("treatments/percuss.yaml", "drawn: mark\n"), "treatments/percuss.yaml", "kind:", "`drawn` is missing"),
    ],
)  # fmt: skip
def test_each_part_left_out_is_told_with_file_and_line(
    leave_out: Callable[[Path], None], file: str, line: str, what: str, scratch: Path
) -> None:
    leave_out(scratch)
    told = [problem for problem in checked(scratch) if what in problem[2]]
    number = next(n for n, text in enumerate((scratch / file).read_text("utf-8").splitlines(), 1) if line in text)
    assert (str(scratch / file), number) in [(file, at) for file, at, _ in told], checked(scratch)


def checked(folder: Path) -> list[tuple[str, int, str]]:
    """What `rousewort check` says of well-formedness and of loose ends."""
    try:
        laid = lay([folder])
        found = [*laid.problems, *loose_ends(laid)]
    except UserError as trouble:
        found = trouble.problems
    return [(problem.file, problem.line, problem.what) for problem in found]
