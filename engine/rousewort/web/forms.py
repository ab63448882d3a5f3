"""What the forms of the bench pages say, as data for the ledger. Raises UserError, in words, for what cannot be meant."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from typing import Any, NamedTuple

from rousewort.base.errors import UserError
from rousewort.ledger.events import read_day
from rousewort.ledger.service import Answer


def number(text: str, what: str) -> int | None:
    """A whole number, or None where nothing was written."""
    written = _written(text, r"[0-9]{1,9}", f"whole number ({what})")
    return None if written is None else int(written)


def measure(text: str, what: str) -> float | None:
    """A number with or without decimals, comma or point, or None where nothing was written."""
    written = _written(text, r"[0-9]{1,9}([.,][0-9]{1,6})?", f"number ({what})")
    return None if written is None else float(written.replace(",", "."))


def _written(text: str, form: str, what: str) -> str | None:
    text = text.strip()
    if text and not re.fullmatch(form, text):
        raise UserError(f"“{text[:40]}” is no {what}.")
    return text or None


def once(form: Any) -> str:
    """The token that tells one sending of a form from another; nothing where the form has none."""
    token = form.get("once", "")
    return token if re.fullmatch(r"[A-Za-z0-9_-]{8,64}", token) else ""


def tapped(form: Any, today: date) -> date:
    """The day on which it was tapped by the device's clock; a clock that is ahead does not make days to come."""
    return min(read_day(form.get("day", "")), today)


def kept_note(form: Any) -> str:
    """The note of an act that waited on a device, with the time and the device."""
    time = form.get("time", "") if re.fullmatch(r"[0-2][0-9]:[0-5][0-9]", form.get("time", "")) else ""
    came = ", ".join(part for part in (time and f"tapped at {time}", form.get("device", "").strip()[:40]) if part)
    note = form.get("note", "").strip()
    return f"{note} ({came})" if note and came else note or came


def start(form: Any) -> dict[str, Any]:
    """What the form says of a new lot, beside the plant's name."""
    living = measure(form.get("living", ""), "living seeds in a hundred")
    return {
        "seeds": number(form.get("seeds", ""), "the number of seeds"),
        "grams": measure(form.get("grams", ""), "the weight in grams"),
        "viability": None if living is None else living / 100,
        "lot": form.get("lot", "").strip(),
        "provenance": form.get("origin", "").strip(),
        "south": bool(form.get("south")) or None,
    }


def part(form: Any) -> dict[str, Any]:
    """How much goes into a new batch."""
    return {
        "seeds": number(form.get("seeds", ""), "seeds in the new batch"),
        "grams": measure(form.get("grams", ""), "grams in the new batch"),
    }


def _finds(form: Any) -> dict[str, Any]:
    return {
        "finds": form.getlist("finds") or ["fine"],
        "lost": number(form.get("lost", ""), "seeds taken out") or None,
    }


def answer(form: Any) -> Answer:
    """What the form says to a question of the ledger. A tick speaks of the season alone: see the pages."""
    return Answer(season=bool(form.get("anyway")), why=form.get("why", "").strip())


# What a form says of each kind of event.
SAYS: Mapping[str, Callable[[Any], dict[str, Any]]] = {
    "check": _finds,
    "move": lambda form: {"step": form.get("step", ""), "answer": answer(form)},
    "wait": lambda form: {"until": read_day(form.get("until", ""))},
    "sow": lambda form: {"seeds": number(form.get("seeds", ""), "the number of seeds"), "answer": answer(form)},
    "count": lambda form: {"new": number(form.get("new", ""), "the number of new seedlings")},
    "discard": lambda form: {"reason": form.get("reason", "").strip()},
    "void": lambda form: {"reason": form.get("reason", "").strip()},
    "close": lambda form: {"plants": number(form.get("plants", ""), "the number of plants")},
    "note": lambda form: {},
}


class Look(NamedTuple):
    """One line of a walk along the bench: `turn` is the batch's last entry when the page was made."""

    code: str
    turn: int
    kind: str
    data: Mapping[str, Any]


def walk(form: Any) -> Iterator[Look]:
    """Batches ticked as fine (`fine`: CODE.TURN), and new seedlings counted (`new-CODE.TURN`: how many, or nothing)."""
    for key, text in form.items(multi=True):
        word = text if key == "fine" else key.removeprefix("new-") if key.startswith("new-") else None
        if word is None:
            continue
        found = re.fullmatch(r"([A-Z0-9-]{1,16})\.([0-9]{1,9})", word)
        if not found:
            raise UserError("This page cannot be read. Go back to what is due and do it again.")
        new = None if key == "fine" else number(text, f"new seedlings of {found[1]}")
        if key == "fine":
            yield Look(found[1], int(found[2]), "check", {"finds": ["fine"]})
        elif new is not None:
            yield Look(found[1], int(found[2]), "count", {"new": new})


def code_in(text: str) -> str:
    """A batch code in what was typed or scanned: the code itself, or an address that ends with one."""
    text = text.strip()
    if not text:
        raise UserError("Type the code or number that stands on the label.")
    found = re.search(r"/batch/([A-Za-z0-9-]+)", text)
    return found[1] if found else text
