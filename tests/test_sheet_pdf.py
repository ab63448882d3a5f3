"""The sheet on paper: the same words on one page, A4 or letter, with the place of each cut and room for dates."""

from __future__ import annotations

import io
from pathlib import Path

import pypdfium2
import pytest
from rousewort.cli.main import main
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.grower import make_grower
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.sheet import make_sheet
from rousewort.planning.units import US
from rousewort.render.sheet_pdf import to_pdf

SIZES = {"A4": (595, 842), "letter": (612, 792)}
TRIED = (
    "Cercis canadensis",
    "Convallaria majalis",
    "Ziziphus jujuba",
    "Tilia cordata",
    "Pinus sylvestris",
    "Epipactis palustris",
)


def words(data: bytes) -> tuple[int, str, tuple[float, float]]:
    document = pypdfium2.PdfDocument(io.BytesIO(data))
    return len(document), " ".join(document[0].get_textpage().get_text_range().split()), document[0].get_size()


@pytest.mark.parametrize("paper", SIZES)
def test_one_page_holds_all_that_the_sheet_says(kb: KnowledgeBase, plans: dict[str, Plan], paper: str) -> None:
    for name in TRIED:
        sheet = make_sheet(kb, plans[name], US)
        pages, text, size = words(to_pdf(sheet, paper))
        assert pages == 1 and (round(size[0]), round(size[1])) == SIZES[paper]
        for said in (
            sheet.name,
            *sheet.lead,
            *(told.text for act in sheet.acts for told in act.told),
            *sheet.if_nothing,
        ):
            assert " ".join(said.split()) in text, (name, said)
        assert all(work.short.split()[0] in text for work in sheet.works)
        assert text.count("from") >= len(sheet.acts), "a line for the dates of each step"


def test_the_longest_sheets_still_fit(kb: KnowledgeBase, plans: dict[str, Plan]) -> None:
    """Acid in full beside a poisonous, hard, cold seed; and those with most to say."""
    sheets = sorted((make_sheet(kb, plan) for plan in plans.values()), key=lambda sheet: -len(str(sheet)))
    for sheet in sheets[:4]:
        assert words(to_pdf(sheet, "letter"))[0] == 1


def test_acid_is_in_full_on_paper_too(kb: KnowledgeBase, planner: Planner) -> None:
    grower = make_grower(kb.vocabulary, allow=["acid"], without=["blade", "sandpaper", "kettle"])
    plan = planner.plan("Gleditsia triacanthos", grower)
    text = words(to_pdf(make_sheet(kb, plan)))[1]
    (acid,) = [step for step in plan.steps if step.kind == "acid"]
    assert all(" ".join(caution.split()) in text for caution in acid.cautions)


def test_the_same_sheet_gives_the_same_bytes(kb: KnowledgeBase, plans: dict[str, Plan]) -> None:
    sheet = make_sheet(kb, plans["Cercis canadensis"])
    assert to_pdf(sheet) == to_pdf(sheet)


def test_the_command_writes_it_and_leaves_other_files_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own, out = tmp_path / "notes.txt", tmp_path / "redbud.pdf"
    own.write_text("mine")
    assert main(["plan", "Cercis canadensis", "--pdf", str(out), "--paper", "letter"]) == 0
    assert words(out.read_bytes())[2][1] == pytest.approx(792, abs=1)
    assert main(["plan", "Cercis canadensis", "--pdf", str(own)]) == 2 and own.read_text() == "mine"
    assert "no earlier file" in capsys.readouterr().err


def test_small_and_dust_fine_lots_are_not_drawn_cut(kb: KnowledgeBase, planner: Planner) -> None:
    plan = planner.plan("Cercis canadensis", make_grower(kb.vocabulary, seeds=10))
    drawn = {act.kind: act.at_seed for act in make_sheet(kb, plan).acts}
    assert drawn["inspect"] is None
    usual = {act.kind: act.at_seed for act in make_sheet(kb, planner.plan("Cercis canadensis")).acts}
    assert usual["inspect"] == "across" and usual["nick"] == "broad_side"
