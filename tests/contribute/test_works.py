"""Works: cited by a library, put in without touching others, refused where they are there already."""

from __future__ import annotations

import json

import pytest
from must_be_here import needed
from rousewort.base.errors import UserError
from rousewort.contribute.works import Work, faults, id_for, inserted, isbn_holds, same_work, tidy_citation, typed
from rousewort.knowledge.strict_yaml import read

BIB = r"""@article{one, author={Reed, Ana and M{\"u}ller, B. C.}, title={Waking {Sallowia} seed}, journal={Sallow Bridge Notes},
 year=2019, volume=2, number=3, pages={41--44}, doi={10.1234/sbn.41}}
@book{Two, author={Sallow, C.}, title={A bridge of seeds}, publisher={Bridge Press}, year=2020, address={Sallow Bridge}}
"""
CSL = [{"id": "x", "type": "article-journal", "title": "Waking Sallowia seed", "author": [{"family": "Reed", "given": "Ana"}], "container-title": "Sallow Bridge Notes", "issued": {"date-parts": [[2019]]}, "page": "41-44"}]  # fmt: skip


@pytest.fixture(autouse=True)
def _library() -> None:
    needed("citeproc")


def test_bibtex_gives_every_work_cited_in_one_style(private, tmp_path) -> None:
    (tmp_path / "a.bib").write_text(BIB)
    code, out, _ = private.run("source", "add", tmp_path / "a.bib")
    assert code == 0, out
    works = read((private.folder / "sources.yaml").read_bytes(), "x").data
    assert (
        works["reed-2019-waking"]["citation"]
        == "Reed, A. and Müller, B.C. (2019) 'Waking Sallowia seed', Sallow Bridge Notes, 2(3), pp. 41–44. doi:10.1234/sbn.41"
    )
    assert (
        works["sallow-2020-bridge"]["citation"] == "Sallow, C. (2020) A bridge of seeds. Sallow Bridge: Bridge Press."
    )
    assert "bridge-2001" in works, "what was there stays"


def test_csl_json_and_typed_fields_give_the_same_citation(private, tmp_path) -> None:
    (tmp_path / "a.json").write_text(json.dumps(CSL))
    private.run("source", "add", tmp_path / "a.json", "--id", "from-json")
    private.run("source", "add", "--author", "Reed, Ana", "--year", "2019", "--title", "Waking Sallowia seed", "--journal", "Sallow Bridge Notes", "--pages", "41-44", "--id", "from-fields", "--force")  # fmt: skip
    works = read((private.folder / "sources.yaml").read_bytes(), "x").data
    assert works["from-json"] == works["from-fields"]


def test_a_new_work_can_be_cited_at_once(private) -> None:
    private.run(
        "source",
        "add",
        "--citation",
        "Reed A. (2020) A second invented work. Sallow Bridge Notes 3:1-2.",
        "--id",
        "reed-2020",
    )
    path = private.plant(("is: physical, source: bridge-2001", "is: physical, source: reed-2020"))
    assert private.run("entry", "check", path)[0] == 0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--citation", "Reed A. A work without its year. Sallow Bridge Notes."), "no year"),
        (("--citation", "Reed A. (2001) An invented work on waking seed. Sallow Bridge Notes 1:1-9."), "may be there already, as 'bridge-2001'"),
        (("--citation", "Reed A. (2001) Something else.", "--id", "Not An Id"), "is no id"),
        (("--citation", "Reed A. (2001) Something else.", "--id", "bridge-2001"), "is taken by"),
        (("--title", "Seed", "--doi", "11.1/x", "--isbn", "978-0-00-000000-1", "--year", "19"), "check digit"),
        (("--title", "Seed", "--citation", "both"), "one of them"),
        ((), "one of them"),
    ],
)  # fmt: skip
def test_a_work_that_is_not_right_is_refused_and_nothing_is_written(private, words: tuple, says: str) -> None:
    before = (private.folder / "sources.yaml").read_text()
    code, _, err = private.run("source", "add", *words)
    assert code == 2 and says in err
    assert (private.folder / "sources.yaml").read_text() == before


def test_every_wrong_field_is_told_at_once() -> None:
    with pytest.raises(UserError) as caught:
        typed({"year": "19", "doi": "x", "isbn": "123"})
    assert len(caught.value.problems) == 4


