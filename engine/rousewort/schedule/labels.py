"""What stands on the labels of a bench: bags, pots and trays. Decides what is said; the drawing is in render/."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from rousewort.base.errors import UserError
from rousewort.knowledge.names import slug
from rousewort.schedule.model import BenchCalendar, DatedStep, Schedule

if TYPE_CHECKING:
    from rousewort.knowledge.knowledge_base import KnowledgeBase

KINDS = ("bag", "pot", "tray")
MOST_LABELS = 2000


@dataclass(frozen=True)
class Label:
    """One label. `what`: the treatment; `when`: date in, date out and others, in order; `link`: for the QR code."""

    kind: str
    plant: str
    lot: str
    what: str
    when: tuple[tuple[str, str], ...]
    after: str
    warnings: tuple[str, ...]
    number: str
    link: str


def make_labels(
    calendar: BenchCalendar, kind: str, copies: int = 1, link_of: Callable[[Schedule], str] = lambda schedule: ""
) -> list[Label]:
    """Labels of one kind for every schedule. `link_of`: what its QR code says, or nothing.

    A bag has one label for each step in it that has not ended; a pot or tray has one for all that happens in it. Raises UserError for a
    kind or number that cannot be, and where no schedule has anything to put in such a thing.
    """
    problems = []
    if kind not in KINDS:
        problems.append(f"There are no labels for '{kind}'. Known: {', '.join(KINDS)}.")
    if not 1 <= copies <= MOST_LABELS:
        problems.append(f"Print from 1 to {MOST_LABELS} copies of a label, not {copies}.")
    if problems:
        raise UserError(*problems)
    made = []
    for schedule in calendar.schedules:
        link = link_of(schedule)
        for label in _bags(schedule, link) if kind == "bag" else _pots(schedule, kind, link):
            made += [_numbered(label, i, copies) for i in range(1, copies + 1)]
    if not made:
        names = ", ".join(schedule.name for schedule in calendar.schedules)
        raise UserError(f"Nothing of these plans goes into a {kind}: {names}. Other labels: {', '.join(KINDS)}.")
    if len(made) > MOST_LABELS:
        raise UserError(f"That makes {len(made)} labels; print at most {MOST_LABELS} at once.")
    return made


def _numbered(label: Label, i: int, copies: int) -> Label:
    return replace(label, number=f"{i}/{copies}") if copies > 1 else label


def _bags(schedule: Schedule, link: str) -> Iterator[Label]:
    for i, step in enumerate(schedule.steps):
        if step.container == "pot":  # from here on it stands in pots or trays
            return
        if step.container != "bag" or not step.days or step.ended:
            continue
        when = [("in", str(step.start)), ("out", str(step.planned))]
        first_ready = next((check.day for check in step.checks if check.ready), None)
        if first_ready:
            when.append(("look from", str(first_ready)))
        yield Label(
            "bag", *_common(schedule), _words(step), tuple(when), _next(schedule, i), _warnings(schedule), "", link
        )


def _pots(schedule: Schedule, kind: str, link: str) -> Iterator[Label]:
    i = next((i for i, step in enumerate(schedule.steps) if step.container == "pot"), None)
    if i is None:
        return
    step = schedule.steps[i]
    when = [(step.begun, str(step.start))]
    when += [(later.label, _span(later)) for later in schedule.steps[i + 1 :] if later.days]
    if schedule.seedlings:
        first, last = schedule.seedlings.earliest, schedule.seedlings.latest or schedule.seedlings.planned
        when.append(("seedlings", f"{first} to {last}"))
    give_up = schedule.steps[-1].give_up
    after = _next(schedule, i) or (give_up[:1].upper() + give_up[1:] if give_up else f"Until: {step.until}")
    yield Label(kind, *_common(schedule), _words(step), tuple(when), after, _warnings(schedule), "", link)


def _span(step: DatedStep) -> str:
    return f"{step.start} to {step.planned}"


def _common(schedule: Schedule) -> tuple[str, str]:
    return schedule.name, schedule.lot


def _words(step: DatedStep) -> str:
    return ", ".join(part for part in (step.label, step.lasts, step.temperature) if part)


def _next(schedule: Schedule, i: int) -> str:
    if i + 1 == len(schedule.steps):
        return ""
    step = schedule.steps[i + 1]
    return "Next: " + ", ".join(part for part in (step.label, step.temperature) if part)


def _warnings(schedule: Schedule) -> tuple[str, ...]:
    """The heads of the plan's cautions: `Poisonous`; a caution without a head is given whole."""
    return tuple(dict.fromkeys(text.split(":")[0].rstrip(".") for text in schedule.cautions))


def page_address(kb: KnowledgeBase, name: str, base: str) -> str:
    """The address of a plant's page in the handbook that stands at `base`; nothing without a base or a page."""
    record = kb.taxon(name)
    if not base or record is None:
        return ""
    folder = {"species": "species", "genus": "genera", "family": "families"}[record["rank"]]
    return f"{base.rstrip('/')}/{folder}/{slug(name)}.html"


# Sheets


@dataclass(frozen=True)
class Sheet:
    """A sheet of labels, in millimetres. `cut`: plain card with lines to cut along."""

    name: str
    page: str
    width: float
    height: float
    columns: int
    rows: int
    left: float
    top: float
    gap_x: float
    gap_y: float
    good_for: tuple[str, ...]
    cut: bool

    @property
    def per_page(self) -> int:
        return self.columns * self.rows

    def place(self, position: int) -> tuple[float, float]:
        """Left and top edge of the label at a position (from 0, row by row), from the page's upper left corner."""
        row, column = divmod(position % self.per_page, self.columns)
        return self.left + column * (self.width + self.gap_x), self.top + row * (self.height + self.gap_y)


def sheets(table: Mapping[str, Mapping[str, Any]]) -> dict[str, Sheet]:
    """The sheets of kb/vocabulary/label_sheets.yaml, by name."""
    return {
        name: Sheet(
            name, row["page"], row["width"], row["height"], row["columns"], row["rows"], row["left"], row["top"],
            row["gap"]["x"], row["gap"]["y"], tuple(row["for"]), row.get("cut") == "yes",
        )
        for name, row in table.items()
    }  # fmt: skip


def sheet_named(known: Mapping[str, Sheet], name: str | None, kind: str) -> Sheet:
    """The sheet of that name (`70x37`, `70 × 37`), or the first that is good for the kind."""
    if name is None:
        return next(sheet for sheet in known.values() if kind in sheet.good_for)
    plain = name.lower().replace("×", "x").replace("mm", "").replace(" ", "").replace(",", ".")
    if plain not in known:
        listed = ", ".join(f"{s.name} ({s.per_page} on {s.page})" for s in known.values())
        raise UserError(f"There is no sheet of labels of {name} mm here. Known: {listed}.")
    return known[plain]
