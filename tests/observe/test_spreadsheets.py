"""Tables as spreadsheets save them are read alike; what could be read in two ways is refused, with its line."""

from __future__ import annotations

import csv
import io
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.errors import UserError
from rousewort.observe import winter as w
from rousewort.observe.sheet import read_sheet
from rousewort.observe.spreadsheet import dates, number, read_table, read_text, whole
from rousewort.observe.trial import arms_of

DAYS = [date(2027, 1, 12), date(2027, 1, 19), date(2027, 2, 2)]
FORMS = {
    "as written": ("%Y-%m-%d", ",", "utf-8"),
    "semicolons, dots, byte order mark": ("%d.%m.%Y", ";", "utf-8-sig"),
    "tabs, month first, UTF-16": ("%m/%d/%Y", "\t", "utf-16"),
    "commas, day first": ("%d/%m/%Y", ",", "utf-8"),
}


@pytest.mark.parametrize("form", FORMS)
def test_a_sheet_reads_the_same_however_a_spreadsheet_saved_it(kb, tmp_path, form):
    shape, delimiter, encoding = FORMS[form]
    text = io.StringIO()
    table = csv.writer(text, delimiter=delimiter)
    table.writerow(["arm", "replicate", "seeds", "started", "date", "new_roots", "note", "", ""])
    for i, day in enumerate(DAYS):
        table.writerow(
            ["control", 1, "20.0", date(2027, 1, 5).strftime(shape), day.strftime(shape), i, "damp, cool", "", ""]
        )
    (tmp_path / "sheet.csv").write_text(text.getvalue(), encoding=encoding)
    (dish,) = read_sheet(read_text(tmp_path / "sheet.csv").splitlines(), arms_of(kb.vocabulary))
    assert (dish.roots.times, dish.roots.new, dish.roots.sown) == ((7, 14, 28), (0, 1, 2), 20)


@pytest.mark.parametrize("form", ["date;tmin;tmax|31.12.2026;-1,5;3,5", "\ufeffdate\ttmin\ttmax|2026-12-31\t−1,5\t3.5"])
def test_temperatures_with_decimal_commas(form):
    assert w.read_daily(form.split("|"), "C") == {date(2026, 12, 31): w.Day(20, -15, 35)}


def test_a_date_that_could_be_two_is_refused_and_another_line_settles_it():
    with pytest.raises(ValueError, match="day/month or month/day"):
        dates(["1/2/2027", "3/4/2027"])("1/2/2027")
    assert dates(["1/2/2027", "13/2/2027"])("1/2/2027") == date(2027, 2, 1)
    assert dates(["1/2/2027", "2/13/2027"])("1/2/2027") == date(2027, 1, 2)
    with pytest.raises(ValueError, match="is not a date"):
        dates(["13/2/2027", "2/13/2027"])("2/13/2027")


@pytest.mark.parametrize("text", ["31-12-2026", "2026-1-1", "2026-02-30", "32.1.2026", "", "yesterday"])
def test_what_is_no_date_is_not_taken_for_one(text):
    with pytest.raises(ValueError, match="is not a date such as 2026-01-31"):
        dates([])(text)


@given(st.dates(min_value=date(1000, 1, 1)))
def test_every_date_survives_every_form(when):
    for shape, other in (("%d.%m.%Y", ""), ("%d/%m/%Y", "31/01/2026"), ("%m/%d/%Y", "01/31/2026")):
        text = when.strftime(shape)
        assert dates([text, other])(text) == when


def test_a_comma_before_three_digits_could_be_thousands():
    assert (number("1,5"), number("-0,125"), number("1.5")) == ("1.5", "-0.125", "1.5")
    with pytest.raises(ValueError, match="thousands or a decimal"):
        number("1,250")


@pytest.mark.parametrize(
    ("text", "count"), [("12", 12), ("12.0", 12), ("12,0", 12), ("1.5", None), ("-1", None), ("²", None), ("", None)]
)
def test_counts_are_whole(text, count):
    assert whole(text) == count


def test_lines_are_those_of_the_file_with_empty_rows_and_a_separator_line():
    table = read_table(["sep=;", "a;b", "", "1;2", ";;", "3;4;5"])
    assert table.headings == ["a", "b"]
    assert table.rows == [(4, {"a": "1", "b": "2"}), (6, {"a": "3", "b": "4", "": "5"})]


def test_text_in_another_encoding_is_refused_by_name(tmp_path):
    (tmp_path / "old.csv").write_bytes("arm,note\ncontrol,übrig".encode("cp1252"))
    with pytest.raises(UserError, match=r"old\.csv: is not text in UTF-8"):
        read_text(tmp_path / "old.csv")


def test_hundreds_of_lines_in_the_wrong_unit_are_told_once():
    lines = ["date,tmin,tmax", *(f"2026-07-{day:02},60,85" for day in range(1, 32))]
    with pytest.raises(UserError) as told:
        w.read_daily(lines, "C")
    assert told.value.problems == [
        "line 2: 85 C is no air temperature: other unit (--unit), or a code for missing (leave blank)? (and 30 lines more)"
    ]


def test_a_winter_of_fahrenheit_taken_for_celsius_is_pointed_out():
    days = w.read_daily(["date,tmin,tmax", *(f"2026-12-{day:02},30,48" for day in range(1, 32))], "C")
    (note,) = w.outdoor_winter(days, date(2026, 12, 1), 30, 1, 10, until=date(2026, 12, 31)).notes
    assert "coolest month averages 39 °C" in note and "--unit F" in note
