"""A phone comes in by a link that works once, is named, and can be struck off; a label leads to its batch."""

from __future__ import annotations

import io
import re
import time
from pathlib import Path
from typing import Any

import pytest
from bench_forms import DAY, keep, press, token  # type: ignore[import-not-found]
from flask import Flask
from flask.testing import FlaskClient
from rousewort.cli.main import main
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import Ledger
from rousewort.web import guard, limits, marks, present
from rousewort.web.pages import make_app

PASSWORD = "correct horse"
ADDRESS = "http://bench.example:8472"


@pytest.fixture
def locked(kb: KnowledgeBase, ledger: Ledger) -> Flask:
    return make_app(kb, ledger, lambda: DAY, PASSWORD, ADDRESS)


def join(client: FlaskClient, word: str, **data: str) -> Any:
    return client.post(f"/join/{word}", data={**token(client.get(f"/join/{word}").get_data(True)), **data})


def test_link_lets_one_device_in_once_and_looking_at_it_uses_nothing_up(locked: Flask) -> None:
    word = locked.extensions["links"].make()
    first, second = locked.test_client(), locked.test_client()
    for _ in range(3):
        assert second.get(f"/join/{word}").status_code == 200  # a preview
    assert join(first, word, device="Ida's phone").status_code == 302
    assert first.get("/").status_code == 200
    refused = join(second, word)
    assert refused.status_code == 401 and "used already" in refused.get_data(True)
    assert second.get("/").status_code == 302


