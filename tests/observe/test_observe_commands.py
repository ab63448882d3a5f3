"""observe, trial, winter and plan --observations as a grower types them. All seed here is invented (Sallow Bridge community nursery)."""

from __future__ import annotations

import builtins
import json
import sys
from pathlib import Path

import pytest
from rousewort.cli.main import main

WINTERS = Path(__file__).parents[1] / "outside" / "data" / "winters"
SOAKED = ["--saw", "imbibition.intact_g=0:2.31,24:2.33,48:2.34", "--saw", "imbibition.nicked_g=0:2.28,24:4.1,48:4.3"]


@pytest.fixture
def said(monkeypatch):
    """Types the given answers, then the end of input."""

    def type_in(*answers):
        left = iter(answers)

        def answer(_=""):
            try:
                return next(left)
            except StopIteration:
                raise EOFError from None

        monkeypatch.setattr(builtins, "input", answer)

    return type_in


def test_from_flags_to_a_file_to_a_plan(tmp_path, capsys):
    seen = tmp_path / "seen.yaml"
    assert main(["observe", "Vigna marina", *SOAKED, "--save", str(seen)]) == 0
    out = capsys.readouterr().out
    assert "watertight" in out and "below 10" in out and "Seed Science Research" in out and "Next:" in out
    assert max(map(len, out.splitlines())) <= 80
    assert main(["plan", "Vigna marina", "--observations", str(seen), "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["dormancy"]["class"] == "PY" and {"nick", "abrade"} & {step["kind"] for step in plan["steps"]}


def test_a_plant_in_no_book_gets_a_plan_from_what_was_seen(tmp_path, capsys):
    seen = tmp_path / "seen.yaml"
    more = ["--saw", "nicked_germination.sown=40", "--saw", "nicked_germination.roots=7:10,28:35"]
    assert main(["observe", "Sallowia ripensis", *SOAKED, *more, "--save", str(seen)]) == 0
    assert main(["plan", "Sallowia ripensis"]) == 2
    capsys.readouterr()
    assert main(["plan", "Sallowia ripensis", "--observations", str(seen), "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert (plan["taxon"]["matched_by"], plan["basis"]["kind"], plan["dormancy"]["class"]) == (
        "observations",
        "observations",
        "PY",
    )


def test_the_conversation_asks_repeats_what_is_impossible_skips_and_keeps_what_it_got(tmp_path, said, capsys):
    seen = tmp_path / "seen.yaml"
    said("eighteen", "18", "2", "", "", "", "q")
    assert main(["observe", "Vigna marina", "--save", str(seen)]) == 0
    shown = capsys.readouterr()
    assert "Next: cut test" in shown.out and "'eighteen' is not a number" in shown.err
    assert "full: 18" in seen.read_text(encoding="utf-8")


def test_the_conversation_asks_again_for_counts_that_cannot_both_be_true(said, capsys):
    said("0", "0", "0", "0", "20", "0", "", "", "q")
    assert main(["observe", "Vigna marina"]) == 0
    shown = capsys.readouterr()
    assert "no seeds cut" in shown.err and "Filled well enough" in shown.out


def test_an_interrupted_conversation_is_saved(tmp_path, monkeypatch, capsys):
    answers = iter(["20", "1", "", ""])

    def answer(_=""):
        try:
            return next(answers)
        except StopIteration:
            raise KeyboardInterrupt from None

    monkeypatch.setattr(builtins, "input", answer)
    assert main(["observe", "Vigna marina", "--save", str(tmp_path / "seen.yaml")]) == 130
    assert "full: 20" in (tmp_path / "seen.yaml").read_text(encoding="utf-8")


def test_contradictions_and_dead_lots_are_said_when_planning(tmp_path, capsys):
    seen = tmp_path / "seen.yaml"
    mixed = [
        "--saw",
        "fresh_germination.sown=50",
        "--saw",
        "fresh_germination.roots=14:20,28:45",
        "--saw",
        "cut_test.full=3",
        "--saw",
        "cut_test.empty=17",
    ]
    assert main(["observe", "Sallowia ripensis", *SOAKED, *mixed, "--save", str(seen)]) == 0
    assert "contradict" in capsys.readouterr().out
    assert main(["plan", "Sallowia ripensis", "--observations", str(seen)]) == 0
    err = capsys.readouterr().err
    assert "Contradiction:" in err and "Fewer than half are filled" in err


def test_json_says_what_the_text_says(capsys):
    assert main(["observe", "Vigna marina", *SOAKED, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["words"]["coat_water"] == "stops" and data["readings"][0]["source"] and data["next"]
    assert sum(data["chances"].values()) == pytest.approx(1, abs=1e-3)


@pytest.mark.parametrize(
    "argv",
    [
        ["observe"],
        ["observe", "Vigna marina", "--saw", "cut_test=3"],
        ["observe", "Vigna marina", "--saw", "cut_test.ful=3"],
        ["observe", "Vigna marina", "--saw", "weather.rain=3"],
        ["observe", "Vigna marina", "--saw", "cut_test.full=3"],
        ["observe", "Vigna marina", "--file", "nowhere.yaml"],
        ["observe", "Sallowia ripensis", "--family", "Nonaceae", *SOAKED],
        ["plan", "Vigna marina", "--observations", "nowhere.yaml"],
        ["trial", "read", "nowhere.csv"],
        ["trial", "design", "Vigna marina", "--width", "0"],
        ["trial", "design", "Vigna marina", "--dishes", "0"],
        ["winter", "nowhere.csv", "--plant", "Vigna marina", "--sow", "2025-11-01"],
        ["winter", "nowhere.csv", "--plant", "Vigna marina", "--sow", "yesterday"],
    ],
)
def test_mistakes_are_answered_in_words_with_exit_2(argv, capsys):
    assert main(argv) == 2
    err = capsys.readouterr().err
    assert err and "Traceback" not in err


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "format: other",
        "format: rousewort-observations-1\nobservations: 3",
        "a: [",
        "format: rousewort-observations-1\nmore: 1",
    ],
)
def test_files_that_are_no_observations_are_refused(tmp_path, text, capsys):
    (tmp_path / "seen.yaml").write_text(text, encoding="utf-8")
    assert main(["observe", "Vigna marina", "--file", str(tmp_path / "seen.yaml")]) == 2
    assert "seen.yaml" in capsys.readouterr().err


def test_a_trial_from_design_to_plan(tmp_path, capsys):
    sheet, curves, seen = tmp_path / "sheet.csv", tmp_path / "curves.svg", tmp_path / "seen.yaml"
    design = [
        "trial",
        "design",
        "Sallowia ripensis",
        "--family",
        "Salicaceae",
        "--seeds",
        "600",
        "--start",
        "2027-01-10",
        "--sheet",
        str(sheet),
    ]
    assert main([*design, "--labels", str(tmp_path / "labels.txt")]) == 0
    out = capsys.readouterr().out
    assert "in 8" in out or "of 100 trials" in out
    assert max(map(len, out.splitlines())) <= 80
    assert main(design) == 2, "a sheet may hold a season's counts: it is never overwritten"
    lines = ["arm,replicate,seeds,day,new_roots,new_shoots,firm,empty"]
    for arm, day, came in (("control", 28, 0), ("cold", 126, 8), ("warm", 126, 0), ("warm_cold", 238, 9)):
        lines += [f"{arm},{dish},10,{day},{came},{came},{10 - came},0" for dish in (1, 2, 3, 4)]
    sheet.write_text("\n".join(lines), encoding="utf-8")
    capsys.readouterr()
    save = ["--plot", str(curves), "--save", str(seen)]
    assert main(["trial", "read", str(sheet), "--plant", "Sallowia ripensis", "--family", "Salicaceae", *save]) == 0
    out = capsys.readouterr().out
    assert "32/40" in out and "physiological, deep" in out and max(map(len, out.splitlines())) <= 80
    assert curves.read_text(encoding="utf-8").startswith("<svg")
    assert main(["plan", "Sallowia ripensis", "--observations", str(seen), "--json"]) == 0
    assert "cold_moist" in [step["kind"] for step in json.loads(capsys.readouterr().out)["steps"]]


def test_curves_go_only_where_they_belong(tmp_path, capsys):
    sheet, photo = tmp_path / "sheet.csv", tmp_path / "photo.png"
    sheet.write_text("arm,replicate,seeds,day,new_roots\ncontrol,1,20,7,5\n", encoding="utf-8")
    photo.write_bytes(b"\x89PNG\r\n\x1a\n a holiday")
    assert main(["trial", "read", str(sheet), "--plot", str(tmp_path / "curves.pdf")]) == 2
    assert "ends in .svg or .png" in capsys.readouterr().err
    assert main(["trial", "read", str(sheet), "--plot", str(photo)]) == 2
    assert "no earlier file of this kind" in capsys.readouterr().err and b"holiday" in photo.read_bytes()
    for name in ("curves.svg", "curves.png"):
        for _ in range(2):  # an earlier drawing of ours is replaced
            assert main(["trial", "read", str(sheet), "--plot", str(tmp_path / name)]) == 0


def test_png_without_its_library_says_how_to_get_it(tmp_path, capsys, monkeypatch):
    (tmp_path / "sheet.csv").write_text("arm,replicate,seeds,day,new_roots\ncontrol,1,20,7,5\n", encoding="utf-8")
    monkeypatch.setitem(sys.modules, "resvg_py", None)
    assert main(["trial", "read", str(tmp_path / "sheet.csv"), "--plot", str(tmp_path / "curves.png")]) == 2
    assert "rousewort[plot]" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("saw", "said"),
    [
        (["imbibition.intact_g=0:2.31,24:2330"], "no seed does that. Milligrams among grams"),
        (["imbibition.intact_g=0:2310,24:2330", "imbibition.nicked_g=0:2.28,24:4.1"], "is one of them in milligrams"),
        (["imbibition.intact_g=0:2.31,24:-2"], "0 or more"),
        (["imbibition.intact_g=0:2.31,24:0.3"], "no seed does that"),
        (["seed_mass.grams=46000000", "seed_mass.seeds=20"], "no seed is so heavy"),
        (["cut_test.full=-3", "cut_test.empty=0"], "whole number of seeds, 0 or more"),
    ],
)
def test_masses_in_the_wrong_unit_and_impossible_ones_are_refused(saw, said, capsys, tmp_path):
    kept = tmp_path / "seen.yaml"
    kept.write_text("format: rousewort-observations-1\nplant: Vigna marina\nobservations: {}\n", encoding="utf-8")
    before = kept.read_bytes()
    flags = [part for item in saw for part in ("--saw", item)]
    assert main(["observe", "Vigna marina", "--file", str(kept), "--save", str(kept), *flags]) == 2
    assert said in capsys.readouterr().err and kept.read_bytes() == before


def test_impossible_counts_name_file_and_line(tmp_path, capsys):
    (tmp_path / "sheet.csv").write_text("arm,replicate,seeds,day,new_roots\ncontrol,1,20,7,25\n", encoding="utf-8")
    assert main(["trial", "read", str(tmp_path / "sheet.csv")]) == 2
    assert "sheet.csv: line 2: 25 roots" in capsys.readouterr().err


# Winter


def winter(capsys, *argv) -> dict:
    assert main(["winter", *map(str, argv), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_a_seattle_winter_is_enough_for_redbud_and_says_when(capsys):
    """130 days of 1 to 10 °C from November 2013 to April 2014 are counted by hand from the file."""
    import csv

    found = winter(capsys, WINTERS / "seattle_daily.csv", "--plant", "Cercis canadensis", "--sow", "2013-11-01")
    (stage,) = found["stages"]
    rows = [
        r
        for r in csv.DictReader((WINTERS / "seattle_daily.csv").open(encoding="utf-8"))
        if "2013-11-01" <= r["date"][:10] <= "2014-04-30"
    ]
    tenths = [round(10 * float(r["temp_max"])) + round(10 * float(r["temp_min"])) for r in rows]
    cool = [r["date"][:10] for r, twice in zip(rows, tenths, strict=True) if 20 <= twice <= 200]
    assert (stage["outside"]["days"], stage["outside"]["met_on"]) == (len(cool), cool[stage["need_days"] - 1])
    assert found["enough"] is True and found["ready_on"] == cool[stage["need_days"] - 1]


def test_seasons_are_counted_one_after_the_other(capsys):
    found = winter(capsys, WINTERS / "seattle_daily.csv", "--plant", "guelder rose", "--sow", "2013-04-01")
    warm, cold = found["stages"][:2]
    assert [warm["kind"], cold["kind"]] == ["warm_moist", "cold_moist"]
    assert warm["outside"]["met_on"] < cold["outside"]["from"] < cold["outside"]["met_on"]
    assert found["fridge_ready"] < found["ready_on"]


def test_a_late_sowing_is_not_enough(capsys):
    found = winter(capsys, WINTERS / "seattle_daily.csv", "--plant", "Cercis canadensis", "--sow", "2014-03-20")
    assert found["enough"] is False and found["ready_on"] is None


def test_monthly_normals_are_read_and_said_to_flatter(capsys):
    file = WINTERS / "golden_seattle_monthly_normals.csv"
    assert winter(capsys, file, "--plant", "Cercis canadensis", "--sow", "2026-11-01")["normals"]
    assert main(["winter", str(file), "--plant", "Cercis canadensis", "--sow", "2026-11-01"]) == 0
    assert "monthly normals" in capsys.readouterr().out


def test_missing_days_leave_the_verdict_open(tmp_path, capsys):
    from datetime import date, timedelta

    days = [date(2024, 11, 1) + timedelta(i) for i in range(181)]
    lines = ["date,mean", *(f"{d},{'' if d.month in (12, 1) else 5 if d.month == 11 else 15}" for d in days)]
    (tmp_path / "gaps.csv").write_text("\n".join(lines), encoding="utf-8")
    found = winter(capsys, tmp_path / "gaps.csv", "--plant", "Cercis canadensis", "--sow", "2024-11-01")
    assert found["enough"] is None and found["stages"][0]["outside"]["missing"] == 62


def test_a_plan_without_seasons_and_temperatures_that_end_too_soon_are_told(capsys):
    file = str(WINTERS / "seattle_daily.csv")
    assert main(["winter", file, "--plant", "Robinia pseudoacacia", "--sow", "2013-11-01"]) == 2
    assert main(["winter", file, "--plant", "Cercis canadensis", "--sow", "2023-11-01"]) == 2
    err = capsys.readouterr().err
    assert "no warm or cold season" in err and "end on 2015-12-31" in err
