"""What every test may ask for: the shipped knowledge base and planners on it, each made once a session.

With --quick it is a small one of some seventy species (small_kb.py), for tests and the commands that they run alike, and
tests that need the whole, a browser, a database server or much time are left out.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from must_be_here import ON_CI  # type: ignore[import-not-found]
from rousewort.knowledge.files import shipped_layer
from rousewort.knowledge.knowledge_base import KnowledgeBase, load
from rousewort.knowledge.store import MemoryStore
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.rules.run import durable_works
from small_kb import cut, made_once  # type: ignore[import-not-found]

HERE = Path(__file__).parent
ALL = os.environ.get("ROUSEWORT_ALL") == "1"

# Left out by --quick: files, folders and single tests by the beginning of their node, without `tests/`.
NOT_QUICK = (
    # what must hold of every species, or is counted over all of them
    "golden/",
    "mutation/",
    "test_relatives.py",
    "test_claims.py",
    "test_lending.py",
    "test_lengths.py",
    "test_readme.py",
    "contribute/test_rule_examples.py",
    "contribute/test_checking_entries.py::test_a_number_is_compared_with_the_genus_where_enough_is_known_of_it",
    "contribute/test_checking_entries.py::test_nothing_in_the_shipped_knowledge_base_is_doubted_that_nobody_looked_at",
    "contribute/test_contributing_page.py",
    "contribute/test_tables.py::test_export_and_import_through_the_command",
    "evaluation/",
    "knowledge/test_a_new_kind.py",
    "knowledge/test_cited_works.py",
    "knowledge/test_hold_outs.py",
    "knowledge/test_loose_ends.py",
    "knowledge/test_packets.py",
    "knowledge/test_names.py::test_a_common_name_of_several_plants_lists_them_all_and_takes_none",
    "knowledge/test_names.py::test_a_genus_is_not_taken_for_the_garden_plant_that_is_called_so",
    "knowledge/test_names.py::test_the_list_is_what_the_user_reads",
    "knowledge/test_seed_counts.py",
    "outside/",  # published tables, and the statistics that their libraries are slow to load for
    "planning/test_roles_of_evidence.py",
    "planning/test_planning_by_protocol.py",
    "planning/test_small_decisions.py::test_five_relatives_are_named_and_the_rest_counted",
    "rules/test_compile.py::test_every_rule_of_the_shipped_set_fires_for_some_plant",
    "observe/test_twenty_species.py",
    "observe/test_bench_conclusions.py::test_a_question_is_worth_more_where_more_is_open",
    "observe/test_observe_commands.py::test_seasons_are_counted_one_after_the_other",
    "observe/test_trial_design.py::test_a_plan_says_where_relatives_chose_among_what_the_bench_leaves",
    "app/test_cli.py::test_exit_codes_and_words",
    "app/test_cli.py::test_every_example_in_the_help_works",
    "app/test_order_command.py",
    "test_laws.py::test_hot_water_is_below_boiling_unless_a_source_on_the_species_says_otherwise",
    "test_plan.py::test_without_a_fridge_the_winter_is_given_outside",
    "test_plan.py::test_hormone_stands_in_for_a_light_cold_need_where_a_report_says_so",
    "test_plan.py::test_gibberellic_acid_stands_in_for_smoke_only_where_dormancy_is_not_deep",
    "test_plan.py::test_a_warm_seedbed_is_no_treatment_before_sowing",
    "test_sheet.py::test_units_of_another_country_are_rounded_as_instruments_show_them",
    "test_sheet.py::test_what_own_works_say_against_a_step_and_when_it_is_done_stand_at_it",
    "handbook/",  # pages are built, walked by node or shown by a browser
    "test_sheet_pdf.py",
    # seconds each
    "contribute/test_changes.py",
    "contribute/test_works.py",
    "contribute/test_layer_and_gaps.py::test_a_layer_tells_what_it_adds_replaces_adds_to_and_repeats",
    "app/test_batch_command.py::test_labels_of_batches_bear_their_codes_for_eye_and_camera",
    "app/test_calendar.py::test_a_third_library_reads_the_same_events_all_of_them_whole_days",
    "app/test_calendar.py::test_calendar_that_imports_again_shows_what_the_new_file_shows_and_no_more",
    "app/test_calendar.py::test_identities_do_not_depend_on_the_time",
    "test_architecture.py::test_a_plan_on_a_fresh_index_loads_no_library_that_it_does_not_use",
    "app/test_files_of_others.py::test_one_bad_file_prints_no_more_than_a_person_reads",
    "ledger/test_courses.py",
    "test_labels.py::test_a_camera_reads_the_code_on_the_printed_page",
    "test_labels.py::test_all_words_are_printed_and_stay_inside_their_labels",
    "test_labels.py::test_any_name_and_lot_is_printed_whole_or_refused",
    "test_labels.py::test_letters_",
    # commands as processes of their own, killed, piped to, on terminals; servers
    "app/test_console.py",
    "bench/test_join.py::test_joins_by_thumb_and_the_pages_fit_a_phone",
    "bench/test_no_signal.py",
    "bench/test_shared_network.py",
    "ledger/test_restore_drill.py",
    "ledger/test_season.py",
    "ledger/test_exchange.py::test_ledger_goes_from_sqlite_to_postgresql_and_back_unchanged",
    "ledger/test_safe.py::test_two_processes",
    "rules/test_engines_agree.py",
    "test_offline.py",
)

# Cores are slow, so no example fails for being slow; a failure prints how to repeat it. CI tries more of them.
_PROFILE = {"deadline": None, "print_blob": True, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("here", max_examples=50, **_PROFILE)
settings.register_profile("all", max_examples=300, **_PROFILE)
settings.load_profile("all" if ALL else "here")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--quick", action="store_true", help="a minute's loop, on a small knowledge base")
    parser.addoption(
        "--update-lines", action="store_true", help="rewrite the files of tests/golden from the plans as they are"
    )


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Files that --quick leaves out are not even loaded."""
    if config.getoption("--quick") and collection_path.suffix == ".py" and HERE in collection_path.parents:
        return collection_path.relative_to(HERE).as_posix().startswith(NOT_QUICK) or None
    return None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--quick"):
        left_out = [item for item in items if not _quick(item)]
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]


