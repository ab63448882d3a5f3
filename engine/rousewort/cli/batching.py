"""What the `rousewort batch` commands do, each given its arguments. Prints results; the ledger decides what is allowed."""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rousewort.base.errors import UserError
from rousewort.cli.commands.calendar import show_calendar
from rousewort.cli.commands.labels import check_print, list_sheets, print_labels
from rousewort.cli.dating import is_south
from rousewort.cli.grower_options import grower_from
from rousewort.cli.lists import Listed, was_written
from rousewort.cli.naming import ask, can_ask, match_named
from rousewort.cli.options import layers
from rousewort.cli.progress import progress_bar
from rousewort.knowledge.knowledge_base import load
from rousewort.ledger.backups import keep_copy
from rousewort.ledger.backups import restore as go_back
from rousewort.ledger.courses import Contradicted
from rousewort.ledger.due import Diary
from rousewort.ledger.exchange import export_to, import_from
from rousewort.ledger.opening import open_ledger
from rousewort.ledger.results import own_record, result_of, write_protocols
from rousewort.ledger.season import InventedSeason, running
from rousewort.ledger.season import load as load_season
from rousewort.ledger.service import Answer, BatchService, diary_of, examine, plan_to_keep, readable, tried
from rousewort.ledger.store import address
from rousewort.render.batch_text import (
    BATCH_COLUMNS,
    DUE_COLUMNS,
    RESULT_COLUMNS,
    as_data,
    batch_rows,
    due_data,
    due_list,
    due_rows,
    listing,
    one_line,
    record_data,
    record_text,
    result_lines,
    result_rows,
    whole,
)
from rousewort.render.terminal import page_for
from rousewort.schedule.model import BenchCalendar

if TYPE_CHECKING:
    from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
    from rousewort.ledger.book import Ledger
    from rousewort.ledger.due import Diary
    from rousewort.ledger.events import Batch
    from rousewort.schedule.model import Schedule


def today() -> date:
    """The present day, everywhere in these commands and on the bench pages."""
    return date.today()


def open_for(arguments: argparse.Namespace, *, make: bool = False, wait_s: float | None = None) -> Ledger:
    ledger = open_ledger(arguments.ledger, make=make, today=lambda: today(), wait_s=wait_s)
    ledger.store.on_written = lambda: setattr(
        arguments, "recorded", True
    )  # what goes wrong later is no reason to repeat it
    if ledger.store.made:
        print(f"A new ledger is made: {ledger.store.shown}", file=sys.stderr)
    if ledger.store.kept:
        print(f"The ledger is brought to a new version; as it was, it is kept: {ledger.store.kept}", file=sys.stderr)
    return ledger


def knowledge(arguments: argparse.Namespace) -> KnowledgeBase:
    return load(layers(arguments))


def _print(text: str) -> None:
    sys.stdout.write(text)


def _show_json(data: Any) -> int:
    print(json.dumps(data, ensure_ascii=False, indent=2))
    return 0


def _tell(batch: Batch, arguments: argparse.Namespace, diary: Diary) -> int:
    """After a change: where the batch stands now."""
    if arguments.json:
        return _show_json(as_data(batch, diary, today()))
    page = page_for()
    page.say(one_line(batch, diary))
    _print(page.text())
    return 0


# --- one function a command


def start(arguments: argparse.Namespace) -> int:
    kb = knowledge(arguments)
    grower = grower_from(arguments, kb.vocabulary, list(kb.treatments))
    match = match_named(kb, arguments.name, arguments)
    _tell_reading(match)
    plan = plan_to_keep(kb, match, grower, arguments.engine)
    with open_for(arguments, make=True) as ledger:
        service = BatchService(ledger, kb)
        batch = service.start(
            plan,
            own_lengths=arguments.own_lengths,
            day=arguments.day,
            seeds=arguments.seeds,
            grams=arguments.grams,
            lot=arguments.lot,
            provenance=arguments.origin,
            viability=arguments.viability,
            south=is_south(arguments) or None,
            note=arguments.note,
        )
    diary = service.diary
    _tell_wait(batch, diary)
    return _tell(batch, arguments, diary)


