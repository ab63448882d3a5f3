"""What `rousewort order` does: reads the order, works it out, starts what is to be started, and writes what was asked for."""

from __future__ import annotations

import argparse
import json
import os
import sys
from dataclasses import replace
from pathlib import Path

from rousewort.base.errors import UserError
from rousewort.base.output import refuse_anothers, write_output
from rousewort.cli import batching
from rousewort.cli.commands.calendar import write_ics
from rousewort.cli.commands.labels import print_labels
from rousewort.cli.dating import parse_day
from rousewort.cli.grower_options import grower_from
from rousewort.cli.options import share
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import AlreadySent, Ledger
from rousewort.ledger.order_lines import read_order
from rousewort.ledger.orders import Habits, Item, WorkedOrder, work_out
from rousewort.ledger.service import BatchService, kept_plan
from rousewort.render.order_text import COLUMNS, as_data, render, rows
from rousewort.render.order_xlsx import to_xlsx
from rousewort.render.table import to_csv
from rousewort.render.terminal import page_for
from rousewort.schedule.model import BenchCalendar
from rousewort.schedule.seasons import working_days

XLSX = b"\x00rousewort"  # stands in no workbook: it is packed, so nothing tells ours from another, and none is replaced unasked


def run(arguments: argparse.Namespace) -> int:
    kb = batching.knowledge(arguments)
    habits = _habits(arguments)
    grower = grower_from(arguments, kb.vocabulary, list(kb.treatments))
    order = read_order(Path(arguments.file), arguments.name)
    _refuse_own_file(arguments)
    worked = work_out(order, kb, grower, habits, arguments.engine)
    if arguments.start or arguments.ledger:
        worked = _in_ledger(arguments, kb, worked)
    told = sys.stdout.write if arguments.csv != "-" else sys.stderr.write
    if arguments.json:
        print(json.dumps(as_data(worked), ensure_ascii=False, indent=2))
    else:
        told(render(worked, page_for()))
    _write(arguments, kb, worked)
    return 1 if worked.problems or any(item.fault for item in worked.items) else 0


def _habits(arguments: argparse.Namespace) -> Habits:
    if arguments.growing_on < 0 or arguments.per_cell < 1:
        raise UserError("--growing-on is 0 or more days, --per-cell 1 or more seeds.")
    return Habits(
        today=batching.today(),
        working=working_days(arguments.looks_on or os.environ.get("ROUSEWORT_LOOKS_ON")),
        south=arguments.south,
        last_frost=parse_day("--last-frost", arguments.last_frost),
        growing_on=arguments.growing_on,
        germination=share("--germination", arguments.germination),
        survival=share("--survival", arguments.survival) or 1.0,
        probability=share("--probability", arguments.probability) or 0.95,
        per_cell=arguments.per_cell,
    )


def _refuse_own_file(arguments: argparse.Namespace) -> None:
    """Before any work: no output goes over the order itself, or over what is none of ours."""
    for option, mark in (("xlsx", XLSX), ("csv", ",".join(COLUMNS).encode()), ("labels", b"%PDF-")):
        where = getattr(arguments, option)
        if where and where != "-" and Path(where).exists() and Path(where).samefile(arguments.file):
            raise UserError(f"--{option} {where} is the order itself. Name another file.")
        if where and where != "-":
            refuse_anothers(where, mark, arguments.force)


def _in_ledger(arguments: argparse.Namespace, kb: KnowledgeBase, worked: WorkedOrder) -> WorkedOrder:
    """With the batches that the lines have; `--start` starts those whose day has come."""
    with batching.open_for(arguments, make=arguments.start) as ledger:
        service = BatchService(ledger, kb)
        items, started = [], 0
        for item in worked.items:
            code = ledger.ordered(item.key) if item.plan else None
            if code is None and arguments.start and (why := _not_now(item, worked.habits)) is None:
                code, new = _started(service, item, worked.habits)
                started += new
            elif code is None and arguments.start and item.plan:
                print(f"Not started: line {item.line.row}, {item.name}: {why}.", file=sys.stderr)
            items.append(_as_batch(ledger, service, item, code, worked.habits))
    if arguments.start:
        there = sum(bool(item.batch) for item in items)
        print(f"{started} batches started; {there} lines of the order are in the ledger.", file=sys.stderr)
    return replace(worked, items=tuple(items))


def _not_now(item: Item, habits: Habits) -> str | None:
    """Why a line is not started today, or None."""
    if item.plan is None:
        return "it has no plan"
    if not item.in_hand:
        return "its seed is still to be got"
    if item.dated is None:
        return "it cannot be dated"
    if item.dated.start > habits.working.on_or_after(habits.today):
        return f"it begins on {item.dated.start}"
    return None


def _started(service: BatchService, item: Item, habits: Habits) -> tuple[str, int]:
    assert item.plan is not None
    line = item.line
    seeds = (
        min(line.seeds, item.seeds) if line.seeds and item.seeds else line.seeds or (None if line.grams else item.seeds)
    )
    try:
        batch = service.start(
            kept_plan(service.kb, item.plan), day=habits.today, order=item.key, seeds=seeds, grams=line.grams, lot=line.lot,
            provenance=line.origin, viability=line.germination, south=habits.south or None, note=line.notes,
        )  # fmt: skip
    except AlreadySent as sent:  # somebody else was quicker
        return sent.code, 0
    return batch.code, 1


def _as_batch(ledger: Ledger, service: BatchService, item: Item, code: str | None, habits: Habits) -> Item:
    """A line that is a batch has the batch's own days; one that has ended has none to come."""
    if code is None:
        return item
    batch = ledger.batch(code)
    dated = None if batch.ended else service.diary.dated(batch, habits.today)
    return replace(item, batch=code, dated=dated, missing_seeds=0, missing_grams=None)


def _write(arguments: argparse.Namespace, kb: KnowledgeBase, worked: WorkedOrder) -> None:
    calendar = BenchCalendar(tuple(item.dated for item in worked.planned if item.dated))
    written = []
    if arguments.csv:
        write_output(arguments.csv, to_csv(COLUMNS, rows(worked)), ",".join(COLUMNS).encode(), arguments.force)
        written.append(arguments.csv)
    if arguments.xlsx:
        write_output(arguments.xlsx, to_xlsx(worked), XLSX, arguments.force)
        written.append(arguments.xlsx)
    if arguments.ics and calendar.schedules:
        write_ics(arguments.ics, calendar, arguments.force)
        written.append(arguments.ics)
    if arguments.labels and calendar.schedules:
        options = {"out": arguments.labels, "kind": "bag", "sheet": arguments.sheet, "copies": 1, "skip": 0}
        more = {"handbook": None, "font": [], "outline": False, "force": arguments.force}
        codes = {item.dated.lot: item.batch for item in worked.planned if item.dated and item.batch}
        print_labels(argparse.Namespace(**options, **more), kb, calendar, lambda schedule: codes.get(schedule.lot, ""))
    for path in written:
        if path != "-":
            print(f"written: {path}", file=sys.stderr)