def test_a_work_can_be_added_while_an_entry_waits_for_it(private) -> None:
    path = private.plant(("is: physical, source: bridge-2001", "is: physical, source: reed-2020"))
    assert private.run("entry", "check", path)[0] == 1
    assert (
        private.run(
            "source",
            "add",
            "--citation",
            "Reed A. (2020) A second invented work. Bridge Notes 3:1-2.",
            "--id",
            "reed-2020",
        )[0]
        == 0
    )
    assert private.run("entry", "check", path)[0] == 0


@pytest.mark.parametrize("text", ["nothing", "[]", '{"a": 1}', "[1]"])
def test_a_file_that_is_no_work_is_told(private, tmp_path, text: str) -> None:
    (tmp_path / "a.json").write_text(text)
    assert private.run("source", "add", tmp_path / "a.json")[0] == 2


def test_the_same_doi_is_the_same_work_in_any_style() -> None:
    sources = {"a": {"citation": "Reed 2001. Quite another wording. https://doi.org/10.1234/ABC"}}
    assert same_work("R. (2001) Title. doi:10.1234/abc", sources) == "a"
    assert same_work("R. (2001) Title. doi:10.1234/abd", sources) is None


def test_a_doi_is_written_as_a_doi() -> None:
    assert tidy_citation("R. (2001) ‘T’. Available at: https://doi.org/10.1/x.") == "R. (2001) 'T'. doi:10.1/x"


# 0-306-40615-2 and 978-0-306-40615-7: the worked examples of the ISBN Users' Manual (check digit calculation).
@pytest.mark.parametrize(
    ("isbn", "holds"),
    [
        ("0-306-40615-2", True),
        ("978-0-306-40615-7", True),
        ("0-306-40615-3", False),
        ("978-0-306-40615-6", False),
        ("080442957X", True),
    ],
)
def test_the_check_digit_of_an_isbn_is_checked(isbn: str, holds: bool) -> None:
    assert isbn_holds(isbn) is holds


def test_an_id_is_numbered_where_it_is_taken() -> None:
    record = {"author": [{"family": "Müller"}], "title": "On the waking of seed", "issued": {"date-parts": [[2001]]}}
    assert id_for(record, "", {}) == "muller-2001-waking"
    assert id_for(record, "", {"muller-2001-waking": {}}) == "muller-2001-waking-2"


@pytest.mark.parametrize("new", ["a-first", "m-middle", "z-last"])
def test_a_work_goes_to_its_place_and_nothing_else_moves(new: str) -> None:
    text = "# Works.\n# schema\nb-work: {citation: 'One (2001).'}\n\n# a remark on the next\nn-work:\n  citation: Two (2002).\nx-work: {citation: 'Three (2003).'}"
    made = inserted(text, Work(new, "A new work (2004) with: a colon"))
    assert list(read(made, "x").data) == sorted(["b-work", "n-work", "x-work", new])
    assert [line for line in made.splitlines() if new not in line] == text.splitlines()
    assert made.index("# a remark") < made.index("n-work") and "# a remark on the next\nn-work" in made


def test_showing_a_work_tells_everything_that_rests_on_it(private) -> None:
    private.plant()
    code, out, _ = private.run("source", "show", "bridge-2001")
    assert code == 0 and "species Sallowia pontis: dormancy class (read), protocol (read)" in out
    code, out, _ = private.run("source", "show", "bridge-2001", "--json")
    assert {use["part"] for use in json.loads(out)["uses"]} == {"dormancy_class", "protocol"}
    code, _, err = private.run("source", "show", "bridge-2002")
    assert code == 2 and "bridge-2001" in err


def test_every_shipped_work_is_found_by_what_cites_it(kb) -> None:
    """Against a plain count over all of the text."""
    from rousewort.contribute.works import uses

    records = json.dumps([list(kb._memory.records.values()), kb.rules, kb.treatments])
    for source in sorted(kb.sources)[::25]:
        named = records.count(f'"source": "{source}"') + records.count(f'"id": "{source}"')
        assert len(list(uses(kb, source))) == named, source


def test_no_shipped_work_stands_there_twice_by_its_doi(kb) -> None:
    import re

    dois = [
        m[0].rstrip(".,;)").lower()
        for s in kb.sources.values()
        for m in [re.search(r"10\.\d{4,9}/\S+", s["citation"])]
        if m
    ]
    assert len(dois) == len(set(dois))


def test_a_fault_free_work_has_none() -> None:
    assert faults(Work("reed-2001", "Reed A. (2001) An invented work. Bridge Notes 1:1-9."), {}) == []