def _tell_reading(match: Match) -> None:
    """Before a batch is begun: how its name was read, where it was not written as the plant is called."""
    if match.matched_by in ("part_of_name", "spelling") or match.aside:
        said = [f"'{match.query}' is read as {match.name}.", *match.aside]
        print(*said, sep="\n", file=sys.stderr)


def _tell_wait(batch: Batch, diary: Diary) -> None:
    """At the start: where the bed outside will not be ready when the batch is."""
    made = diary.dated(batch)
    for before, step in pairwise(made.steps):
        wait = diary.waits_for(batch, step.id, before.planned)
        if wait and before.planned > made.start:
            print(
                f"It will be ready on {before.planned}, but outside it can go only from {wait.until} ({wait.season}). "
                f"Begun {(wait.until - before.planned).days} days later it would not have to wait.",
                file=sys.stderr,
            )


def due(arguments: argparse.Namespace) -> int:
    if arguments.days < 0:
        raise UserError(f"--days {arguments.days}: give 0 (only today) or more.")
    diary = diary_of(knowledge(arguments))
    found = diary.due(_readable(arguments, diary), today() + timedelta(arguments.days))
    data = [due_data(d, today()) for d in found]
    if was_written(arguments, Listed("Due", DUE_COLUMNS, due_rows(found, today()), data)):
        return 0
    _print(due_list(found, today(), page_for()))
    return 0


def _readable(arguments: argparse.Namespace, diary: Diary, *, ended: bool | None = False) -> list[Batch]:
    """The batches that can be worked with; the others are named on standard error, and stop nothing."""
    with open_for(arguments) as ledger:
        good, bad = readable(ledger, diary, today(), ended=ended)
    for one in bad:
        print(f"{one}\n    All else goes on. See: rousewort batch doctor", file=sys.stderr)
    return good


def show_list(arguments: argparse.Namespace) -> int:
    diary = diary_of(knowledge(arguments))
    found = _readable(arguments, diary, ended=None if arguments.all else arguments.ended)
    data = [as_data(b, diary, today()) for b in found]
    if was_written(arguments, Listed("Batches", BATCH_COLUMNS, batch_rows(found, diary), data)):
        return 0
    _print(listing(found, diary, page_for(fit=True)))
    return 0


def show(arguments: argparse.Namespace) -> int:
    diary = diary_of(knowledge(arguments))
    with open_for(arguments) as ledger:
        batch = ledger.batch(arguments.code)
    if arguments.json:
        return _show_json(as_data(batch, diary, today()) | {"plan": batch.plan})
    _print(whole(batch, diary, today(), page_for()))
    return 0


def _recorder(kind: str, *keys: str) -> Callable[[argparse.Namespace], int]:
    """A command that records one event, whose data are the arguments of the same names."""

    def run(arguments: argparse.Namespace) -> int:
        kb = knowledge(arguments)
        data = {key: getattr(arguments, key) for key in keys}
        with open_for(arguments) as ledger:
            service = BatchService(ledger, kb)
            told = {"day": arguments.day, "note": arguments.note}
            batch = service.record(arguments.code, kind, **told, **data)
            if kind == "check" and not arguments.json:
                page = page_for(sys.stderr)
                page.each(service.advice(data["finds"]), code="33")
                sys.stderr.write(page.text() if page.lines else "")
        return _tell(batch, arguments, service.diary)

    return run


def _onward(kind: str, key: str) -> Callable[[argparse.Namespace], int]:
    """A command that goes on to another step: what the plan says otherwise is asked first, where anybody can be asked."""

    def run(arguments: argparse.Namespace) -> int:
        kb = knowledge(arguments)
        answer = Answer(arguments.yes, arguments.why)
        data = {key: getattr(arguments, key), "day": arguments.day, "note": arguments.note}
        with open_for(arguments) as ledger:
            service = BatchService(ledger, kb)
            try:
                batch = service.record(arguments.code, kind, answer=answer, **data)
            except Contradicted as contradicted:
                batch = service.record(arguments.code, kind, answer=_ask_why(contradicted, arguments), **data)
        return _tell(batch, arguments, service.diary)

    return run


