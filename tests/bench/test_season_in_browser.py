"""The invented year, worked whole by the bench pages, in Chromium as on a phone: fields filled, buttons pressed.

A page in Chromium costs a tenth of a second, and the year some three thousand. So on most days the same forms are sent
without it; every sixth day, and every day on which something rare is done, is worked in Chromium. With ROUSEWORT_ALL=1
every day is.
"""

from __future__ import annotations

import base64
import os
from collections import Counter
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from bench_forms import follow, press, token  # type: ignore[import-not-found]
from flask import Flask
from flask.testing import FlaskClient
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import Ledger, open_ledger
from rousewort.ledger.exchange import backup, everything, export_to, import_from
from rousewort.ledger.season import Deed, InventedSeason
from rousewort.web.pages import make_app

pytestmark = pytest.mark.slow
ALL = os.environ.get("ROUSEWORT_ALL") == "1"
RARE = ("split", "merge", "wait", "discard")


class Phone:
    """A grower's thumb on the pages. One method a kind of deed; each ends on the page that tells it was done."""

    def __init__(self, chromium: Any, address: str) -> None:
        self.chromium, self.address = chromium, address

    def find(self, css: str) -> Any:
        return self.chromium.find_element("css selector", css)

    def open(self, path: str) -> None:
        self.chromium.get(self.address + path)

    def do(self, deed: Deed) -> None:
        if deed.kind != "start":
            self.open(f"/batch/{deed.code}")
        getattr(self, deed.kind)(deed.data, deed.lot)
        assert self.chromium.find_elements("css selector", "[role=status]"), self.find("main").text

    def fill(self, css: str, text: object) -> None:
        field = self.find(css)
        field.clear()
        field.send_keys(str(text))

    def start(self, data: Any, lot: Any) -> None:
        self.open("/start")
        if "viability" in data:
            self.find("summary").click()
            self.fill("#living", round(data["viability"] * 100))
        self.fill("#name", lot["species"])
        for field, key in (("#seeds", "seeds"), ("#lot", "lot"), ("#origin", "provenance")):
            self.fill(field, data[key])
        press(self.chromium, "Start")

    def check(self, data: Any, _: Any) -> None:
        if data["finds"] == ["fine"]:
            return press(self.chromium, "Looked: all fine")
        self.chromium.find_element("xpath", "//summary[.='Something was amiss']").click()
        for word in data["finds"]:
            self.find(f"input[value={word}]").click()
        if data.get("lost"):
            self.fill("#lost", data["lost"])
        return press(self.chromium, "Write it down")

    def move(self, data: Any, _: Any) -> None:
        follow(self.chromium, self.find(f"button[value='{data['step']}']"))

    def sow(self, data: Any, _: Any) -> None:
        press(self.chromium, "Sow")

    def count(self, data: Any, _: Any) -> None:
        self.fill("#n", data["new"])
        press(self.chromium, "Count")

    def split(self, data: Any, _: Any) -> None:
        self.chromium.find_element("xpath", "//summary[.='Split or merge']").click()
        self.fill("#part-seeds", data["seeds"])
        press(self.chromium, "Split off")

    def merge(self, data: Any, _: Any) -> None:
        self.chromium.find_element("xpath", "//summary[.='Split or merge']").click()
        press(self.chromium, f"Put into {data['into']}")

    def unfold_end(self) -> None:
        self.chromium.find_element("xpath", "//summary[starts-with(., 'Wait')]").click()

    def wait(self, data: Any, _: Any) -> None:
        self.unfold_end()
        day = data["until"]
        self.find("#until").send_keys(f"{day.month:02}{day.day:02}{day.year}")  # as the field of a date is typed
        press(self.chromium, "Wait")

    def close(self, data: Any, _: Any) -> None:
        self.unfold_end()
        self.fill("#plants", data["plants"])
        press(self.chromium, "Close")

    def discard(self, data: Any, _: Any) -> None:
        self.unfold_end()
        self.fill("#reason", data["reason"])
        press(self.chromium, "Discard")

    def walk(self, deeds: list[Deed]) -> list[Deed]:
        """What the list of due things lets be noted at once. Returns the deeds that are still to be done one by one."""
        self.open("/")
        if not self.chromium.find_elements("css selector", "details.round"):
            return deeds
        fine = {d.code for d in deeds if d.kind == "check" and d.data["finds"] == ["fine"]}
        counts = {d.code: d for d in deeds if d.kind == "count"}
        self.find("details.round > summary").click()
        noted = set()
        for tick in self.chromium.find_elements("css selector", "input[name=fine]"):
            code = tick.get_attribute("value").split(".")[0]
            if code in fine:
                noted.add(code)
            else:
                tick.click()
        for field in self.chromium.find_elements("css selector", "input[name^=new-]"):
            code = field.get_attribute("name").removeprefix("new-").split(".")[0]
            if code in counts:
                field.send_keys(str(counts[code].data["new"]))
                noted.add(code)
        if noted:
            press(self.chromium, "Write all this down")
            told = self.find("[role=status]").text
            assert told == f"{len(noted)} noted."
        return [d for d in deeds if d.code not in noted]

    def printed(self) -> bytes:
        self.open("/")
        return base64.b64decode(self.chromium.execute_cdp_cmd("Page.printToPDF", {})["data"])


