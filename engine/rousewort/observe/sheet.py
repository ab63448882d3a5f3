"""Reads a filled-in recording sheet (CSV): every mistake at once, each with its line; nothing is guessed or dropped."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from rousewort.base.errors import UserError
from rousewort.observe.measures import Counts
from rousewort.observe.spreadsheet import dates, number, read_table, whole
from rousewort.observe.trial import Arm

FATES = ("hard", "firm", "rotten", "empty")
NEEDED = ("arm", "replicate", "seeds", "new_roots")
KNOWN = {*NEEDED, "started", "date", "day", "season", "new_shoots", "note", *FATES}


@dataclass(frozen=True)
class Dish:
    """One replicate. `shoots` None: none were ever written down. `fates`: hard, firm, rotten, empty at the end, as far
    as written down. Times in days from the start of the arm."""

    arm: str
    replicate: str
    roots: Counts
    shoots: Counts | None
    fates: Mapping[str, int]
    started: date | None = None

    @property
    def unaccounted(self) -> int:
        return self.roots.sown - self.roots.germinated - sum(self.fates.values())


class _Growing:
    """A dish while its lines are read."""

    def __init__(self, seeds: int, started: date | None, line: int) -> None:
        self.seeds, self.started, self.line = seeds, started, line
        self.looks: list[tuple[float, int, int | None, int]] = []  # day, roots, shoots, line
        self.fates: dict[str, int] = {}


def read_sheet(lines: Iterable[str], arms: Mapping[str, Arm]) -> list[Dish]:
    """Dishes from CSV lines with a heading: arm, replicate, seeds, then `day` or `started` and `date`, new_roots, and
    perhaps new_shoots, hard, firm, rotten, empty, note. A line without counts was not looked at. UserError names lines."""
    table = read_table(lines)
    _check_headings(table.headings)
    read_date = dates([*table.column("started"), *table.column("date")])
    growing: dict[tuple[str, str], _Growing] = {}
    problems: list[str] = []
    for line, row in table.rows:
        try:
            _take(row, line, growing, arms, read_date)
        except ValueError as wrong:
            problems.append(f"line {line}: {wrong}")
    dishes = []
    for (arm, replicate), dish in growing.items():
        problems += _problems(arm, replicate, dish)
        dishes.append((arm, replicate, dish))
    if problems:
        raise UserError(*problems)
    made = [_dish(arm, replicate, dish) for arm, replicate, dish in dishes if dish.looks]
    if not made:
        raise UserError("there is no count in this sheet yet: fill in new_roots, 0 where you looked and saw none")
    return made


def _check_headings(headings: list[str]) -> None:
    there = ", ".join(headings) or "none: the file is empty"
    problems = [f"the column '{name}' is missing; there are {there}" for name in NEEDED if name not in headings]
    problems += [
        f"the column '{name}' is not known; known are {', '.join(sorted(KNOWN))}"
        for name in headings
        if name not in KNOWN
    ]
    problems += [
        f"the column '{name}' is there twice" for name in sorted({h for h in headings if headings.count(h) > 1})
    ]
    if "day" not in headings and not {"started", "date"} <= set(headings):
        problems.append(f"either 'day', or 'started' and 'date', is needed; there are {there}")
    if problems:
        raise UserError(*problems)


def _take(
    text: Mapping[str, str],
    line: int,
    growing: dict[tuple[str, str], _Growing],
    arms: Mapping[str, Arm],
    read_date: Callable[[str], date],
) -> None:
    if "" in text:
        raise ValueError("there are more values than columns; put notes with commas in quotes")
    arm = text["arm"].lower().replace(" ", "_")
    if arm not in arms:
        raise ValueError(f"'{text['arm']}' is no arm; known are {', '.join(arms)}")
    if not text["replicate"]:
        raise ValueError("the replicate is missing; number the dishes of an arm from 1")
    seeds = _whole(text["seeds"], "seeds")
    if not seeds:
        raise ValueError("seeds must be 1 or more")
    started = _date(text["started"], "started", read_date) if text.get("started") else None
    dish = growing.setdefault((arm, text["replicate"]), _Growing(seeds, started, line))
    if dish.seeds != seeds:
        raise ValueError(
            f"{seeds} seeds, but {dish.seeds} on line {dish.line}, in the same dish ({arm} {text['replicate']})"
        )
    if dish.started != started:
        raise ValueError(
            f"started {started}, but {dish.started} on line {dish.line}, in the same dish ({arm} {text['replicate']})"
        )
    counts = {name: _whole(text[name], name) for name in ("new_roots", "new_shoots", *FATES) if text.get(name)}
    if not counts:
        return
    if "new_roots" not in counts:
        raise ValueError("new_roots is blank though other things were counted; write 0 if there were none")
    dish.looks.append((_day(text, started, read_date), counts["new_roots"], counts.get("new_shoots"), line))
    dish.fates |= {name: counts[name] for name in FATES if name in counts}


def _day(text: Mapping[str, str], started: date | None, read_date: Callable[[str], date]) -> float:
    if text.get("day"):
        try:
            day = float(number(text["day"]))
        except ValueError as wrong:
            raise ValueError(f"day '{text['day']}' is not a number") from wrong
        if not 0 <= day < 10_000:
            raise ValueError(f"day {text['day']} is not possible")
        return day
    if started is None or not text.get("date"):
        raise ValueError("the day, or both dates, are missing")
    when = _date(text["date"], "date", read_date)
    if when < started:
        raise ValueError(f"{when} is before the start, {started}")
    return (when - started).days


def _date(text: str, name: str, read_date: Callable[[str], date]) -> date:
    try:
        return read_date(text)
    except ValueError as wrong:
        raise ValueError(f"{name} {wrong}") from None


def _whole(text: str, name: str) -> int:
    found = whole(text)
    if found is None:
        raise ValueError(f"{name} must be a whole number of seeds, 0 or more, not '{text}'")
    return found


def _problems(arm: str, replicate: str, dish: _Growing) -> Iterable[str]:
    """Impossible orders and sums within a dish; one message each, at the line where it shows."""
    where, roots, shoots, last = f"{arm} {replicate}", 0, 0, -1.0
    for day, new_roots, new_shoots, line in dish.looks:
        roots, shoots = roots + new_roots, shoots + (new_shoots or 0)
        if day == last:
            yield f"line {line}: day {day:g} of {where} comes twice"
        elif day < last:
            yield f"line {line}: the days of {where} go back from {last:g} to {day:g}"
        last = max(last, day)
        if roots > dish.seeds:
            yield f"line {line}: {roots} roots so far in {where}, but only {dish.seeds} seeds were sown (new_roots are those since the look before)"
            return
        if shoots > roots:
            yield f"line {line}: {shoots} shoots so far in {where}, but only {roots} roots"
            return
    left = dish.seeds - roots
    if sum(dish.fates.values()) > left:
        told = ", ".join(f"{n} {name}" for name, n in dish.fates.items())
        line = dish.looks[-1][3] if dish.looks else dish.line
        yield f"line {line}: {told} in {where}, but only {left} seeds had not germinated"


def _dish(arm: str, replicate: str, dish: _Growing) -> Dish:
    empty = dish.fates.get("empty", 0)
    times = tuple(day for day, *_ in dish.looks)
    roots = Counts(times, tuple(n for _, n, _, _ in dish.looks), dish.seeds, empty)
    shoots = None
    if any(s is not None for _, _, s, _ in dish.looks):
        shoots = Counts(times, tuple(s or 0 for _, _, s, _ in dish.looks), dish.seeds, empty)
    return Dish(arm, replicate, roots, shoots, dict(dish.fates), dish.started)