def _ask_why(contradicted: Contradicted, arguments: argparse.Namespace) -> Answer:
    """The grower's reason. Raises UserError where there is none, or nobody to ask: then nothing is recorded."""
    if can_ask(arguments):
        print(contradicted, file=sys.stderr)
        if why := ask("Was it so all the same? Say why, in a few words (Enter: no, record nothing): "):
            return Answer(why=why)
    how = (
        "Nothing was recorded. If it was so all the same, say why: --why 'in a few words' (or --yes without a reason)."
    )
    raise UserError(*contradicted.problems, how)


def split(arguments: argparse.Namespace) -> int:
    diary = diary_of(knowledge(arguments))
    with open_for(arguments) as ledger:
        left, new = ledger.split(
            arguments.code, day=arguments.day, note=arguments.note, seeds=arguments.seeds, grams=arguments.grams
        )
    if arguments.json:
        return _show_json([as_data(b, diary, today()) for b in (left, new)])
    return _tell(left, arguments, diary) or _tell(new, arguments, diary)


def merge(arguments: argparse.Namespace) -> int:
    with open_for(arguments) as ledger:
        batch = ledger.merge(arguments.code, arguments.into, day=arguments.day, note=arguments.note)
    return _tell(batch, arguments, diary_of(knowledge(arguments)))


def undo(arguments: argparse.Namespace) -> int:
    with open_for(arguments) as ledger:
        batch = ledger.undo(arguments.code)
    return _tell(batch, arguments, diary_of(knowledge(arguments)))


def results(arguments: argparse.Namespace) -> int:
    kb = knowledge(arguments)
    closed = [b for b in _readable(arguments, diary_of(kb), ended=True) if b.ended and b.ended.kind == "close"]
    page = page_for()
    if not arguments.name:
        if arguments.report:
            raise UserError("--report needs the name of a species.")
        found = [result_of(b) for b in closed]
        data = [{"code": r.batch.code, "species": r.batch.species, "sown": r.batch.sown, "germinated": r.batch.germinated, "share": r.share, "expected": r.expected.share} for r in found]  # fmt: skip # noqa: E501
        if was_written(arguments, Listed("Results", RESULT_COLUMNS, result_rows(found), data)):
            return 0
        result_lines(found, page)
        _print(page.text() if found else "No batch is closed yet.\n")
        return 0
    name = kb.lookup(" ".join(arguments.name)).name or " ".join(arguments.name)
    record = own_record(closed, name, kb.vocabulary.files["bench"]["own_record"], arguments.origin or "")
    listed = Listed("Results", RESULT_COLUMNS, result_rows(record.results), record_data(record))
    if not was_written(arguments, listed):
        result_lines(record.results, page)
        record_text(record, page)
        _print(page.text())
    if arguments.report:
        family = (kb.taxon(name) or {}).get("family", "")
        for path in write_protocols(arguments.report, record, family, arguments.nursery):
            print(f"written: {path}", file=sys.stderr)
    return 0


def demo(arguments: argparse.Namespace) -> int:
    if not arguments.ledger:
        raise UserError(
            "The invented season is not for the ledger of your own batches: name a new file, e.g. --ledger demo.sqlite"
        )
    kb, now = knowledge(arguments), today()
    season = running(diary_of(kb), now)
    if arguments.whole and season.last >= now:
        season = InventedSeason(season.diary, season.later - 1)
    until = min(season.last, now - timedelta(1))
    with open_for(arguments, make=True) as ledger, progress_bar((until - season.first).days + 1) as progress:
        number = load_season(
            ledger, season, until, cache(lambda name: plan_to_keep(kb, name, engine="plain")), progress
        )
        left = len(ledger.batches())
    print(
        f"{number} invented batches of the Sallow Bridge community nursery, worked up to {until}; {left} in treatment.\n"
        f"Now try: rousewort batch {'due' if left else 'results'} --ledger {shlex.quote(arguments.ledger)}",
        file=sys.stderr,
    )
    return 0


def _dated(arguments: argparse.Namespace, kb: KnowledgeBase) -> list[tuple[Batch, Schedule]]:
    """The batches named, or all in treatment, dated as they stand today."""
    diary = diary_of(kb)
    if arguments.codes:
        with open_for(arguments) as ledger:
            batches = [ledger.batch(code) for code in arguments.codes]
    else:
        batches = _readable(arguments, diary)
    if ended := [batch.code for batch in batches if batch.ended]:
        raise UserError(f"Nothing is to come of what has ended: {', '.join(ended)}.")
    if not batches:
        raise UserError("No batch is in treatment.")
    return [(batch, diary.dated(batch, today())) for batch in batches]


