"""Starting an entry: in the right place, from flags, questions or observations; never over another file."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from rousewort.base.errors import UserError
from rousewort.contribute.start import Said, accepted_form, parse_phase, questions
from rousewort.knowledge.strict_yaml import read

FLAGS = ("--source", "bridge-2001", "--held", "read", "--where", "table 2", "--trait", "dormancy_class=physical",
         "--phase", "nick:needed", "--phase", "cold_moist:advised=42-60", "--no-ask")  # fmt: skip


def test_flags_become_an_entry_that_passes_its_check(private) -> None:
    code, out, err = private.run("entry", "new", "sallowia", "Ripensis", "--family", "Fabaceae", *FLAGS)
    path = private.folder / "species/sallowia/sallowia-ripensis.yaml"
    assert code == 0 and out.strip() == str(path) and "entry check" in err
    entry = read(path.read_bytes(), "x").data
    ground = {"source": "bridge-2001", "held": "read", "where": "table 2"}
    assert entry["name"] == "Sallowia ripensis"
    assert entry["traits"]["dormancy_class"] == [{"is": "physical", **ground}]
    assert entry["protocols"] == [
        {
            "id": "nick-and-cold-moist",
            **ground,
            "phases": [
                {"kind": "nick", "found": "needed"},
                {"kind": "cold_moist", "days": {"low": 42, "high": 60}, "length_basis": "advice"},
            ],
        }
    ]
    assert private.run("entry", "check", path)[0] == 0


def test_the_amount_is_in_the_unit_of_the_treatment(private) -> None:
    private.run(
        "entry", "new", "Sallowia ripensis", "--family", "Fabaceae", "--phase", "soak:advised=12-24", "--no-ask"
    )
    text = (private.folder / "species/sallowia/sallowia-ripensis.yaml").read_text()
    assert "hours: {low: 12, high: 24}" in text


def test_an_entry_points_an_editor_at_a_schema_that_is_there(private) -> None:
    private.run("entry", "new", "Sallowia ripensis", "--family", "Fabaceae", "--no-ask")
    path = private.folder / "species/sallowia/sallowia-ripensis.yaml"
    first = path.read_text().splitlines()[0]
    assert first.startswith("# yaml-language-server: $schema=")
    assert (path.parent / first.split("=", 1)[1]).resolve().is_file()


def test_relatives_are_prompts_in_comments_and_never_facts(private, kb) -> None:
    private.run("entry", "new", "Cercis pontis", "--no-ask")
    text = (private.folder / "species/cercis/cercis-pontis.yaml").read_text()
    assert "family: Fabaceae" in text and "traits" not in read(text, "x").data
    assert "#   coat_hardness: hard (said of Cercis as a whole)" in text
    assert "days in" in text and "species of Cercis" in text


def test_what_is_commented_out_is_right_once_it_is_taken_in(private) -> None:
    """The example that an author fills in must itself pass, but for the id of the work."""
    private.run("entry", "new", "Sallowia ripensis", "--family", "Fabaceae", "--no-ask")
    path = private.folder / "species/sallowia/sallowia-ripensis.yaml"
    lines = path.read_text().splitlines()
    start = lines.index("# traits:")
    taken = "\n".join([*lines[:start], *(line.removeprefix("# ") for line in lines[start:])]) + "\n"
    path.write_text(taken.replace("ID-IN-SOURCES", "bridge-2001"))
    assert private.run("entry", "check", path)[0] == 0, path.read_text()


def test_an_entry_is_never_overwritten(private) -> None:
    path = private.plant()
    before = path.read_text()
    code, _, err = private.run("entry", "new", "Sallowia pontis", "--family", "Fabaceae", "--no-ask")
    assert code == 2 and "is there already" in err and path.read_text() == before


def test_all_mistakes_in_flags_come_at_once_and_nothing_is_written(private) -> None:
    code, _, err = private.run(
        "entry",
        "new",
        "Sallowia ripensis",
        "--family",
        "Fabaceae",
        "--trait",
        "embrio=small",
        "--phase",
        "cold:needed",
        "--no-ask",
    )
    assert code == 2
    assert all(word in err for word in ("embrio", "`embryo`", "'cold' is no treatment", "is no treatment"))
    assert not list(private.folder.glob("species/**/*.yaml"))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--source", "nobody-1999"), "'nobody-1999' is not in sources.yaml"),
        (("--trait", "embryo=undergrown", "--held", "read", "--family", "Fabaceae"), "names its work"),
        ((), "The family of Sallowia is not known here"),
    ],
)
def test_what_is_missing_is_told(private, words: tuple, says: str) -> None:
    code, _, err = private.run("entry", "new", "Sallowia ripensis", *words, "--no-ask")
    assert code == 2 and says in err


def test_questions_take_enter_for_unknown_and_ask_again_after_a_wrong_word(private, monkeypatch) -> None:
    answers = ["Fabaceae", "", "bridge-2001", "p. 3", "phisical", "physical", "", "", "nick:needed"]
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(answers) + "\n"))
    code, _, err = private.run("entry", "new", "Sallowia ripensis", "--ask")
    assert code == 0 and "Did you mean `physical`?" in err
    entry = read((private.folder / "species/sallowia/sallowia-ripensis.yaml").read_bytes(), "x").data
    assert entry["traits"] == {
        "dormancy_class": [{"is": "physical", "source": "bridge-2001", "held": "read", "where": "p. 3"}]
    }
    assert "common_names" not in entry


def test_what_flags_say_is_not_asked(kb) -> None:
    said = Said(
        "Cercis pontis", common_names=("a",), source="fao-1992", where="p. 1", traits={"dormancy_class": ("none",)}
    )
    assert [q.key for q in questions(kb, said)] == ["embryo", "coat_water", "phase", "germinated"]


def test_observations_become_traits(private, tmp_path) -> None:
    seen = tmp_path / "seen.yaml"
    seen.write_text(
        "format: rousewort-observations-1\nplant: Sallowia ripensis\nobservations: {}\nfound: {coat_water: stops}\n"
    )
    code, _, _ = private.run(
        "entry",
        "new",
        "Sallowia ripensis",
        "--family",
        "Fabaceae",
        "--observations",
        seen,
        "--source",
        "bridge-2001",
        "--no-ask",
    )
    entry = read((private.folder / "species/sallowia/sallowia-ripensis.yaml").read_bytes(), "x").data
    assert code == 0 and entry["traits"]["coat_water"][0]["is"] == "stops"
    assert (
        private.run("entry", "new", "Sallowia rivi", "--family", "Fabaceae", "--observations", seen, "--no-ask")[0] == 2
    )


def test_a_name_that_the_shipped_knowledge_base_has_is_not_started_there_again(rousewort, layer) -> None:
    code, _, err = rousewort("entry", "new", "Cercis", "canadensis", "--no-ask")
    assert code == 2 and "already" in err


@pytest.mark.parametrize(
    ("name", "form"),
    [
        ("cercis  CANADENSIS", "Cercis canadensis"),
        ("× sallowia pontis", "× Sallowia pontis"),
        ("Acer x freemanii", "Acer x freemanii"),
    ],
)
def test_a_name_is_put_into_its_form(name: str, form: str) -> None:
    assert accepted_form(name) == form


@pytest.mark.parametrize("name", ["Cercis", "", "Cercis ../../etc", "Cercis a/b", "Cercis 5"])
def test_what_is_no_name_is_refused(name: str) -> None:
    with pytest.raises(UserError):
        accepted_form(name)


@pytest.mark.parametrize(
    ("text", "made"),
    [
        ("cold_moist:needed=60-90@4", {"days": {"low": 60, "high": 90}, "temperature_c": 4}),
        ("acid:effective=60-", {"minutes": {"low": 60}}),
        ("acid:effective=-30", {"minutes": {"high": 30}}),
        ("acid:effective=1.5h", {"hours": 1.5}),
        ("warm_moist:tried=60@28/14", {"days": 60, "length_basis": "only_tried", "temperature_c": {"day": 28, "night": 14}}),
        ("after-ripen:advised@20-", {"length_basis": "advice", "temperature_c": {"above": 20}}),
        ("hot_water/held:effective=5@80", {"way": "held", "minutes": 5, "temperature_c": 80}),
        ("hot_water:tried", {"way": "unknown"}),
    ],
)  # fmt: skip
def test_a_phase_in_one_word_keeps_what_it_says(kb, text: str, made: dict) -> None:
    kind, found = text.split("=")[0].split("@")[0].replace("-", "_").split(":")
    assert (
        parse_phase(kb, text)
        == {"kind": kind.split("/")[0], **({"found": found} if found in ("needed", "effective") else {})} | made
    )


@pytest.mark.parametrize(
    "text",
    ["soak:tried=abc", "soak:tried=1-2-3", "soak:tried=2 weeks", "soak/held:tried", "soak:tried=1@", "soak:found"],
)
def test_a_phase_that_cannot_be_read_is_not_guessed(kb, text: str) -> None:
    with pytest.raises(UserError):
        parse_phase(kb, text)


def test_germination_is_a_protocol_even_where_nothing_was_done(private) -> None:
    code, out, _ = private.run("entry", "new", "Sallowia ripae", "--family", "Fabaceae", "--source", "bridge-2001",
        "--germinated", "/78@20/10", "--note", "in light", "--no-ask")  # fmt: skip
    assert code == 0
    assert read(Path(out.strip()).read_bytes(), "f").data["protocols"] == [
        {"id": "germination", "source": "bridge-2001", "held": "read",
         "phases": [{"kind": "sow", "temperature_c": {"day": 20, "night": 10}}],
         "results": [{"untreated": True, "germinated_pct": 78}], "note": "in light"}
    ]  # fmt: skip


SHEET = "arm,replicate,seeds,day,new_roots,hard\ncontrol,1,30,28,0,30\nnicked,1,30,28,27,3\n"


def test_a_trial_becomes_an_entry_with_a_source_of_its_own(private, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(SHEET, "utf-8")
    code, out, _ = private.run("entry", "new", "Sallowia ripae", "--family", "Fabaceae", "--trial", sheet, "--no-ask")
    (protocol,) = read(Path(out.strip()).read_bytes(), "f").data["protocols"]
    assert code == 0 and protocol["where"] == "sheet.csv"
    assert protocol["results"][0] == {"germinated": 27, "sown": 30}
    assert protocol["source"] in (private.folder / "sources.yaml").read_text()
    code, _, err = private.run("entry", "check", out.strip(), "--strict")
    assert code == 0, err


def test_a_trial_on_a_plant_that_has_an_entry_only_adds_its_protocol(private, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(SHEET, "utf-8")
    _, out, _ = private.run("entry", "new", "Cercis canadensis", "--trial", sheet, "--no-ask")
    made = read(Path(out.strip()).read_bytes(), "f").data
    assert made["adds_to"] == "Cercis canadensis" and "traits" not in made and len(made["protocols"]) == 1


def test_a_family_that_is_none_is_refused_before_anything_is_written(private) -> None:
    code, _, err = private.run("entry", "new", "Sallowia ripae", "--family", "willows", "--no-ask")
    assert code == 2 and "-aceae" in err and not list(private.folder.rglob("sallowia-ripae.yaml"))
