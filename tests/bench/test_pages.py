"""The bench pages without a browser: what they do, refuse and protect."""

from __future__ import annotations

import io
import re
from datetime import date, timedelta
from pathlib import Path

import pytest
from bench_forms import DAY, token  # type: ignore[import-not-found]
from flask import Flask
from flask.testing import FlaskClient
from rousewort.cli.main import main
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import Ledger
from rousewort.web.pages import make_app

PAGES = [
    "/",
    "/all",
    "/all?ended=1",
    "/results",
    "/start",
    *(f"/batch/{n}" for n in (1, 2, 3, 4)),
    "/batch/1C/label",
]


def post(client: FlaskClient, path: str, page: str = "", **data: object):  # type: ignore[no-untyped-def]
    """Fill in the form of a page (the batch's own, if none is named) and send it."""
    fields = token(client.get(page or path.rsplit("/", 1)[0]).get_data(True))
    return client.post(path, data={**fields, **data})


@pytest.mark.parametrize("path", PAGES)
def test_page_is_whole_and_asks_nothing_of_anywhere_else(client: FlaskClient, path: str) -> None:
    answer = client.get(path)
    page = answer.get_data(True)
    assert answer.status_code == 200 and page.rstrip().endswith("</html>")
    assert not [
        a for a in re.findall(r'(?:src|href|action)="([^"]*)"', page) if not a.startswith(("/", "#", "data:image/svg"))
    ]
    assert re.findall(r"<script[^>]*>[^<]*", page) == ['<script src="/static/bench.js">']  # none in the page itself
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]


def test_due_list_has_what_is_late_and_what_is_due_with_its_cautions(client: FlaskClient) -> None:
    page = client.get("/").get_data(True)
    late = page[page.index("<h2>Late") : page.index("<h2>Today")]
    assert "1C" in late and "4J" not in page
    assert "2E" in page[page.index("<h2>Today") :]
    assert "Cut away from the hand" not in late and "Take care" in late and "Moulds and peat" in late


def test_one_thumb_check_move_sow_and_count(client: FlaskClient, ledger: Ledger) -> None:
    assert post(client, "/batch/1C/check", finds="fine").status_code == 302
    assert ledger.batch("1").looked == DAY
    assert post(client, "/batch/2E/move", step="soak-1").status_code == 302
    assert ledger.batch("2").step == "soak-1"
    assert post(client, "/batch/1C/sow", seeds="110").status_code == 302
    assert post(client, "/batch/1C/count", new="5").status_code == 302
    batch = ledger.batch("1")
    assert (batch.sown, batch.germinated) == (110, 5)
    assert post(client, "/batch/1C/close", plants="4").status_code == 302
    assert ledger.batch("1").ended


def test_finding_is_recorded_and_answered_with_what_to_do(client: FlaskClient, ledger: Ledger) -> None:
    answer = post(client, "/batch/1C/check", finds=["mould", "wet"], lost="3", note="one corner")
    assert ledger.batch("1").events[-1].data == {"finds": ["mould", "wet"], "lost": 3, "note": "one corner"}
    page = client.get(answer.headers["Location"]).get_data(True)
    assert "Take mouldy seed out" in page and "Pour off" in page and "3 lost" in page


def test_wait_again_note_discard_and_undo(client: FlaskClient, ledger: Ledger) -> None:
    post(client, "/batch/1C/wait", until=str(DAY + timedelta(3)))
    assert ledger.batch("1").wait == DAY + timedelta(3)
    post(client, "/batch/1C/move", step="cold_moist-1")
    assert ledger.batch("1").begun["cold_moist-1"] == DAY
    post(client, "/batch/1C/note", note="<b>bold</b> & =1+1")
    page = client.get("/batch/1").get_data(True)
    assert "&lt;b&gt;bold&lt;/b&gt; &amp; =1+1" in page and "<b>bold</b>" not in page
    post(client, "/batch/1C/discard", reason="rotten")
    assert ledger.batch("1").ended
    post(client, "/batch/1C/undo")
    assert not ledger.batch("1").ended


def test_start_from_the_page_keeps_a_plan_and_wrong_names_keep_what_was_typed(
    client: FlaskClient, ledger: Ledger
) -> None:
    wrong = post(client, "/start", "/start", name="Nonesuch plantus", seeds="7")
    assert wrong.status_code == 400 and 'value="Nonesuch plantus"' in wrong.get_data(True)
    assert post(client, "/start", "/start", name="eastern redbud", seeds="0").status_code == 400
    assert post(client, "/start", "/start", name="eastern redbud", seeds="7.5").status_code == 400
    answer = post(client, "/start", "/start", name="eastern redbud", seeds="70", lot="L", origin="O")
    batch = ledger.batch("5")
    assert answer.headers["Location"].endswith("/batch/5L")
    assert (batch.seeds, batch.lot, batch.provenance, batch.plan["format"]) == (70, "L", "O", "rousewort-plan-2")