def _quick(item: pytest.Item) -> bool:
    """Whether a test has its meaning on a small knowledge base, and needs no browser, database server, built handbook, process
    of its own or much time."""
    given = getattr(getattr(item, "callspec", None), "params", {})
    return not (
        "postgresql" in given.values()
        or {"browser", "handbook"} & set(getattr(item, "fixturenames", ()))
        or item.get_closest_marker("slow")
        or item.nodeid.removeprefix("tests/").startswith(NOT_QUICK)
    )


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, small_layer: Path | None) -> Iterator[Path]:
    """No test reads or writes the user's cache or settings, nor sees their private layers or colour wishes."""
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(folder))
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))
        if small_layer:
            patch.setenv("ROUSEWORT_SHIPPED", str(small_layer))
        patch.delenv("ROUSEWORT_KB", raising=False)
        patch.delenv("NO_COLOR", raising=False)
        yield folder


@pytest.fixture(scope="session")
def small_layer(pytestconfig: pytest.Config, tmp_path_factory: pytest.TempPathFactory) -> Path | None:
    """With --quick, the folder of the small knowledge base: one for all processes of the session. Not to be changed."""
    if not pytestconfig.getoption("--quick"):
        return None
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if hasattr(pytestconfig, "workerinput") else base) / "small_kb"
    with made_once(folder) as to_make:
        if to_make:
            cut(HERE.parent / "kb", folder)
    return folder


@pytest.fixture(scope="session")
def layer(own_cache: Path) -> Path:
    """The kb/ folder of this clone, or the small one."""
    folder = shipped_layer()
    assert folder is not None, "these tests run from a clone"
    return folder


@pytest.fixture(scope="session")
def kb(own_cache: Path) -> KnowledgeBase:
    """The shipped knowledge base, as a user gets it."""
    return load()


@pytest.fixture(scope="session")
def memory(kb: KnowledgeBase) -> MemoryStore:
    """All its records, in memory. Not to be changed."""
    return kb.store.to_memory(kb.vocabulary)  # type: ignore[attr-defined]


@pytest.fixture(scope="session")
def planner(kb: KnowledgeBase) -> Planner:
    """On the plain engine: the oracle."""
    return Planner(kb, "plain")


@pytest.fixture(scope="session")
def durable_here() -> None:
    """Asked for by tests of durable_rules: skips where it cannot be imported, fails where CI says that it must be."""
    if durable_works():
        return
    if (ON_CI or ALL) and sys.version_info < (3, 13):
        pytest.fail("durable_rules must work here and cannot be imported")
    pytest.skip("durable_rules cannot be imported here: nothing was compared with it")


@pytest.fixture(scope="session")
def durable_planner(kb: KnowledgeBase, durable_here: None) -> Planner:
    return Planner(kb, "durable_rules")


@pytest.fixture(scope="session")
def species(kb: KnowledgeBase) -> list[str]:
    return sorted(kb.names("species"))


@pytest.fixture(scope="session")
def some_species(species: list[str]) -> list[str]:
    """150 species spread evenly over the alphabet, or all of them with ROUSEWORT_ALL=1."""
    return species if ALL or len(species) <= 150 else [species[i * len(species) // 150] for i in range(150)]


@pytest.fixture(scope="session")
def plans(planner: Planner, species: list[str]) -> dict[str, Plan]:
    """The plan of every species for a grower with the usual things."""
    return {name: planner.plan(name) for name in species}
