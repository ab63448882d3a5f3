"""Seeds, grams, cells and room as text for a terminal. Decides nothing."""

from __future__ import annotations

from typing import NamedTuple

from rousewort.render.terminal import Page
from rousewort.schedule.quantities import Cells, Room, SeedNeed


class Reckoning(NamedTuple):
    """All that was reckoned for one plant. `grams`: of the lot as bought, for the seed of `cells` where there are."""

    plant: str
    cautions: tuple[str, ...]
    germination: float
    survival: float
    need: SeedNeed
    cells: Cells | None
    grams: float | None
    counted_from: str
    room: Room | None
    moist: tuple[str, ...]


def render(made: Reckoning, page: Page) -> str:
    need, cells = made.need, made.cells
    page.say(page.bold(made.plant))
    page.each(made.cautions, bullet="! ", code="33")
    parts = f"{_percent(made.germination)} germinate, {_percent(made.survival)} of those survive"
    page.say(f"{_percent(need.chance)} of seeds become a plant ({parts}).")
    page.heading("Seed")
    sure = _percent(need.probability)
    page.say(f"Sow {need.seeds} seeds for at least {need.plants} plants with a probability of {sure}.")
    page.say(f"{need.on_average} would do on the mean, and give too few about every second time.")
    if cells:
        page.heading("Cells")
        page.say(f"Fill {cells.cells} cells with {cells.per_cell} each ({cells.seeds} seeds) for the same probability.")
        page.say(
            f"About {cells.empty:.0f} stay empty; in about {cells.crowded:.0f} more than one comes up: thin to one."
        )
    page.heading("Weight and room")
    _weight(made, page)
    return page.text()


def _weight(made: Reckoning, page: Page) -> None:
    room = made.room
    if made.grams is None:
        unknown = "The number of seeds in a gram is not known here: weigh 100 and give --seeds-per-gram"
        page.say(f"{unknown} for grams, medium and fridge space.")
        return
    page.say(f"{_amount(made.grams)} g of the lot as bought hold them (seeds per gram: {made.counted_from}).")
    if room is None:
        page.say("The plan has no moist treatment: no medium and no fridge space.")
        return
    bags = f"{room.bags} {'bag' if room.bags == 1 else 'bags'} of a litre"
    medium = f"{_amount(room.medium_ml)} ml of medium wetted with {_amount(room.water_ml)} ml of water"
    space = f"{_amount(room.bag_ml)} ml in all with its air; {_amount(room.fridge_l)} l of fridge or shelf"
    page.say(f"For {', then '.join(made.moist)}: {medium}; {bags}, {space}.")
    page.say("Volumes by rules of thumb (common practice), not measured on this species.", code="2")


def _percent(share: float) -> str:
    return f"{share * 100:.3g} %"


def _amount(number: float) -> str:
    return f"{number:.0f}" if number >= 100 else f"{number:.3g}"