def test_link_ends_after_ten_minutes(locked: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    word, client, began = locked.extensions["links"].make(), locked.test_client(), time.monotonic()
    monkeypatch.setattr(time, "monotonic", lambda: began + present.LINK_S + 1)
    assert join(client, word).status_code == 401
    assert client.get("/").status_code == 302


def test_link_needs_its_form_and_is_guessed_as_slowly_as_a_password(locked: Flask) -> None:
    client, word = locked.test_client(), locked.extensions["links"].make()
    assert client.post(f"/join/{word}").status_code == 400  # no token of the form
    for _ in range(guard.FREE):
        assert join(client, "guess").status_code == 401
    assert join(client, word).status_code == 429


def test_log_never_holds_a_link(
    locked: Flask, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits.LOG, "propagate", True)
    word = locked.extensions["links"].make()
    with caplog.at_level("INFO", logger=limits.LOG.name):
        join(locked.test_client(), word)
        locked.test_client().get(f"/join/{word}/more")
    assert "/join/*" in caplog.text and word not in caplog.text


def test_device_is_named_listed_and_struck_off_by_another(locked: Flask) -> None:
    clients = [locked.test_client() for _ in range(2)]
    for client, name in zip(clients, ("Ida's phone", "<b>tablet</b>"), strict=True):
        join(client, locked.extensions["links"].make(), device=name)
    page = clients[0].get("/devices").get_data(True)
    assert "Ida&#39;s phone" in page and "&lt;b&gt;tablet" in page and page.count("(this one)") == 1
    for client in clients:  # what a cookie holds is never shown
        with client.session_transaction() as kept:
            assert kept["in"] not in page
    tablet = re.findall(r'name="strike" value="([^"]+)"', page)[1]
    assert clients[0].post("/devices", data={"strike": tablet}).status_code == 400  # no token
    assert clients[1].get("/").status_code == 200
    clients[0].post("/devices", data={**token(page), "strike": tablet})
    assert clients[1].get("/").status_code == 302 and clients[0].get("/").status_code == 200


def test_device_inside_lets_another_in(locked: Flask) -> None:
    inside, other = locked.test_client(), locked.test_client()
    join(inside, locked.extensions["links"].make())
    page = inside.post("/devices", data={**token(inside.get("/devices").get_data(True)), "invite": "1"}).get_data(True)
    word = re.search(rf'href="{ADDRESS}/join/([^"]+)"', page)[1]  # type: ignore[index]
    assert join(other, word).status_code == 302 and other.get("/").status_code == 200


def test_devices_are_seen_only_from_inside_and_not_without_a_password(locked: Flask, client: FlaskClient) -> None:
    assert locked.test_client().get("/devices").status_code == 302
    assert client.get("/devices").status_code == 404


def test_signing_in_leads_to_the_page_asked_for_and_never_elsewhere(locked: Flask) -> None:
    client = locked.test_client()
    asked = client.get("/batch/1C").headers["Location"]
    form = token(client.get(asked).get_data(True)) | {"password": PASSWORD}
    assert client.post(asked, data=form).headers["Location"] == "/batch/1C"
    for elsewhere in (
        "//evil.example",
        "https://evil.example",
        "/\\evil.example",
        "\\\\evil.example",
        "/a\r\nSet-Cookie: a=b",
    ):
        form = token(client.get("/login").get_data(True)) | {"password": PASSWORD}
        assert client.post("/login", query_string={"next": elsewhere}, data=form).headers["Location"] == "/"


def test_label_leads_to_its_batch_where_the_address_is_known(
    locked: Flask, client: FlaskClient, kb: KnowledgeBase
) -> None:
    segno, zxingcpp = pytest.importorskip("segno"), pytest.importorskip("zxingcpp")
    from PIL import Image

    inside = locked.test_client()
    join(inside, locked.extensions["links"].make())
    for pages, says in ((inside, f"{ADDRESS}/batch/1C"), (client, "1C")):
        page = pages.get("/batch/1C/label").get_data(True)
        assert str(marks.mark(says)).replace("'", "&#39;") in page and "1C</b>" in page
        drawn = io.BytesIO()
        segno.make(says, micro=False, error="m").save(drawn, kind="png", scale=4, border=2)
        assert zxingcpp.read_barcodes(Image.open(drawn))[0].text == says
    found = inside.get("/find", query_string={"code": f"{ADDRESS}/batch/1C"})
    assert found.headers["Location"] == "/batch/1C"


def test_refused_count_stays_in_its_field_and_names_no_command(client: FlaskClient, ledger: Ledger) -> None:
    form = token(client.get("/batch/3").get_data(True)) | {"new": "999"}
    answer = client.post("/batch/3G/count", data=form)
    page = answer.get_data(True)
    assert answer.status_code == 400 and 'role="alert"' in page
    assert re.search(r'<input id="n" value="999"', page)
    lost = client.get("/batch/99").get_data(True)
    assert "rousewort batch" not in page + lost and "There is no batch" in lost


@pytest.mark.parametrize("text", ["bench", "http://a b", "ftp://bench", "http://bench/x", "javascript:alert(1)"])
def test_address_that_is_none_is_refused(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bench", "serve", "--address", text, "--ledger", str(tmp_path / "l.sqlite")]) == 2
    assert "is no address" in capsys.readouterr().err


def test_address_shown_is_one_that_can_be_called() -> None:
    assert present.address_here("127.0.0.1", 80) == "http://127.0.0.1:80"
    assert present.address_here("fd00::7", 80) == "http://[fd00::7]:80"
    for host in ("0.0.0.0", "::"):
        assert "0.0.0.0" not in present.address_here(host, 80) and "[::]" not in present.address_here(host, 80)


def test_joins_by_thumb_and_the_pages_fit_a_phone(chromium: Any, locked: Flask, serve: Any) -> None:
    with serve(locked) as address:
        chromium.get(f"{address}/join/{locked.extensions['links'].make()}")
        keep(chromium, "join")
        chromium.find_element("id", "device").send_keys("Ida's phone")
        press(chromium, "Join")
        chromium.get(address + "/devices")
        press(chromium, "Let one more device in")
        keep(chromium, "devices")
        assert "Ida's phone (this one)" in chromium.find_element("tag name", "main").text
        assert chromium.execute_script("return document.documentElement.scrollWidth") <= 360