def test_same_form_sent_twice_records_once(client: FlaskClient, ledger: Ledger) -> None:
    fields = token(client.get("/batch/3").get_data(True))
    answers = [client.post("/batch/3G/count", data={**fields, "new": "5"}) for _ in range(2)]
    assert [a.status_code for a in answers] == [302, 302]
    assert ledger.batch("3").germinated == 16
    again = client.post("/batch/3G/count", data={**fields, "once": "of-another-page", "new": "5"})
    assert again.status_code == 400 and "newer entry" in again.get_data(True) and ledger.batch("3").germinated == 16


@pytest.mark.parametrize(
    ("path", "data"),
    [
        ("/batch/3G/count", {"new": "-1"}),
        ("/batch/3G/count", {"new": ""}),
        ("/batch/3G/count", {"new": "999"}),
        ("/batch/3G/count", {"new": "9" * 30}),
        ("/batch/3G/move", {"step": "soak-1"}),
        ("/batch/1C/move", {"step": "<script>"}),
        ("/batch/1C/wait", {"until": "tomorrow"}),
        ("/batch/1C/start", {"seeds": "5"}),
        ("/batch/1C/split", {"seeds": ""}),
        ("/batch/1C/split", {"seeds": "0"}),
        ("/batch/1C/split", {"seeds": "120"}),
        ("/batch/1C/split", {"seeds": "-5"}),
        ("/batch/1C/split", {"grams": "1e9"}),
        ("/batch/3G/split", {"seeds": "5"}),
        ("/batch/1C/merge", {"into": ""}),
        ("/batch/1C/merge", {"into": "1C"}),
        ("/batch/1C/merge", {"into": "2E"}),
        ("/batch/1C/merge", {"into": "4J"}),
        ("/batch/1C/sow", {"seeds": "0"}),
        ("/batch/1C/sow", {"seeds": "121"}),
        ("/batch/1C/wait", {"until": "2025-03-10"}),
        ("/batch/1C/wait", {"until": "1066-10-14"}),
        ("/batch/1C/check", {"lost": "121"}),
        ("/batch/3G/close", {"plants": "12"}),
        ("/batch/4J/note", {"note": "too late"}),
        ("/batch/1C/discard", {"reason": ""}),
    ],
)
def test_wrong_form_is_answered_with_a_reason_and_changes_nothing(
    client: FlaskClient, ledger: Ledger, path: str, data: dict[str, str]
) -> None:
    before = ledger.batches(ended=None)
    answer = post(client, path, **data)
    assert answer.status_code == 400 and 'role="alert"' in answer.get_data(True)
    assert "<script>" not in answer.get_data(True)
    assert ledger.batches(ended=None) == before


@pytest.mark.parametrize("typed", ["3G", "3g", "3", "http://bench.example:8472/batch/3G", " 3 "])
def test_typed_or_scanned_code_opens_the_batch(client: FlaskClient, typed: str) -> None:
    assert client.get("/find", query_string={"code": typed}).headers["Location"].endswith("/batch/3G")


@pytest.mark.parametrize("typed", ["", "99", "3H", "'; --"])
def test_code_of_no_batch_is_answered_kindly(client: FlaskClient, typed: str) -> None:
    answer = client.get("/find", query_string={"code": typed})
    assert answer.status_code in (400, 404) and 'role="alert"' in answer.get_data(True)


def test_photograph_of_a_printed_label_opens_its_batch(client: FlaskClient) -> None:
    """The very mark that the label page shows, drawn as a picture."""
    import segno

    picture = io.BytesIO()
    segno.make("3G", micro=False, error="m").save(picture, kind="png", scale=6, border=4)
    picture.seek(0)
    answer = post(client, "/scan", "/", picture=(picture, "label.png"))
    assert answer.headers["Location"].endswith("/batch/3G")


@pytest.mark.parametrize("data", [b"", b"no picture", b"\x89PNG\r\n\x1a\n broken"])
def test_picture_that_cannot_be_read_is_answered_kindly(client: FlaskClient, data: bytes) -> None:
    answer = post(client, "/scan", "/", picture=(io.BytesIO(data), "x.png"))
    assert answer.status_code == 400 and 'role="alert"' in answer.get_data(True)


