"""Labels: what stands on them, and that a printed page shows all of it, inside its label, to eye and camera."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pypdfium2
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from rousewort.base.errors import UserError
from rousewort.cli.main import main
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.plan import Plan, Planner
from rousewort.render.fonts import FontFile, Fonts, font_files, tidy
from rousewort.render.labels_pdf import MM, PAGES, SMALLEST, lines, to_pdf
from rousewort.schedule.dating import schedule
from rousewort.schedule.labels import KINDS, Label, Sheet, make_labels, page_address, sheet_named, sheets
from rousewort.schedule.model import BenchCalendar

START = date(2027, 1, 10)
LINK = "https://handbook.example/rousewort/species/taxus-baccata.html"


@pytest.fixture(scope="module")
def known(kb: KnowledgeBase) -> dict[str, Sheet]:
    return sheets(kb.vocabulary.files["label_sheets"])


def bench(planner: Planner, kb: KnowledgeBase, *names: str, lot: str = "SB-14") -> BenchCalendar:
    habits = kb.vocabulary.calendar
    return BenchCalendar(tuple(schedule(planner.plan(name), habits, start=START, lot=lot) for name in names))


def label(**other: object) -> Label:
    usual = Label(
        kind="bag",
        plant="Taxus baccata",
        lot="SB-14",
        what="cold and moist, 90 (60–120) days, 4 °C (1–5)",
        when=(("in", "2027-01-10"), ("out", "2027-04-10"), ("look from", "2027-03-11")),
        after="Next: sow, 20 °C",
        warnings=("Poisonous",),
        number="",
        link=LINK,
    )
    return replace(usual, **other)


def printed_text(page: pypdfium2.PdfPage) -> str:
    """All letters of a page in reading order of the file, white space dropped."""
    return re.sub(r"\s", "", page.get_textpage().get_text_range())


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", tidy(text))


# What is said


def test_a_bag_has_a_label_for_each_step_in_it_with_dates_in_and_out(planner: Planner, kb: KnowledgeBase) -> None:
    made = bench(planner, kb, "Taxus baccata")
    found = make_labels(made, "bag")
    bagged = [s for s in made.schedules[0].steps if s.kind in ("warm_moist", "cold_moist")]
    assert [dict(x.when)["in"] for x in found] == [str(s.start) for s in bagged]
    assert [dict(x.when)["out"] for x in found] == [str(s.planned) for s in bagged]
    assert [x.after.split(":")[0] for x in found] == ["Next"] * len(found)
    assert "cold and moist" in found[0].after and "sow" in found[-1].after


def test_potted_seed_has_a_pot_label_that_tells_of_the_cold_to_come(planner: Planner, kb: KnowledgeBase) -> None:
    made = bench(planner, kb, "Viburnum prunifolium")
    (pot,) = make_labels(made, "pot")
    said = dict(pot.when)
    cold = made.schedules[0].step("cold_moist-1")
    assert said["potted"] == str(made.schedules[0].step("pot_rooted-1").start)
    assert said["cold and moist"] == f"{cold.start} to {cold.planned}" and "seedlings" in said
    assert not any("cold" in x.what for x in make_labels(made, "bag"))  # that cold is given in the pot


def test_every_poisonous_species_is_marked_on_every_label(
    planner: Planner, kb: KnowledgeBase, plans: dict[str, Plan]
) -> None:
    habits, looked_at = kb.vocabulary.calendar, 0
    for made in plans.values():
        poisonous = any(known.word == "yes" for known in made.facts.of("toxic"))
        if not made.steps:
            continue
        dated = BenchCalendar((schedule(made, habits, start=START),))
        for kind in KINDS:
            try:
                found = make_labels(dated, kind)
            except UserError:
                continue
            for one in found:
                assert any(w.startswith("Poisonous") for w in one.warnings) is poisonous, (made.query, kind)
                looked_at += poisonous
    assert looked_at > 20


def test_copies_are_numbered(planner: Planner, kb: KnowledgeBase) -> None:
    found = make_labels(bench(planner, kb, "Cercis canadensis"), "bag", copies=3)
    assert [x.number for x in found] == ["1/3", "2/3", "3/3"]


@pytest.mark.parametrize(("kind", "copies"), [("jar", 1), ("bag", 0), ("bag", -1), ("bag", 10**6)])
def test_impossible_kinds_and_numbers_are_refused(planner: Planner, kb: KnowledgeBase, kind: str, copies: int) -> None:
    with pytest.raises(UserError):
        make_labels(bench(planner, kb, "Cercis canadensis"), kind, copies)


def test_a_plan_without_a_bag_says_so(kb: KnowledgeBase) -> None:
    sow = {
        "id": "sow-1",
        "kind": "sow",
        "label": "sow",
        "sowing": {"expect_days": {"low": 7, "high": 9}, "give_up": ""},
    }
    taxon = {"name": "Inventum exemplare"}
    plan = {
        "format": "rousewort-plan-1",
        "query": "x",
        "outcome": "plan",
        "taxon": taxon,
        "cautions": [],
        "steps": [sow],
    }
    made = BenchCalendar((schedule(plan, kb.vocabulary.calendar, start=START),))
    with pytest.raises(UserError, match="Inventum exemplare"):
        make_labels(made, "bag")
    assert make_labels(made, "tray")


def test_the_address_of_a_page_is_only_given_where_there_is_one(kb: KnowledgeBase) -> None:
    assert page_address(kb, "Taxus baccata", "https://a.example/") == "https://a.example/species/taxus-baccata.html"
    assert page_address(kb, "Taxus baccata", "") == "" == page_address(kb, "Inventum exemplare", "https://a.example")


# Sheets


def test_every_sheet_lies_on_its_page_without_overlap(known: dict[str, Sheet]) -> None:
    for sheet in known.values():
        width, height = PAGES[sheet.page]
        places = [sheet.place(i) for i in range(sheet.per_page)]
        assert len(set(places)) == sheet.per_page
        assert min(x for x, _ in places) >= 0 and max(x for x, _ in places) + sheet.width <= width + 0.01
        assert min(y for _, y in places) >= 0 and max(y for _, y in places) + sheet.height <= height + 0.01
        assert sheet.gap_x >= 0 and sheet.gap_y >= 0


def test_a_full_sheet_is_centred_on_its_page(known: dict[str, Sheet]) -> None:
    """Labels are punched symmetrically; half a millimetre is left for rounding. Card to be cut may stand aside."""
    for sheet in known.values():
        if sheet.cut:
            continue
        width, height = PAGES[sheet.page]
        right = width - sheet.left - sheet.columns * sheet.width - (sheet.columns - 1) * sheet.gap_x
        below = height - sheet.top - sheet.rows * sheet.height - (sheet.rows - 1) * sheet.gap_y
        assert right == pytest.approx(sheet.left, abs=0.5), sheet.name
        assert below == pytest.approx(sheet.top, abs=0.5), sheet.name


def test_sheets_are_found_by_measure_however_it_is_written(known: dict[str, Sheet]) -> None:
    for written in ("63.5x38.1", "63,5 × 38,1 mm", "63.5X38.1"):
        assert sheet_named(known, written, "bag").name == "63.5x38.1"
    assert all(kind in sheet_named(known, None, kind).good_for for kind in KINDS)
    with pytest.raises(UserError, match="70x37"):
        sheet_named(known, "3x3", "bag")


# The printed page


def test_all_words_are_printed_and_stay_inside_their_labels(known: dict[str, Sheet]) -> None:
    made = [
        label(),
        label(plant="Inventum longissimum subsp. nominosum var. interminabile", lot="hedge by the lower pond 2026"),
    ]
    for sheet in known.values():
        page = pypdfium2.PdfDocument(to_pdf(made, sheet).data)[0]
        text, height = page.get_textpage(), PAGES[sheet.page][1] * MM
        for i, one in enumerate(made):
            x, y = sheet.place(i)
            box = (x * MM, height - (y + sheet.height) * MM, (x + sheet.width) * MM, height - y * MM)
            inside = re.sub(r"\s", "", text.get_text_bounded(*box))
            for line in lines(one):
                assert squeezed(line.text) in inside, (sheet.name, line.text)
        boxes = [text.get_charbox(n) for n in range(text.count_chars()) if not text.get_text_range(n, 1).isspace()]
        for left, bottom, right, top in boxes:
            assert any(
                x * MM <= left and right <= (x + sheet.width) * MM
                and height - (y + sheet.height) * MM <= bottom and top <= height - y * MM
                for x, y in map(sheet.place, range(len(made)))
            ), sheet.name  # fmt: skip


def test_a_camera_reads_the_code_on_the_printed_page(known: dict[str, Sheet]) -> None:
    for name in ("70x37", "25x130", "105x148.5"):
        page = pypdfium2.PdfDocument(to_pdf([label()], known[name]).data)[0]
        found = zxingcpp.read_barcodes(page.render(scale=300 / 72).to_pil())
        assert [code.text for code in found] == [LINK], name


def test_a_label_without_room_for_its_code_says_so_and_keeps_its_words(known: dict[str, Sheet]) -> None:
    long = "https://handbook.example/" + "very-long-path/" * 12
    made = to_pdf([label(link=long)], known["66.7x25.4"])
    assert made.without_code == 1
    assert squeezed("Taxus baccata") in printed_text(pypdfium2.PdfDocument(made.data)[0])


@pytest.mark.parametrize(
    "lot", ["Калина красная", "Σπόρος", "Đặng Vân Anh", "Łąka 7", "種子 山桜", "种子 山樱", "씨앗"]
)
def test_letters_of_many_scripts_are_printed(known: dict[str, Sheet], lot: str) -> None:
    page = pypdfium2.PdfDocument(to_pdf([label(lot=lot)], known["70x37"]).data)[0]
    assert squeezed(lot) in printed_text(page)


SHAPED = ["بذور الطقسوس ٢٠٢٧", "זרעים מהגן, מנה 7", "बीज क्षेत्र", "می‌خواهم گیاه"]


@pytest.mark.parametrize("lot", SHAPED)
def test_letters_that_are_joined_or_reordered_are_printed_inside_their_label(known: dict[str, Sheet], lot: str) -> None:
    """What it looks like was judged by eye; here that ink is there, inside, and that wrapping keeps every letter."""
    sheet = known["70x37"]
    for words in (lot, " ".join([lot] * 4), lot.replace(" ", "") * 3):
        with_lot, without = (
            pypdfium2.PdfDocument(to_pdf([label(lot=told)], sheet).data)[0].render(scale=3).to_pil().convert("L")
            for told in (words, "")
        )
        x, y = sheet.place(0)
        box = [round(n * MM * 3) for n in (x, y, x + sheet.width, y + sheet.height)]
        dark = with_lot.point(lambda v: 255 * (v < 128))
        assert dark.getbbox()[0] >= box[0] and dark.getbbox()[2] <= box[2] and dark.getbbox()[3] <= box[3]
        assert with_lot.crop(box).tobytes() != without.crop(box).tobytes()


@pytest.mark.parametrize("lot", SHAPED)
def test_letters_that_need_joining_are_refused_with_what_prints_them(
    known: dict[str, Sheet], lot: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rousewort.render.fonts.can_shape", lambda: False)
    with pytest.raises(UserError, match=r"joined or reordered .*rousewort\[labels-shaped\]"):
        to_pdf([label(lot=lot)], known["70x37"])


def test_runs_stand_on_the_page_from_left_to_right_as_the_algorithm_says() -> None:
    """Against the algorithm of the library itself, on whole lines; joined shapes keep their order within a run."""
    from bidi.algorithm import get_display
    from rousewort.render.shaped import Run, _levels, _visual

    for text in ("Lot אבג דהו 12 x", "אבג 12 abc דהו", "abc", "אבג", "1/3 אב (גד) 4"):
        levels, right = _levels(text)
        runs = _visual([Run(letter, "f", level) for letter, level in zip(text, levels, strict=True)])
        mirrored = get_display(text).translate(str.maketrans("()", ")("))
        assert "".join(run.text for run in runs).translate(str.maketrans("()", "--")) == mirrored.translate(
            str.maketrans("()", "--")
        )
        assert right == (re.search(r"\w", re.sub(r"\d", "", text))[0] in "אבגד")


def test_arabic_letters_take_their_joined_shapes() -> None:
    """The same letter alone, first, middle and last: four shapes of the font."""
    from rousewort.render.fonts import Fonts
    from rousewort.render.shaped import Run, _shape

    font = Fonts([]).file_of("ب")
    alone = {glyph.shape for glyph in _shape(Run("ب", font, 1), 400)[0]}
    joined = [glyph.shape for glyph in _shape(Run("ببب", font, 1), 400)[0]]
    assert len(set(joined) - alone) == 3
    first, last = (min(g.x for g in _shape(Run(text, font, 1), 400)[0]) for text in ("بب", "ب"))
    assert first >= 0 and last >= 0


def test_conjuncts_are_formed_beside_latin_words() -> None:
    """Latin and Devanagari of one font must not be shaped together: seen once, with the conjunct taken apart."""
    from rousewort.render.fonts import Fonts
    from rousewort.render.shaped import Shaped

    both = Shaped("Lot क्ष", Fonts([]).file_of, 400, 10, 12, 0)
    assert [run.text for run in both._runs(0, len(both.text))] == ["Lot ", "क्ष"]
    assert len(both._set(4, 7)[0]) == 1


def test_line_too_long_for_the_label_is_wrapped_at_spaces_and_a_long_word_within() -> None:
    from rousewort.render.fonts import Fonts
    from rousewort.render.shaped import Shaped

    text = "בית " * 6 + "ב" * 60
    made = Shaped(text.strip(), Fonts([]).file_of, 400, 10, 12, 0)
    _, tall = made.wrap(100, 0)
    assert tall == 12 * len(made.lines) and len(made.lines) >= 4
    assert [made.lines[0][0], made.lines[-1][1]] == [0, len(text.strip())]
    assert all(a[1] == b[0] for a, b in zip(made.lines, made.lines[1:], strict=False))
    assert all(made._set(*line)[1] * 10 <= 100 for line in made.lines)


def test_a_letter_that_no_font_has_is_named(known: dict[str, Sheet]) -> None:
    with pytest.raises(UserError, match="𓆭"):
        to_pdf([label(lot="papyrus 𓆭")], known["70x37"])


def test_each_style_prints_its_own_letters(known: dict[str, Sheet]) -> None:
    """Fonts of one file at two weights must not be taken for each other: seen once, as empty boxes."""
    data = to_pdf([label()], known["70x37"]).data
    fonts = {name for name in re.findall(rb"/BaseFont /([^\s/]+)", data) if b"Rousewort" in name}
    assert len(fonts) == 3 == len({name.split(b"+")[-1] for name in fonts})
    inner = {name for name in re.findall(rb"/FontName /([^\s/]+)", data) if b"Rousewort" in name}
    assert inner == fonts


def test_what_cannot_be_fitted_is_refused_with_sheets_that_fit(known: dict[str, Sheet]) -> None:
    with pytest.raises(UserError, match=r"does not fit .* It fits on: .*105x148.5"):
        to_pdf([label(lot="word " * 90)], known["66.7x25.4"], others=known)


@settings(max_examples=10)
@given(
    st.text(st.characters(codec="latin-1", categories=("L", "N", "P", "Zs")), min_size=1, max_size=40),
    st.text(st.characters(codec="latin-1", categories=("L", "N", "P", "Zs", "S")), max_size=30),
)
def test_any_name_and_lot_is_printed_whole_or_refused(known: dict[str, Sheet], plant: str, lot: str) -> None:
    made = label(plant="Inventum " + plant, lot=lot)
    try:
        data = to_pdf([made], known["70x37"]).data
    except UserError as trouble:
        assert "does not fit" in str(trouble)
        return
    # The reader takes a hyphen at the end of a line for one of its own making, and leaves it out.
    text, *wanted = (
        re.sub("[-\u00ad\x02\ufffe]", "", part)
        for part in (printed_text(pypdfium2.PdfDocument(data)[0]), squeezed(made.plant), squeezed(lot))
    )
    assert all(part in text for part in wanted)


def test_sheets_are_filled_in_order_and_begin_where_told(known: dict[str, Sheet]) -> None:
    sheet = known["70x37"]
    made = to_pdf([label(number=f"{i}/30") for i in range(1, 31)], sheet, skip=2)
    assert made.pages == len(pypdfium2.PdfDocument(made.data)) == 2
    with pytest.raises(UserError, match="skip from 0 to 23"):
        to_pdf([label()], sheet, skip=24)


def test_the_same_labels_give_the_same_bytes(known: dict[str, Sheet]) -> None:
    assert to_pdf([label()], known["70x37"]).data == to_pdf([label()], known["70x37"]).data


def test_no_letter_is_smaller_than_can_be_read(known: dict[str, Sheet]) -> None:
    for name in ("66.7x25.4", "25x130", "70x37"):
        made = to_pdf([label(lot="a lot with a long word of its own " * 2)], known[name])
        found = pypdfium2.PdfDocument(made.data)[0].get_objects()
        sizes = [o.get_font_size() * o.get_matrix().d for o in found if isinstance(o, pypdfium2.PdfTextObj)]
        assert sizes and min(sizes) >= SMALLEST - 0.01, name


def test_a_font_of_ones_own_is_used_and_a_bad_one_named(tmp_path: Path) -> None:
    own = font_files()[0].upright
    assert Fonts([("plain", "abc")], [str(own)]).files[0].upright == own
    (tmp_path / "bad.ttf").write_bytes(b"no font")
    for path in ("bad.ttf", "none.ttf"):
        with pytest.raises(UserError, match="no font that can be read"):
            assert FontFile(tmp_path / path).letters


# The command


def run(capsys: pytest.CaptureFixture, *argv: str) -> tuple[int, str, str]:
    code = main(["labels", *argv])
    out, err = capsys.readouterr()
    return code, out, err


def test_the_command_writes_a_file_and_says_what(capsys: pytest.CaptureFixture, tmp_path: Path) -> None:
    path = tmp_path / "bags.pdf"
    tomorrow = str(date.today() + timedelta(1))
    code, out, err = run(
        capsys,
        "Taxus baccata",
        "--lot",
        "SB-14",
        "--start",
        tomorrow,
        "--out",
        str(path),
        "--handbook",
        "https://a.example",
    )
    assert code == 0 and not out and "2 labels of 70x37 mm on 1 page" in err
    text = printed_text(pypdfium2.PdfDocument(io.BytesIO(path.read_bytes()))[0])
    assert squeezed(f"In {tomorrow}") in text and "Poisonous" in text


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        (["Taxus baccata", "--start", "today"], "--out"),
        (["Taxus baccata", "--start", "today", "--out", "x.pdf", "--sheet", "9x9"], "no sheet of labels"),
        (["Taxus baccata", "--start", "today", "--out", "x.pdf", "--copies", "0"], "copies"),
        (["Taxus baccata", "--start", "today", "--out", "x.pdf", "--skip", "-1"], "skip from 0"),
        (["No such plant at all", "--start", "today", "--out", "x.pdf"], "No plant called"),
        (["Taxus baccata", "--start", "2001-01-01", "--out", "x.pdf"], "--past"),
    ],
)
def test_bad_input_is_answered_in_words(
    capsys: pytest.CaptureFixture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, argv: list[str], says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, *argv)
    assert code == 2 and says in err and not out and not list(tmp_path.iterdir())


def test_sheets_are_listed(capsys: pytest.CaptureFixture, known: dict[str, Sheet]) -> None:
    code, out, _ = run(capsys, "--sheets")
    assert code == 0 and len(out.splitlines()) == len(known)
