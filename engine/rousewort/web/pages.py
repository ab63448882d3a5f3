"""The pages themselves. They ask the ledger and the diary, and decide nothing."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from flask import Flask, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import CSRFError, generate_csrf

from rousewort.base.errors import NotFound, UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import AlreadySent, Ledger
from rousewort.ledger.courses import Contradicted, departures
from rousewort.ledger.due import said
from rousewort.ledger.events import Batch
from rousewort.ledger.results import result_of
from rousewort.ledger.service import BatchService, plan_to_keep, readable
from rousewort.render.batch_text import amount, event_text, expected_text, one_line, percent
from rousewort.web import forms
from rousewort.web.guard import protect
from rousewort.web.limits import limit
from rousewort.web.marks import can_scan, mark, read_mark

MOST_BYTES = 12 * 1024 * 1024  # of a photograph of a label
WORDS = {
    403: "These pages answer only under their own address, on this machine.",
    404: "There is no such page.",
    405: "That is not done this way: use the buttons.",
    413: "That picture, or form, is too large.",
    429: "Too much was asked from this device within a minute. Nothing was recorded; wait a little.",
    503: "The bench is busy just now. Nothing was recorded; try again in a moment.",
    500: "A fault of ours. What this page was to record is not recorded; all before it is safe.",
}


def make_app(
    kb: KnowledgeBase, ledger: Ledger, today: Callable[[], date], password: str | None = None, address: str = ""
) -> Flask:
    """The application. `password`: None only where nobody but this machine can reach it. `address`: where phones reach it, if known.

    `app.extensions["links"]` makes links that let one device in.
    """
    app = Flask("rousewort.web")
    app.config.update(MAX_CONTENT_LENGTH=MOST_BYTES)
    limit(app)
    app.extensions["links"] = protect(app, password, address)
    _Pages(app, kb, ledger, today, address)
    return app


class _Pages:
    """All pages over one ledger. A change says what happened, or why not."""

    def __init__(self, app: Flask, kb: KnowledgeBase, ledger: Ledger, today: Callable[[], date], address: str) -> None:
        self.address = address
        self.kb, self.ledger, self.today = kb, ledger, today
        self.service = BatchService(ledger, kb)
        self.diary, self.finds = self.service.diary, self.service.finds
        app.jinja_env.globals.update(
            once=lambda: secrets.token_urlsafe(12),
            said=said,
            one_line=one_line,
            amount=amount,
            event_text=event_text,
            percent=percent,
        )
        app.jinja_env.globals.update(expected_text=expected_text, scanning=can_scan())
        for path, name, methods in (
            ("/", "due", ["GET"]),
            ("/all", "all_batches", ["GET"]),
            ("/results", "results", ["GET"]),
            ("/find", "find", ["GET"]),
            ("/scan", "scan", ["POST"]),
            ("/walk", "walk", ["POST"]),
            ("/start", "start", ["GET", "POST"]),
            ("/batch/<code>", "batch", ["GET"]),
            ("/batch/<code>/label", "label", ["GET"]),
            ("/batch/<code>/<what>", "change", ["POST"]),
            ("/batch/<code>/<what>/kept", "kept", ["POST"]),
            ("/pass", "pass_", ["GET"]),
        ):
            app.add_url_rule(path, name, getattr(self, name), methods=methods)
        app.register_error_handler(AlreadySent, self.again)
        app.register_error_handler(UserError, self.trouble)
        app.register_error_handler(CSRFError, self.stale)
        for status in WORDS:
            app.register_error_handler(status, _message(status))

    # --- looking

    def due(self) -> str:
        today = self.today()
        found = self.diary.due(self._readable(), today + timedelta(6))
        groups = [
            ("Late", [d for d in found if d.day < today]),
            ("Today", [d for d in found if d.day == today]),
            ("This week", [d for d in found if d.day > today]),
        ]
        now = [d for d in found if d.day <= today]
        looks = [d for d in now if d.what in ("check", "look", "hold")]
        counts = [d for d in now if d.what == "count"]
        return render_template("due.html", groups=groups, today=today, any=bool(found), looks=looks, counts=counts)

    def _readable(self, ended: bool = False) -> list[Batch]:
        """The batches that can be worked with; the others are named on the page, and stop nothing."""
        good, bad = readable(self.ledger, self.diary, self.today(), ended=ended)
        for one in bad:
            flash(for_the_bench(f"{one} All else goes on. See: rousewort batch doctor"))
        return good

    def all_batches(self) -> str:
        ended = "ended" in request.args
        return render_template("all.html", batches=self._readable(ended), diary=self.diary, ended=ended)

    def results(self) -> str:
        found = [result_of(b) for b in self._readable(True) if b.ended and b.ended.kind == "close"]
        return render_template("results.html", results=found)

    def batch(self, code: str, what: str = "", wrong: str = "") -> str:
        """A batch's page; after a refusal `wrong` says why, and the form `what` keeps what was typed."""
        batch, today = self.ledger.batch(code), self.today()
        shown: dict[str, Any] = {"batch": batch, "today": today, "finds": self.finds, "ways": [1, 2, 5, 10]}
        shown |= {
            "wrong": wrong,
            "refused": forms.once(request.form) if wrong else "",
            "typed": lambda kind, field: request.form.get(field, "") if kind == what else "",
        }
        shown["kept"] = {event.turn for event in batch.standing}
        if not batch.ended:
            shown |= {"due": self.diary.next(batch), "dated": self.diary.dated(batch, today)}
        if not batch.ended and not batch.sown_on:
            shown |= {"waits": {step: self.diary.waits_for(batch, step, today) for step in batch.steps}}
            shown["others"] = self._alike(batch)
        return render_template("batch.html", **shown)

    def _alike(self, batch: Batch) -> list[Batch]:
        """Batches that this one could be merged into."""
        there = self.ledger.batches(species=batch.species, unreadable=[])
        return [b for b in there if b.number != batch.number and b.step == batch.step and not b.sown_on]

    def label(self, code: str) -> str:
        batch = self.ledger.batch(code)
        dated = self.diary.dated(batch, self.today())
        shown = {"step": None if batch.ended else dated.step(batch.step), "seedlings": dated.seedlings}
        departed = departures(self.diary.courses(batch))
        # A link is opened by the phone's own camera; without a known address the code alone, which the finder reads.
        says = self.address + url_for("batch", code=batch.code) if self.address else batch.code
        return render_template("label.html", batch=batch, mark=mark(says), departed=departed, **shown)

    def find(self) -> ResponseReturnValue:
        batch = self.ledger.batch(forms.code_in(request.args.get("code", "")))
        return redirect(url_for("batch", code=batch.code))

    def scan(self) -> ResponseReturnValue:
        batch = self.ledger.batch(forms.code_in(read_mark(request.files.get("picture"))))
        return redirect(url_for("batch", code=batch.code))

    # --- changing

    def start(self) -> ResponseReturnValue:
        form = request.form
        if request.method == "GET":
            return render_template("start.html", form={}, wrong="")
        try:
            plan = plan_to_keep(self.kb, form.get("name", ""))
            batch = self.service.start(plan, form=forms.once(form), **forms.start(form))
        except AlreadySent:
            raise
        except UserError as trouble:
            return render_template("start.html", form=form, wrong=for_the_bench(str(trouble))), 400
        flash(f"{batch.code} is begun.")
        return redirect(url_for("batch", code=batch.code))

    def walk(self) -> ResponseReturnValue:
        """Several batches at once. What has gone on meanwhile is left out and told; the rest is recorded."""
        done, left = 0, []
        for look in list(forms.walk(request.form)):  # all are read before one is recorded
            try:
                self.service.record(look.code, look.kind, turn=look.turn, **look.data)
                done += 1
            except UserError as trouble:
                left.append(for_the_bench(str(trouble)))
        flash(f"{done} noted." if done else "Nothing was noted.")
        for text in left:
            flash(f"Left out: {text}")
        return redirect(url_for("due"))

    def change(self, code: str, what: str) -> ResponseReturnValue:
        try:
            return self._change(code, what)
        except (AlreadySent, NotFound):
            raise
        except UserError as trouble:
            return self.batch(code, what, for_the_bench(str(trouble))), 400

    def pass_(self) -> dict[str, str]:
        """A token of these pages, for acts that a page kept while there was no signal."""
        return {"csrf_token": generate_csrf()}

    def kept(self, code: str, what: str) -> ResponseReturnValue:
        """One act that waited on a device: `done` (now or before), or why not and what may be chosen, recording nothing.

        States: done; conflict (the batch has gone on; `turn` is its last entry); ask (the plan says otherwise); refused.
        """
        form = request.form
        token = forms.once(form)
        if what not in forms.SAYS or not token:
            return {"state": "refused", "text": "There is no such thing to do with a batch."}
        turn = forms.number(form.get("turn", ""), "the entry last seen")
        try:
            if self.ledger.was_sent(token):
                return {"state": "done"}
            if told := self._gone_on(code, turn):
                return told
            data = forms.SAYS[what](form)
            self.service.record(
                code,
                what,
                day=forms.tapped(form, self.today()),
                turn=turn,
                form=token,
                note=forms.kept_note(form),
                **data,
            )
        except AlreadySent:
            pass
        except Contradicted as contradicted:
            return {"state": "ask", "text": " ".join(one.text for one in contradicted.against)}
        except UserError as trouble:
            refused = {"state": "refused", "text": for_the_bench(str(trouble))}
            return refused if isinstance(trouble, NotFound) else self._gone_on(code, turn) or refused
        return {"state": "done"}

    def _gone_on(self, code: str, turn: int | None) -> dict[str, Any] | None:
        """What happened to a batch since `turn`, as a choice; None where nothing did."""
        batch = self.ledger.batch(code)
        if turn == batch.turn:
            return None
        last = batch.events[-1]
        text = f"Meanwhile: {event_text(last)}, {last.day}. Record yours as well?"
        return {"state": "conflict", "text": text, "turn": batch.turn}

    def _change(self, code: str, what: str) -> ResponseReturnValue:
        form = request.form
        turn = forms.number(form.get("turn", ""), "the entry last seen")
        note = form.get("note", "").strip()
        if what == "undo":
            batch, told = self.ledger.undo(code, turn=turn), "Taken back."
        elif what == "split":
            batch, new = self.ledger.split(code, turn=turn, note=note, **forms.part(form))
            told = f"{new.code} is a batch of its own now: {amount(new)}. Print its label."
        elif what == "merge":
            batch = self.ledger.merge(code, forms.code_in(form.get("into", "")), turn=turn, note=note)
            told = f"{code} is in {batch.code} now: {amount(batch)}."
        elif what in forms.SAYS:
            data, told = forms.SAYS[what](form), {"check": "Noted.", "count": "Counted."}.get(what, "Done.")
            try:
                batch = self.service.record(code, what, turn=turn, form=forms.once(form), note=note, **data)
            except Contradicted as contradicted:
                return self.ask(code, what, contradicted)
        else:
            raise UserError("There is no such thing to do with a batch.")
        from_list = form.get("back") == "due"
        flash(f"{batch.code}: {told}" if from_list else told)
        for text in self.service.advice(form.getlist("finds")):
            flash(text)
        return redirect(url_for("due") if from_list else url_for("batch", code=batch.code))

    def ask(self, code: str, what: str, contradicted: Contradicted) -> ResponseReturnValue:
        """What the plan says otherwise, before anything is recorded; the same form, with a place to say why."""
        sent = [
            (key, text) for key, text in request.form.items(multi=True) if key not in ("csrf_token", "why", "anyway")
        ]
        shown = {
            "code": code,
            "what": what,
            "sent": sent,
            "against": contradicted.against,
            "refused": forms.once(request.form),
        }
        return render_template("ask.html", **shown), 409

    # --- when it cannot be done

    def again(self, sent: AlreadySent) -> ResponseReturnValue:
        """The same form once more: what it says stands, and nothing is added."""
        flash(str(sent))
        return redirect(url_for("due") if request.form.get("back") == "due" else url_for("batch", code=sent.code))

    def trouble(self, trouble: UserError) -> ResponseReturnValue:
        return render_template("message.html", text=for_the_bench(str(trouble))), 404 if isinstance(
            trouble, NotFound
        ) else 400

    def stale(self, _: CSRFError) -> ResponseReturnValue:
        text = "This page is from before the bench was started anew: nothing was recorded. Go back to what is due and do it again."
        return render_template("message.html", text=text), 400


def for_the_bench(text: str) -> str:
    """A refusal without commands: who stands at the bench has no terminal."""
    return re.sub(
        r"(See|Start Rousewort anew, and use|Go back to a backup): rousewort [^\n]*", "Tell who keeps the ledger.", text
    )


def _message(status: int) -> Callable[[Exception], ResponseReturnValue]:
    return lambda _: (render_template("message.html", text=WORDS[status]), status)