def show_dates(arguments: argparse.Namespace) -> int:
    made = [schedule for _, schedule in _dated(arguments, knowledge(arguments))]
    if not arguments.ics:  # a calendar is told of what has ended too, to take its looks away
        made = [replace(one, steps=tuple(step for step in one.steps if not step.ended)) for one in made]
    show_calendar(arguments, BenchCalendar(tuple(made)), days=False)
    return 0


def print_codes(arguments: argparse.Namespace) -> int:
    kb = knowledge(arguments)
    if arguments.sheets:
        return list_sheets(kb)
    check_print(arguments)
    codes, made = {}, []
    for batch, schedule in _dated(arguments, kb):
        words = ", ".join(part for part in (batch.code, batch.lot) if part)
        codes[words] = batch.code
        made.append(replace(schedule, lot=words))
    print_labels(arguments, kb, BenchCalendar(tuple(made)), code_of=lambda schedule: codes[schedule.lot])
    return 0


def export(arguments: argparse.Namespace) -> int:
    with open_for(arguments) as ledger, progress_bar() as progress:
        number = export_to(ledger, Path(arguments.path), progress, force=arguments.force)
    print(f"{number} batches written to {arguments.path}", file=sys.stderr)
    return 0


def bring_in(arguments: argparse.Namespace) -> int:
    trial = tried(diary_of(knowledge(arguments)), today())
    with open_for(arguments, make=True) as ledger, progress_bar() as progress:
        new, added = import_from(ledger, Path(arguments.path), progress, trial)
    print(f"{new} new batches, {added} entries", file=sys.stderr)
    return 0


def backup(arguments: argparse.Namespace) -> int:
    with open_for(arguments) as ledger:
        path = keep_copy(ledger, Path(arguments.path) if arguments.path else None, keep=arguments.keep)
    print(f"written: {path}", file=sys.stderr)
    return 0


def restore(arguments: argparse.Namespace) -> int:
    done = go_back(address(arguments.ledger), Path(arguments.path), lambda: open_for(arguments, make=True))
    print(
        f"{done.batches} batches with {done.entries} entries are in the ledger, as in {arguments.path}.",
        file=sys.stderr,
    )
    if done.kept:
        print(f"What was there before is kept: {done.kept}", file=sys.stderr)
    return 0


def doctor(arguments: argparse.Namespace) -> int:
    """Names what cannot be worked with; sets it aside, or takes it back, only where that is said."""
    diary = diary_of(knowledge(arguments))
    with open_for(arguments) as ledger:
        if arguments.take_back:
            ledger.take_back(arguments.take_back)
        number, bad = examine(ledger, diary, today())
        if arguments.set_aside:
            for one in bad:
                if not one.aside:
                    ledger.set_aside(one.number, one.why)
            bad = [one._replace(aside=True) for one in bad]
    left = [one for one in bad if not one.aside]
    if arguments.json:
        _show_json({"batches": number, "bad": [one._asdict() for one in bad]})
        return 1 if left else 0
    for one in bad:
        print(f"{one}")
    print(f"{number} batches, {len(left)} of them cannot be read, {len(bad) - len(left)} set aside")
    if left:
        print("Set them aside, and nothing will stumble over them: rousewort batch doctor --set-aside", file=sys.stderr)
    return 1 if left else 0


def redate(arguments: argparse.Namespace) -> int:
    with open_for(arguments) as ledger:
        batch = ledger.redate(arguments.code, arguments.to, entry=arguments.entry, rest=arguments.rest)
    return _tell(batch, arguments, diary_of(knowledge(arguments)))


check = _recorder("check", "finds", "lost")
move = _onward("move", "step")
sow = _onward("sow", "seeds")
count = _recorder("count", "new", "total")
wait = _recorder("wait", "until")
void = _recorder("void", "reason")
discard = _recorder("discard", "reason")
close = _recorder("close", "plants")
note = _recorder("note")
