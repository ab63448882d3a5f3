"""Seasons outdoors against the fridge, as text and as JSON. Decides nothing."""

from __future__ import annotations

from datetime import date
from typing import Any

from rousewort.observe.outdoors import Outdoors, Stage
from rousewort.observe.winter import NORMALS_NOTE
from rousewort.render.terminal import Page


def render(name: str, sown: date, found: Outdoors, normals: bool, page: Page) -> str:
    page.say(page.bold(f"{name}, sown outside on {sown}"))
    words = {
        True: f"Enough: ready about {found.ready_on}.",
        False: "Not enough outside.",
        None: "Cannot be told from these temperatures.",
    }
    page.say(words[found.enough], code="" if found.enough else "33")
    page.say(f"In the fridge and a warm place, begun the same day: ready {found.fridge_ready}.")
    for number, stage in enumerate(found.stages, 1):
        page.heading(f"{number}. {stage.label[:1].upper()}{stage.label[1:]}: {stage.need} days needed")
        _stage(stage, page)
    if found.notes or normals:
        page.heading("Note")
        page.each([*([NORMALS_NOTE] if normals else []), *found.notes], 2)
    page.heading("What is left out")
    page.say(
        "Snow, mulch, sun on the ground and drought: days count as moist from sowing. Cover against mice; label the bed.",
        2,
    )
    return page.text()


def _stage(stage: Stage, page: Page) -> None:
    w = stage.winter
    if w is None:
        page.say("Not reached: the season before it was not met.", 2)
        return
    page.say(
        f"From {w.sown} to {w.end}: {w.chilling} days with a mean of {stage.low_c:g} to {stage.high_c:g} °C"
        + (f"; met on {w.met_on}." if w.met_on else "; not met."),
        2,
    )
    page.say(f"Indoors the same season would run to {stage.fridge_until}.", 2)
    if stage.cold and w.frost is not None:
        page.say(
            f"Frost: {w.frost} days in the air, {w.frost_at_seed} at the seed, {w.chilling_with_frost} of them counted.",
            2,
        )
    if w.missing:
        page.say(f"Days without temperature: {len(w.missing)}.", 2)


def as_data(name: str, sown: date, found: Outdoors, normals: bool) -> dict[str, Any]:
    def stage(s: Stage) -> dict[str, Any]:
        w = s.winter
        outside = w and {
            "from": w.sown.isoformat(),
            "to": w.end.isoformat(),
            "days": w.chilling,
            "met_on": w.met_on.isoformat() if w.met_on else None,
            "enough": w.enough,
            "frost": w.frost,
            "frost_at_seed": w.frost_at_seed,
            "missing": len(w.missing),
        }
        return {
            "kind": s.kind,
            "need_days": s.need,
            "range_c": [s.low_c, s.high_c],
            "numbers_from": s.basis,
            "outside": outside,
            "fridge_until": s.fridge_until.isoformat(),
        }

    return {
        "format": "rousewort-winter-1",
        "plant": name,
        "sown": sown.isoformat(),
        "enough": found.enough,
        "ready_on": found.ready_on.isoformat() if found.ready_on else None,
        "fridge_ready": found.fridge_ready.isoformat(),
        "stages": [stage(s) for s in found.stages],
        "normals": normals,
        "notes": list(found.notes),
    }
