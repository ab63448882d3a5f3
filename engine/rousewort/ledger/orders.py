"""An order worked out: for each line the plan, what to sow and what is missing, the room it takes, the days, and whether it
can be ready in time. Decides; shows nothing and records nothing."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any, NamedTuple

from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.ledger.order_lines import Order, OrderLine
from rousewort.ledger.results import Expected, published
from rousewort.ledger.sound import refuse_unfit
from rousewort.planning.grower import Grower
from rousewort.planning.plan import NoSingleMatch, Plan, Planner
from rousewort.schedule.dating import schedule
from rousewort.schedule.model import Schedule
from rousewort.schedule.quantities import Cells, Room, SeedNeed, cells_for, grams_for, room_for, seed_need
from rousewort.schedule.seasons import WorkingDays
from rousewort.schedule.weights import SeedWeight, seeds_per_gram

COLD_C = 10.0  # what is kept at that or below stands in the fridge


class Habits(NamedTuple):
    """How this nursery works: shares of one; `growing_on`: days from the seedling to the plant that is wanted."""

    today: date
    working: WorkingDays
    south: bool = False
    last_frost: date | None = None
    growing_on: int = 0
    germination: float | None = None
    survival: float = 1.0
    probability: float = 0.95
    per_cell: int = 1


@dataclass(frozen=True)
class Item:
    """One line worked out. `fault`: why it has no plan. None: not known, or not asked for.

    `seeds` to treat: those wanted for the plants, else those in hand. `missing_seeds`, `missing_grams`: to buy or collect.
    `late`: why it cannot be ready in time. `batch`: the code under which it is in the ledger.
    """

    line: OrderLine
    match: Match
    fault: str = ""
    plan: Plan | None = None
    expected: Expected | None = None
    count: SeedWeight | None = None
    need: SeedNeed | None = None
    cells: Cells | None = None
    seeds: int | None = None
    grams: float | None = None
    missing_seeds: int = 0
    missing_grams: float | None = None
    room: Room | None = None
    cold: bool = False
    dated: Schedule | None = None
    late: str = ""
    batch: str = ""
    key: str = ""

    @property
    def name(self) -> str:
        return self.match.name or self.line.plant

    @property
    def in_hand(self) -> bool:
        """Whether there is seed to begin with. Where nobody said how much: unless all that is wanted is still to be got."""
        line = self.line
        if line.seeds is None and line.grams is None:
            return not self.missing_seeds
        return bool(line.seeds or line.grams)


class Totals(NamedTuple):
    """Of all lines together. `fridge_l`: at the fullest, on `fullest`. `unknown`: lines whose grams nobody can reckon;
    `rough`: reckoned from the weights of relatives, or from the size of the seed."""

    lines: int
    seeds: int
    grams: float
    cells: int
    medium_l: float
    fridge_l: float
    fullest: date | None
    unknown: int
    rough: int


@dataclass(frozen=True)
class WorkedOrder:
    order: Order
    items: tuple[Item, ...]
    habits: Habits
    problems: tuple[str, ...] = field(default=())

    @property
    def planned(self) -> list[Item]:
        return [item for item in self.items if item.plan]

    def totals(self) -> Totals:
        found = self.planned
        fridge, fullest = _fullest(found)
        return Totals(
            len(found),
            sum(item.seeds or 0 for item in found),
            sum(item.grams or 0 for item in found),
            sum(item.cells.cells if item.cells else 0 for item in found),
            sum(item.room.medium_ml if item.room else 0 for item in found) / 1000,
            fridge,
            fullest,
            sum(item.grams is None for item in found),
            sum(bool(item.grams and item.count and item.count.rough) for item in found),
        )


def _fullest(items: Iterable[Item]) -> tuple[float, date | None]:
    """Litres of fridge on the day when it holds most, and that day."""
    changes: defaultdict[date, float] = defaultdict(float)
    for item in items:
        for begin, end in _cold_spells(item):
            litres = item.room.fridge_l if item.room else 0
            changes[begin] += litres
            changes[end] -= litres
    most, fullest, now = 0.0, None, 0.0
    for day in sorted(changes):
        now += changes[day]
        if now > most + 1e-9:
            most, fullest = now, day
    return most, fullest


def _cold_spells(item: Item) -> Iterator[tuple[date, date]]:
    if item.room and item.dated and item.plan:
        cold = {step.id for step in item.plan.steps if _is_cold(step)}
        yield from ((step.start, step.planned) for step in item.dated.steps if step.id in cold and step.days)


def _is_cold(step: Any) -> bool:
    use = step.temperature.use if step.temperature else None
    return isinstance(use, int | float) and use <= COLD_C


def work_out(order: Order, kb: KnowledgeBase, grower: Grower, habits: Habits, engine: str | None = None) -> WorkedOrder:
    """Every line by itself: what is wrong with one stops no other."""
    planner = Planner(kb, engine)
    matches = kb.read_list([line.plant for line in order.lines])
    seen: Counter[str] = Counter()
    items = []
    for line, match in zip(order.lines, matches, strict=True):
        item = _item(planner, line, match, grower, habits)
        lot = line.lot or line.origin
        seen[key := "; ".join(part for part in (order.name, item.name, lot) if part)] += 1
        nth = f"; {seen[key]}" if seen[key] > 1 else ""
        if item.dated:  # the same plant twice without lots: told apart, in calendars too
            item = replace(item, dated=replace(item.dated, lot=(lot or f"{order.name} {line.row}") + nth))
        items.append(replace(item, key=key + nth))
    return WorkedOrder(order, tuple(items), habits, order.problems)


def _item(planner: Planner, line: OrderLine, match: Match, grower: Grower, habits: Habits) -> Item:
    try:
        match = _placed(planner.kb, match, line)
        plan = planner.plan_for(match, grower._replace(seeds=line.seeds))
        refuse_unfit(plan)
    except UserError as trouble:
        return Item(line, match, fault=" ".join(str(problem) for problem in trouble.problems))
    return _dated(_counted(Item(line, match, plan=plan), planner.kb, habits), planner.kb, habits)


def _placed(kb: KnowledgeBase, match: Match, line: OrderLine) -> Match:
    """The plant of a line, with the place that its columns give where it has no entry."""
    if match.name is None and (line.family or line.genus):
        relative = kb.lookup(line.genus) if line.genus else None
        family = line.family.capitalize() if line.family else relative.family if relative else None
        if family and kb.is_family(family):
            how = "genus" if relative and relative.genus else "family"
            return Match(line.plant, line.plant, how, genus=relative.genus if relative else None, family=family)
    if match.name is None:
        raise NoSingleMatch(match)
    return match


def _counted(item: Item, kb: KnowledgeBase, habits: Habits) -> Item:
    """With seeds, grams, cells and room."""
    line, plan = item.line, item.plan
    assert plan is not None
    count = seeds_per_gram(kb, item.name)
    said = published(kb.taxon(item.name))
    expected = (
        Expected(line.germination, "as the order says") if line.germination
        else said if said.share
        else Expected(habits.germination, "as given for all lines without their own") if habits.germination
        else said
    )  # fmt: skip
    per_gram, purity = count.per_gram if count else None, line.purity or 1.0
    need = cells = None
    if line.wanted and expected.share:
        need = seed_need(line.wanted, expected.share, habits.survival, purity, per_gram, habits.probability)
        cells = cells_for(line.wanted, expected.share, habits.per_cell, habits.survival, habits.probability)
    seeds = (
        (cells.seeds if habits.per_cell > 1 and cells else need.seeds)
        if need
        else _seeds_in_hand(line, per_gram, purity)
    )
    grams = grams_for(seeds, per_gram, purity) if seeds and per_gram else line.grams or None
    missing, missing_grams = _missing(line, seeds if need else None, per_gram, purity)
    cold = [step for step in plan.steps if kb.vocabulary.kinds.takes_moist_volume(step.kind)]
    return replace(
        item, expected=expected, count=count, need=need, cells=cells, seeds=seeds, grams=grams, missing_seeds=missing,
        missing_grams=missing_grams, room=room_for(grams) if grams and cold else None, cold=any(map(_is_cold, cold)),
    )  # fmt: skip


def _seeds_in_hand(line: OrderLine, per_gram: float | None, purity: float) -> int | None:
    if line.seeds is not None:
        return line.seeds
    return int(line.grams * per_gram * purity) if line.grams and per_gram else None


def _missing(line: OrderLine, wanted: int | None, per_gram: float | None, purity: float) -> tuple[int, float | None]:
    """Seeds, and grams of such a lot, to buy or collect. A lot whose amount nobody said is taken as none."""
    there = _seeds_in_hand(line, per_gram, purity)
    if wanted is None or (line.grams and there is None):
        return 0, None
    lacking = max(0, wanted - (there or 0))
    return lacking, grams_for(lacking, per_gram, purity) if lacking and per_gram else None


def _dated(item: Item, kb: KnowledgeBase, habits: Habits) -> Item:
    """With days: from the day wanted, never a seedling before the last frost; else begun on the next working day."""
    assert item.plan is not None
    calendar, today = kb.vocabulary.calendar, habits.today
    common: dict[str, Any] = {"south": habits.south, "working": habits.working}
    begin, frost, late = habits.working.on_or_after(today), habits.last_frost, ""
    by = item.line.by and item.line.by - timedelta(habits.growing_on)
    try:
        if by is None:
            made = schedule(item.plan, calendar, start=begin, **common)
        elif by < today:
            made, late = schedule(item.plan, calendar, start=begin, **common), f"{item.line.by} leaves no time at all"
        else:
            made = schedule(item.plan, calendar, wanted=by, today=begin, **common)
            late = f"it had to begin by {made.missed.begun_by}" if made.missed else ""
        if frost and made.seedlings and made.seedlings.earliest < frost:
            kept = schedule(item.plan, calendar, last_frost=max(frost, begin), today=begin, **common)
            if kept.start > made.start or made.missed:
                made = kept
            if by and made.seedlings and made.seedlings.planned > by and not late:
                late = f"begun so that no seedling shows before the last frost ({frost})"
    except UserError as trouble:
        return replace(item, late=str(trouble) if item.line.by else "")
    if late and made.seedlings:
        nearest = made.seedlings.planned + timedelta(habits.growing_on)
        late = f"wanted {item.line.by}, at the nearest {nearest}: {late}"
    return replace(item, dated=replace(made, missed=None), late=late)