class Post:
    """The same forms, taken from the same pages and sent without a browser."""

    def __init__(self, client: FlaskClient) -> None:
        self.client = client

    def do(self, deed: Deed) -> None:
        page, path, fields = f"/batch/{deed.code}", f"/batch/{deed.code}/{deed.kind}", dict(deed.data)
        if deed.kind == "start":
            lot, page, path = deed.lot or {}, "/start", "/start"
            living = round(deed.data["viability"] * 100) if "viability" in deed.data else ""
            fields = {"name": lot["species"], "origin": lot["from"], "living": living, **fields}
        hidden = token(self.client.get(page).get_data(True))
        answer = self.client.post(path, data={**hidden, **fields})
        assert answer.status_code == 302, answer.get_data(True)

    def walk(self, deeds: list[Deed]) -> list[Deed]:
        return deeds


def test_whole_year_is_worked_by_the_pages_then_printed_exported_imported_and_backed_up(
    quick_chromium: Any,
    fresh: Callable[[], str],
    kb: KnowledgeBase,
    serve: Callable[[Flask], AbstractContextManager[str]],
    tmp_path: Path,
) -> None:
    from rousewort.ledger.service import diary_of

    season, day = InventedSeason(diary_of(kb)), [date.min]
    with open_ledger(fresh(), today=lambda: day[0]) as ledger:
        app = make_app(kb, ledger, lambda: day[0])
        with serve(app) as address:
            phone = Phone(quick_chromium, address)
            done, by_phone = _work(phone, Post(app.test_client()), ledger, season, day)
            phone.open("/all?ended=1")
            assert phone.find("h1").text == "Ended batches 63"
            phone.open("/results")
            assert len(quick_chromium.find_elements("class name", "card")) == done["close"]
        kinds = {"start", "check", "move", "split", "merge", "wait", "sow", "count", "discard", "close"}
        assert set(done) == kinds == set(by_phone), by_phone
        assert sum(by_phone.values()) > sum(done.values()) / 7
        assert done["start"] == 60 and ledger.batches() == []
        _out_and_in(ledger, fresh, tmp_path)


def _work(
    phone: Phone, post: Post, ledger: Ledger, season: InventedSeason, day: list[date]
) -> tuple[Counter[str], Counter[str]]:
    """Day by day until nothing is due. Returns what was done, and what of it on the phone."""
    done: Counter[str] = Counter()
    by_phone: Counter[str] = Counter()
    for n, today in enumerate(season.days()):
        day[0] = today
        turn = ALL or n % 6 == 0
        deeds = list(season.beginnings(today)) or _deeds(ledger, season, today)
        while deeds:
            hand = phone if turn or any(deed.kind in RARE for deed in deeds) else post
            several = sum(deed.kind in ("check", "count") for deed in deeds) > 1
            for deed in hand.walk(deeds) if several else deeds:
                hand.do(deed)
            done.update(deed.kind for deed in deeds)
            by_phone.update(deed.kind for deed in deeds if hand is phone)
            deeds = _deeds(ledger, season, today)
        if today < season.last:
            assert season.diary.due(ledger.batches(), today) == [], f"left undone on {today}"
        if turn and done:
            phone.open("/")
            heads = [h.text.split()[0] for h in phone.chromium.find_elements("css selector", "main > h2")]
            assert set(heads) <= {"This"}, (today, heads)
        if today.day == 1 and today.month % 3 == 1 and done:
            paper = phone.printed()
            assert paper.startswith(b"%PDF") and len(paper) > 5_000
    return done, by_phone


def _deeds(ledger: Ledger, season: InventedSeason, today: date) -> list[Deed]:
    return [deed for batch in ledger.batches() if (deed := season.deed(batch, today))]


def _out_and_in(ledger: Ledger, fresh: Callable[[], str], folder: Path) -> None:
    export_to(ledger, folder / "year.json")
    export_to(ledger, folder / "year")
    with open_ledger(fresh()) as copy:
        import_from(copy, folder / "year")
        assert everything(copy) == everything(ledger)
        assert import_from(copy, folder / "year.json") == (0, 0)
    backup(ledger, folder / "backup.json")
    if ledger.store.sqlite:
        with open_ledger(folder / "backup.json") as kept:
            assert everything(kept) == everything(ledger)
    else:
        with open_ledger(fresh()) as kept:
            import_from(kept, folder / "backup.json")
            assert everything(kept) == everything(ledger)