# --- who may do what


def test_form_without_its_token_changes_nothing(client: FlaskClient, ledger: Ledger) -> None:
    before = ledger.batches(ended=None)
    for path in ("/batch/1C/discard", "/batch/1C/check", "/start", "/scan"):
        assert client.post(path, data={"reason": "x", "finds": "fine", "name": "Cercis canadensis"}).status_code == 400
    assert ledger.batches(ended=None) == before


def test_looking_never_changes_anything(client: FlaskClient, ledger: Ledger) -> None:
    before = ledger.batches(ended=None)
    for path in PAGES:
        client.get(path)
    assert client.get("/batch/1C/discard").status_code in (404, 405)
    assert ledger.batches(ended=None) == before


@pytest.mark.parametrize("host", ["evil.example", "192.168.1.5", "localhost.evil.example", "127.0.0.1.evil.example"])
def test_without_password_only_this_machine_is_answered(client: FlaskClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 403


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1:8472", "[::1]:8472"])
def test_this_machine_is_answered_by_its_own_names(client: FlaskClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 200


def test_with_password_nothing_is_seen_or_done_before_it_is_given(
    kb: KnowledgeBase, ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rousewort.web.guard.PAUSE_S", 0.05)
    client = make_app(kb, ledger, lambda: DAY, "correct horse").test_client()
    for path in (*PAGES, "/find?code=1"):
        assert client.get(path).headers["Location"].partition("?")[0].endswith("/login")
    page = client.get("/login").get_data(True)
    assert "CECA" not in page
    assert (
        client.post("/batch/1C/discard", data={**token(page), "reason": "x"})
        .headers["Location"]
        .partition("?")[0]
        .endswith("/login")
    )
    assert client.post("/login", data={**token(page), "password": "wrong"}).status_code == 401
    assert client.get("/").status_code == 302
    answer = client.post("/login", data={**token(page), "password": "correct horse"})
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
    assert "1C" in client.get("/").get_data(True)
    assert (
        client.get("/", headers={"Host": "192.168.1.5:8472"}).headers["Location"].partition("?")[0].endswith("/login")
    )  # not its cookie
    assert not ledger.batch("1").ended


def test_serving_beyond_this_machine_without_password_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv("ROUSEWORT_BENCH_PASSWORD", raising=False)
    where = str(tmp_path / "l.sqlite")
    for host in ("0.0.0.0", "::", "192.0.2.1", "bench.example"):
        assert main(["bench", "serve", "--host", host, "--ledger", where]) == 2
        assert "a password is needed" in capsys.readouterr().err
    (tmp_path / "short").write_text("abc\n")
    assert (
        main(["bench", "serve", "--host", "0.0.0.0", "--password-file", str(tmp_path / "short"), "--ledger", where])
        == 2
    )
    assert "8 signs" in capsys.readouterr().err
    assert main(["bench", "serve", "--port", "99999", "--ledger", where]) == 2
    assert "Cannot listen" in capsys.readouterr().err


def test_day_of_the_pages_is_the_ledgers(client: FlaskClient) -> None:
    assert str(DAY) in client.get("/").get_data(True) and date.today() != DAY


def test_split_and_merge_by_thumb(client: FlaskClient, ledger: Ledger) -> None:
    page = client.get("/batch/1").get_data(True)
    assert "a quarter: 30 seeds" in page and "half: 60 seeds" in page and "none to merge with" in page
    answer = post(client, "/batch/1C/split", seeds="30", note="for the bed")
    told = client.get(answer.headers["Location"]).get_data(True)
    assert "5L is a batch of its own now: 30 seeds" in told and "Put into 5L (30 seeds" in told
    assert (ledger.batch("1").seeds, ledger.batch("5").seeds, ledger.batch("5").begun) == (
        90,
        30,
        ledger.batch("1").begun,
    )
    answer = post(client, "/batch/5L/merge", into="1C")
    assert answer.headers["Location"].endswith("/batch/1C")
    assert ledger.batch("1").seeds == 120 and ledger.batch("5").ended


def test_merge_from_an_old_page_records_nothing(client: FlaskClient, ledger: Ledger) -> None:
    post(client, "/batch/1C/split", seeds="30")
    old = token(client.get("/batch/5").get_data(True))
    ledger.record("5", "note", note="meanwhile")
    assert client.post("/batch/5L/merge", data={**old, "into": "1C"}).status_code == 400
    assert not ledger.batch("5").ended and ledger.batch("1").seeds == 90


def test_several_batches_are_looked_at_and_counted_with_one_form(client: FlaskClient, ledger: Ledger) -> None:
    page = client.get("/").get_data(True)
    assert "Several at once: 1 to look at, 1 to count" in page
    fine = re.search(r'name="fine" value="([^"]+)"', page)[1]  # type: ignore[index]
    new = re.search(r'name="(new-[^"]+)"', page)[1]  # type: ignore[index]
    assert post(client, "/walk", "/", fine=fine, **{new: "x"}).status_code == 400
    assert ledger.batch("1").looked != DAY
    post(client, "/walk", "/", fine=fine, **{new: "4"})
    assert ledger.batch("1").looked == DAY and ledger.batch("3").germinated == 15
    assert "2 noted." in client.get("/").get_data(True)
    post(client, "/walk", "/", fine=fine)  # the same page once more: both have gone on
    assert "Left out: 1C has a newer entry" in client.get("/").get_data(True)
    assert post(client, "/walk", "/", fine="1C").status_code == 400


def test_looked_at_from_the_list_leads_back_to_the_list(client: FlaskClient) -> None:
    answer = post(client, "/batch/1C/check", "/", finds="fine", back="due")
    assert answer.headers["Location"] == "/" and "1C: Noted." in client.get("/").get_data(True)


def test_step_outside_out_of_season_needs_a_tick(kb: KnowledgeBase, client: FlaskClient, ledger: Ledger) -> None:
    from rousewort.ledger.service import plan_to_keep
    from rousewort.planning.grower import make_grower

    plan = plan_to_keep(kb, "Cercis canadensis", make_grower(kb.vocabulary, without=["fridge"]), "plain")
    code = ledger.start(plan, seeds=20).code
    page = client.get(f"/batch/{code}").get_data(True)
    assert "outside out of season, all the same" in page
    refused = post(client, f"/batch/{code}/sow", seeds="20")
    assert refused.status_code == 409 and "the next one begins on 2025-09-15" in refused.get_data(True)
    assert post(client, f"/batch/{code}/move", step="outdoor_winter-1").status_code == 409
    assert not ledger.batch(code).sown_on
    assert post(client, f"/batch/{code}/sow", seeds="20", anyway="1").status_code == 302
    assert ledger.batch(code).sown_on == DAY


def test_what_the_plan_says_otherwise_is_asked_before_it_is_recorded_and_kept_with_its_reason(
    client: FlaskClient, ledger: Ledger
) -> None:
    """2E was only begun today: 60 days of cold are still to come. A tick for the season answers for none of them."""
    before = ledger.batch("2")
    asked = post(client, "/batch/2E/sow", seeds="30").get_data(True)
    assert ledger.batch("2") == before
    for text in ("cold and moist", "60 (42–60) days", "would be skipped", 'name="seeds" value="30"'):
        assert text in asked
    for no_reason in ({"why": " "}, {"anyway": "1"}):
        assert post(client, "/batch/2E/sow", seeds="30", **no_reason).status_code == 409
    assert ledger.batch("2") == before
    post(client, "/batch/2E/sow", seeds="30", why="trial without cold")
    assert {ledger.batch("2").past[step].begun for step in ("soak-1", "nick-1", "cold_moist-1")} == {None}
    page = client.get("/batch/2").get_data(True)
    assert "cold and moist: skipped (trial without cold)" in page and "Not given as planned" in page
    label = client.get("/batch/2/label").get_data(True)
    assert f"sown {DAY}" in label and "cold and moist: skipped" in label and "out 2025" not in label


def test_start_with_weight_living_share_and_southern_seasons(client: FlaskClient, ledger: Ledger) -> None:
    post(client, "/start", "/start", name="eastern redbud", grams="2,5", living="70", south="1")
    batch = ledger.batch("5")
    assert (batch.seeds, batch.grams, batch.viability, batch.south) == (None, 2.5, 0.7, True)
    for wrong in ({"grams": "0"}, {"grams": "heavy"}, {"living": "0"}, {"living": "130"}, {"seeds": "-4"}):
        answer = post(client, "/start", "/start", name="eastern redbud", **wrong)
        assert answer.status_code == 400 and 'role="alert"' in answer.get_data(True)
    assert len(ledger.batches(ended=None)) == 5


def test_fault_of_ours_is_said_on_a_page(client: FlaskClient, app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Ledger, "batches", lambda *_, **__: 1 / 0)
    answer = client.get("/")
    assert answer.status_code == 500 and "A fault of ours" in answer.get_data(True)
