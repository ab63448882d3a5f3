"""The pages themselves. They ask the ledger and the diary, and decide nothing."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from flask import Flask, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import CSRFError

from rousewort.app.batching import diary_of, plan_to_keep
from rousewort.app.bench.guard import protect
from rousewort.errors import Trouble
from rousewort.knowledge.base import KnowledgeBase
from rousewort.ledger.book import Ledger
from rousewort.ledger.due import said
from rousewort.ledger.events import read_day
from rousewort.ledger.results import result_of
from rousewort.render.batch_text import amount, event_text, expected_text, one_line, percent

MOST_BYTES = 12 * 1024 * 1024  # of a photograph of a label
MOST_PIXELS = 40_000_000


def make_app(kb: KnowledgeBase, ledger: Ledger, today: Callable[[], date], password: str | None = None) -> Flask:
    """The application. `password`: None only where nobody but this machine can reach it."""
    app = Flask("rousewort.app.bench")
    app.config.update(MAX_CONTENT_LENGTH=MOST_BYTES)
    protect(app, password)
    _Pages(app, kb, ledger, today)
    return app


class _Pages:
    """All pages over one ledger. Each change goes through `_change`, which says what happened or why not."""

    def __init__(self, app: Flask, kb: KnowledgeBase, ledger: Ledger, today: Callable[[], date]) -> None:
        self.kb, self.ledger, self.today = kb, ledger, today
        self.diary = diary_of(kb)
        self.finds = kb.vocabulary.files["bench"]["finds"]
        app.jinja_env.globals.update(
            said=said, one_line=one_line, amount=amount, event_text=event_text, percent=percent
        )
        app.jinja_env.globals.update(expected_text=expected_text, scanning=_can_scan())
        for path, name, methods in (
            ("/", "due", ["GET"]),
            ("/all", "all_batches", ["GET"]),
            ("/results", "results", ["GET"]),
            ("/find", "find", ["GET"]),
            ("/scan", "scan", ["POST"]),
            ("/start", "start", ["GET", "POST"]),
            ("/batch/<code>", "batch", ["GET"]),
            ("/batch/<code>/label", "label", ["GET"]),
            ("/batch/<code>/<what>", "change", ["POST"]),
        ):
            app.add_url_rule(path, name, getattr(self, name), methods=methods)
        app.register_error_handler(Trouble, self.trouble)
        app.register_error_handler(CSRFError, self.stale)
        app.register_error_handler(404, lambda _: (render_template("message.html", text="There is no such page."), 404))
        app.register_error_handler(
            413, lambda _: (render_template("message.html", text="That picture is too large."), 413)
        )

    # --- looking

    def due(self) -> str:
        today = self.today()
        found = self.diary.due(self.ledger.batches(), today + timedelta(6))
        groups = [
            ("Late", [d for d in found if d.day < today]),
            ("Today", [d for d in found if d.day == today]),
            ("This week", [d for d in found if d.day > today]),
        ]
        return render_template("due.html", groups=groups, today=today, any=bool(found))

    def all_batches(self) -> str:
        ended = "ended" in request.args
        return render_template("all.html", batches=self.ledger.batches(ended=ended), diary=self.diary, ended=ended)

    def results(self) -> str:
        found = [result_of(b) for b in self.ledger.batches(ended=True) if b.ended and b.ended.kind == "close"]
        return render_template("results.html", results=found)

    def batch(self, code: str) -> str:
        batch, today = self.ledger.batch(code), self.today()
        shown: dict[str, Any] = {"batch": batch, "today": today, "finds": self.finds, "ways": [1, 2, 5, 10]}
        shown["kept"] = {event.turn for event in batch.standing}
        if not batch.ended:
            shown |= {"due": self.diary.next(batch), "dated": self.diary.dated(batch, today)}
        return render_template("batch.html", **shown)

    def label(self, code: str) -> str:
        batch = self.ledger.batch(code)
        step = None if batch.ended else self.diary.dated(batch, self.today()).step(batch.step)
        return render_template("label.html", batch=batch, step=step, mark=_mark(batch.code))

    def find(self) -> ResponseReturnValue:
        batch = self.ledger.batch(_code_in(request.args.get("code", "")))
        return redirect(url_for("batch", code=batch.code))

    def scan(self) -> ResponseReturnValue:
        return redirect(
            url_for("batch", code=self.ledger.batch(_code_in(_read_mark(request.files.get("picture")))).code)
        )

    # --- changing

    def start(self) -> ResponseReturnValue:
        form = request.form
        if request.method == "GET":
            return render_template("start.html", form={}, wrong="")
        try:
            plan = plan_to_keep(self.kb, form.get("name", ""))
            seeds = _number(form.get("seeds", ""), "the number of seeds")
            batch = self.ledger.start(
                plan, seeds=seeds, lot=form.get("lot", "").strip(), provenance=form.get("origin", "").strip()
            )
        except Trouble as trouble:
            return render_template("start.html", form=form, wrong=str(trouble)), 400
        flash(f"{batch.code} is begun.")
        return redirect(url_for("batch", code=batch.code))

    def change(self, code: str, what: str) -> ResponseReturnValue:
        form = request.form
        turn = _number(form.get("turn", ""), "the entry last seen")
        if what == "undo":
            batch, told = self.ledger.undo(code, turn=turn), "Taken back."
        elif what in _SAYS:
            data, told = _SAYS[what](form), {"check": "Noted.", "count": "Counted."}.get(what, "Done.")
            kind = "move" if what == "again" else what
            if kind in ("move", "sow") and not form.get("anyway"):
                self._in_season(code, data.get("step"))
            batch = self.ledger.record(code, kind, turn=turn, note=form.get("note", "").strip(), **data)
        else:
            raise Trouble("There is no such thing to do with a batch.")
        flash(told)
        for word in form.getlist("finds"):
            if self.finds.get(word, {}).get("do"):
                flash(f"{self.finds[word]['label'].capitalize()}: {self.finds[word]['do']}")
        return redirect(url_for("batch", code=batch.code))

    def _in_season(self, code: str, step: str | None) -> None:
        batch = self.ledger.batch(code)
        if not (batch.ended or batch.sown_on):
            how = "go back and tick “out of season, all the same”"
            self.diary.refuse_out_of_season(batch, step or batch.steps[-1], self.today(), how)

    # --- when it cannot be done

    def trouble(self, trouble: Trouble) -> ResponseReturnValue:
        return render_template("message.html", text=str(trouble)), 404 if "There is no batch" in str(trouble) else 400

    def stale(self, _: CSRFError) -> ResponseReturnValue:
        text = "This page is from before the bench was started anew: nothing was recorded. Go back to what is due and do it again."
        return render_template("message.html", text=text), 400


def _finds(form: Any) -> dict[str, Any]:
    return {
        "finds": form.getlist("finds") or ["fine"],
        "lost": _number(form.get("lost", ""), "seeds taken out") or None,
    }


# What a form says of each kind of event.
_SAYS: dict[str, Callable[[Any], dict[str, Any]]] = {
    "check": _finds,
    "move": lambda form: {"step": form.get("step", "")},
    "again": lambda form: {"step": form.get("step", "")},
    "wait": lambda form: {"until": read_day(form.get("until", ""))},
    "sow": lambda form: {"seeds": _number(form.get("seeds", ""), "the number of seeds")},
    "count": lambda form: {"new": _number(form.get("new", ""), "the number of new seedlings")},
    "discard": lambda form: {"reason": form.get("reason", "").strip()},
    "close": lambda form: {"plants": _number(form.get("plants", ""), "the number of plants")},
    "note": lambda form: {},
}


def _number(text: str, what: str) -> int | None:
    text = text.strip()
    if not text:
        return None
    if not re.fullmatch(r"[0-9]{1,9}", text):
        raise Trouble(f"“{text[:40]}” is no whole number ({what}).")
    return int(text)


def _code_in(text: str) -> str:
    """A batch code in what was typed or scanned: the code itself, or an address that ends with one."""
    text = text.strip()
    if not text:
        raise Trouble("Type the code or number that stands on the label.")
    found = re.search(r"/batch/([A-Za-z]+-?[0-9]+)", text)
    return found[1] if found else text


# --- marks on labels


def _can_scan() -> bool:
    from importlib.util import find_spec

    return find_spec("zxingcpp") is not None and find_spec("PIL") is not None


def _read_mark(picture: Any) -> str:
    """The text of the code on a photographed label. Raises Trouble where none can be read."""
    if picture is None or not picture.filename:
        raise Trouble("No picture came. Photograph the square code on the label, or type its letters.")
    import zxingcpp
    from PIL import Image, ImageOps

    try:
        image = Image.open(picture.stream)
        if image.width * image.height > MOST_PIXELS:
            raise Trouble("That picture is too large.")
        found = zxingcpp.read_barcodes(ImageOps.exif_transpose(image).convert("L"))
    except (OSError, ValueError, Image.DecompressionBombError):
        raise Trouble("That file is no picture that can be read.") from None
    if not found:
        raise Trouble("No code was found in the picture. Come nearer, hold still, or type the letters on the label.")
    return found[0].text


def _mark(code: str) -> str | None:
    """The code as a square to scan, as a data address for an image; None where segno is not installed."""
    try:
        import segno
    except ImportError:
        return None
    return segno.make(code, micro=False, error="m").svg_data_uri(scale=4, border=2)
