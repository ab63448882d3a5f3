"""Second readings: a seeded draw, a sheet that tells nothing of the entry, and rates with their intervals."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from rousewort.cli.main import main
from rousewort.evaluation.readings import QUESTIONS, rates, sample
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.readings import COLUMNS, read_readings
from rousewort.observe.measures import wilson

RECORDS = {"Sallowia pontis": {"protocols": [{"id": "nick"}]}}


def row(protocol: str, field: str, verdict: str) -> dict[str, str]:
    return {"taxon": "Sallowia pontis", "protocol": protocol, "field": field, "verdict": verdict}


def test_the_same_seed_draws_the_same_and_another_draws_others(kb: KnowledgeBase) -> None:
    once = sample(kb, 12, seed=7)
    assert once == sample(kb, 12, seed=7) != sample(kb, 12, seed=8)
    assert len({(d.taxon, d.protocol) for d in once}) == 12 and len(once) == 12 * len(QUESTIONS)


def test_nothing_is_drawn_that_was_read_again_or_that_nobody_read(kb: KnowledgeBase) -> None:
    again = {(r["taxon"], r["protocol"]) for r in kb.store.shared("readings")}
    drawn = {(d.taxon, d.protocol) for d in sample(kb, 100_000, seed=1)}
    assert again and len(drawn) > 100
    for taxon, place in drawn:
        protocol = kb.taxon(taxon)["protocols"][place - 1]
        assert protocol["held"] == "read" and (taxon, protocol["id"]) not in again


def test_the_sheet_is_blind_it_holds_no_amount_and_no_finding_of_the_entry(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["entry", "sample", "--count", "5", "--seed", "3"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert len(rows) == 5 * len(QUESTIONS)
    assert all(row["answer"] == "" and row["question"] in QUESTIONS.values() for row in rows)
    assert all(row["protocol"].isdigit() for row in rows)  # an id such as cold-and-acid would tell
    assert set(rows[0]) == {"taxon", "protocol", "work", "where", "field", "question", "answer"}


def test_a_sheet_with_answers_is_not_written_over(tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("taxon,answer\nSallowia pontis,nicked\n")
    assert main(["entry", "sample", "--out", str(sheet)]) == 2
    assert "nicked" in sheet.read_text()
    assert main(["entry", "sample", "--count", "1", "--out", str(sheet), "--force"]) == 0
    assert "nicked" not in sheet.read_text()


def test_a_protocol_has_the_worst_verdict_of_its_fields_and_what_was_not_found_counts_in_no_share() -> None:
    read = rates(
        [
            row("a", "length", "same"),
            row("a", "outcome", "contradicted"),
            row("b", "length", "stretched"),
            row("c", "length", "same"),
            row("d", "length", "not found"),
        ]
    )
    assert (read["protocols"], read["found"]) == (4, 3)
    assert [read["verdicts"][v]["count"] for v in ("same", "stretched", "contradicted")] == [1, 1, 1]
    share = read["fields"]["length"]["stretched"]
    assert (share["count"], share["of"]) == (1, 3)
    low, high = wilson(1, 3)
    assert (share["low"], share["high"]) == (round(low, 3), round(high, 3))


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"verdict": "fine"}, "verdict `fine`"),
        ({"protocol": "scald"}, "no protocol `scald`"),
    ],
)
def test_a_row_of_no_protocol_or_no_verdict_is_a_mistake(tmp_path: Path, changed: dict[str, str], says: str) -> None:
    sound = dict.fromkeys(COLUMNS, "") | {"taxon": "Sallowia pontis", "protocol": "nick", "verdict": "same"}
    path = tmp_path / "readings.csv"
    for values, wrong in ((sound, False), (sound | changed, True)):
        path.write_text(",".join(COLUMNS) + "\n" + ",".join(values[c] for c in COLUMNS) + "\n")
        _, problems = read_readings(tmp_path, RECORDS)
        assert bool(problems) is wrong
    assert says in problems[0].what and problems[0].line == 2


def test_every_reading_is_of_an_entry(kb: KnowledgeBase) -> None:
    assert [row["taxon"] for row in kb.store.shared("readings") if kb.taxon(row["taxon"]) is None] == []


def test_the_rate_of_what_was_read_again_is_kept(kb: KnowledgeBase) -> None:
    """41 protocols of 2026-12-01: what they amount to is printed, good or bad."""
    read = rates(kb.store.shared("readings"))
    assert read["protocols"] >= 41 and read["found"] >= 40
    assert read["verdicts"]["contradicted"]["count"] >= 2  # found wrong and mended; mending makes no reading undone
