"""What a build promises: the same bytes twice, sound links, nothing fetched from elsewhere, an earlier handbook never lost."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from html import unescape
from pathlib import Path

import pytest
from rousewort.base.errors import UserError
from rousewort.cli.main import main
from rousewort.handbook import build as building
from rousewort.handbook.build import Built, build, write_pages
from rousewort.handbook.places import site_folder
from rousewort.handbook.to_html import run_builder
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import plan_json


def contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


@pytest.mark.slow
@pytest.mark.parametrize("processes", [1, 3])
def test_building_twice_gives_the_same_bytes_however_many_processes_share_the_pages(
    kb: KnowledgeBase,
    chosen: list[str],
    handbook: Built,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    processes: int,
) -> None:
    run = []
    monkeypatch.setattr("rousewort.handbook.to_html.cores", lambda: processes)
    monkeypatch.setattr("rousewort.handbook.to_html.LARGE", 30)
    monkeypatch.setattr("rousewort.handbook.to_html.WORTH_A_PROCESS", 20)
    monkeypatch.setattr(
        "rousewort.handbook.to_html.run_builder", lambda *given: run.append(given) or run_builder(*given)
    )
    again = build(kb, tmp_path / "again", only=chosen)
    assert len(run) == processes
    first, second = contents(handbook.folder), contents(again.folder)
    assert sorted(first) == sorted(second)
    assert [name for name in first if first[name] != second[name]] == []


def test_a_strict_build_finds_nothing(handbook: Built) -> None:
    assert handbook.problems == ()
    assert handbook.pages > 250


def test_every_species_has_its_page_and_its_data_beside_it(handbook: Built, chosen: list[str]) -> None:
    listed = json.loads((handbook.folder / "data" / "species.json").read_text("utf-8"))["species"]
    assert [item["name"] for item in listed] == chosen
    for item in listed:
        assert (handbook.folder / item["page"]).is_file()
        assert json.loads((handbook.folder / item["plan"]).read_text("utf-8"))["plan"]["taxon"]["name"] == item["name"]


def test_page_and_data_say_what_the_planner_says(handbook: Built, planner: Planner, chosen: list[str]) -> None:
    """The numbers of every step, its cautions and its reasons, read back from the page."""
    listed = json.loads((handbook.folder / "data" / "species.json").read_text("utf-8"))["species"]
    for item in listed:
        wanted = json.loads(json.dumps(plan_json(planner.plan(item["name"])), default=list))
        assert json.loads((handbook.folder / item["plan"]).read_text("utf-8"))["plan"] == wanted
        page = (handbook.folder / item["page"]).read_text("utf-8").replace("&#95;", "_")
        for step in wanted["steps"]:
            start = page.index(f'id="{step["id"]}"')
            shown = text_of(
                page[page.rindex("<", 0, start) : page.index("</details>", start) if step["because"] else start + 6000]
            )
            for unit in ("days", "hours", "minutes"):
                if unit in step:
                    assert f"{step[unit]['use']}" in shown.split("how and why")[0]
            for said in (
                *step["do"],
                *step["cautions"],
                step["until"],
                *(reason["text"] for reason in step["because"]),
            ):
                assert " ".join(said.split()) in shown, (item["name"], step["id"])


def test_no_species_stands_in_the_navigation(handbook: Built) -> None:
    page = (handbook.folder / "index.html").read_text("utf-8")
    assert "species/" not in page


def test_no_page_is_heavier_than_it_may_be(handbook: Built) -> None:
    heavy = {p.name: p.stat().st_size for p in handbook.folder.rglob("*.html") if p.stat().st_size > 300_000}
    assert not heavy


def test_nothing_is_fetched_from_elsewhere_even_by_styles_and_scripts_of_ours(handbook: Built) -> None:
    look = site_folder() / "theme"
    for path in [
        *look.rglob("*.css"),
        *look.rglob("*.html"),
        *(p for p in look.rglob("*.js") if p.name != "minisearch.js"),
    ]:
        assert "//" not in re.sub(
            r"(?m)^\s*//.*$|/\*.*?\*/|://www\.w3\.org", "", path.read_text("utf-8"), flags=re.DOTALL
        ), path.name


def test_acid_never_stands_on_a_page_without_its_cautions(handbook: Built) -> None:
    found = 0
    for path in (handbook.folder / "species").glob("*.html"):
        for part in path.read_text("utf-8").split('<li class="rw-step rw-acid"')[1:]:
            found += 1
            assert "Burns and blinds" in part.split('<li class="rw-step')[0]
    assert found, "no plan of the sample offers acid: choose others"


def test_a_folder_of_another_is_left_alone(kb: KnowledgeBase, tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    with pytest.raises(UserError, match="no earlier handbook"):
        build(kb, tmp_path)
    assert (tmp_path / "thesis.txt").read_text() == "years of work"


def test_an_earlier_handbook_stays_when_a_build_fails(
    kb: KnowledgeBase, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / building.MARK).write_text("")
    (out / "index.html").write_text("the old one")

    def fails(work: Path, strict: bool, builder: str) -> None:
        raise UserError("mkdocs could not build the handbook")

    monkeypatch.setattr(building, "to_html", fails)
    with pytest.raises(UserError):
        build(kb, out, only=["Cercis canadensis"])
    assert (out / "index.html").read_text() == "the old one"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_private_layer_lies_over_ours(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    layer = tmp_path / "kb"
    (layer / "species/cercis").mkdir(parents=True)
    entry = (
        "name: Cercis canadensis\nrank: species\nfamily: Fabaceae\ncommon_names: [Sallow Bridge redbud (invented)]\n"
    )
    (layer / "species/cercis/cercis-canadensis.yaml").write_text(entry, encoding="utf-8")
    arguments = ["--kb", str(layer), "--only", "Cercis canadensis", "--out", str(tmp_path / "out")]
    assert main(["handbook", "build", *arguments]) == 0
    assert "Sallow Bridge redbud (invented)" in (tmp_path / "out/species/cercis-canadensis.html").read_text("utf-8")
    assert "index.html" in capsys.readouterr().out


def test_wrong_use_is_said_plainly(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["handbook", "build"]) == 2
    assert main(["handbook", "build", "--out", str(tmp_path / "x"), "--only", "Nosuchia plantus"]) == 2
    assert "Nosuchia plantus has no entry" in capsys.readouterr().err
    assert main(["handbook", "serve", "--out", str(tmp_path)]) == 2


def test_a_builder_that_is_not_there_is_said_plainly(kb: KnowledgeBase, tmp_path: Path) -> None:
    with pytest.raises(UserError, match="needs nosuchbuilder"):
        build(kb, tmp_path / "out", only=["Cercis canadensis"], builder="nosuchbuilder")


def test_every_rule_treatment_obstacle_and_class_has_a_page(kb: KnowledgeBase, handbook: Built) -> None:
    wanted: Sequence[str] = [f"rules/{rule['id']}" for rule in kb.rules] + [
        f"treatments/{kind}" for kind in kb.treatments
    ]
    wanted += [f"obstacles/{key}" for key in kb.vocabulary.obstacles]
    wanted += [f"dormancy/{word}" for word in kb.vocabulary.traits["dormancy_class"]["values"]]
    assert [path for path in wanted if not (handbook.folder / f"{path}.html").is_file()] == []


def test_markdown_alone_needs_no_mkdocs_and_holds_every_page(kb: KnowledgeBase, tmp_path: Path) -> None:
    count = write_pages(kb, tmp_path, ["Cercis canadensis"])
    assert count == len(list(tmp_path.rglob("*.md")))
    assert (tmp_path / "species/cercis-canadensis.md").read_text("utf-8").startswith("---\n{")
