"""What tests of the handbook share: a browser's look at a page, and what a reader's choice is on the command line."""

from __future__ import annotations

import argparse
import base64
import random
import time
from collections.abc import Callable, Iterator
from itertools import product
from pathlib import Path
from typing import Any

from rousewort.cli.grower_options import add_grower_arguments, grower_from
from rousewort.handbook.settings import Field, Settings
from rousewort.planning.grower import Grower
from rousewort.planning.plan import Planner


def look(browser: Any, address: str, page: str, width: int, dark: bool = False) -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": False}
    )
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": [scheme]})
    browser.get(f"{address}/{page}")


def picture(browser: Any, path: Path) -> None:
    size = browser.execute_script("return [innerWidth, Math.min(document.documentElement.scrollHeight, 5000)]")
    clip = {"x": 0, "y": 0, "width": size[0], "height": size[1], "scale": 1}
    shot = browser.execute_cdp_cmd("Page.captureScreenshot", {"clip": clip, "captureBeyondViewport": True})
    path.write_bytes(base64.b64decode(shot["data"]))


def wait(condition: Callable[[], Any], seconds: float = 15) -> Any:
    end = time.monotonic() + seconds
    while not (found := condition()) and time.monotonic() < end:
        time.sleep(0.05)
    return found


def headings(browser: Any) -> list[str]:
    return [
        h.text.split("\n")[0].removesuffix(" optional")
        for h in browser.find_elements("css selector", "ol.rw-steps")[0].find_elements("css selector", "li > h3")
    ]


def options(planner: Planner, fields: tuple[Field, ...], choice: tuple[int, ...]) -> list[str]:
    """What a reader of the page would type to the command line instead."""
    equipment = planner.kb.vocabulary.files["equipment"]
    typed: list[str] = []
    for field, place in zip(fields, choice, strict=True):
        value = field.values[place]
        if place == field.usual:
            continue
        if field.name == "have":
            typed += [
                "--without" if not value else "--allow" if equipment[field.word].get("permission") else "--have",
                field.word,
            ]
        elif field.name == "had":
            typed += ["--had", f"{field.word}={value}"]
        else:
            typed += ["--" + field.name.replace("_", "-"), *([] if value is True else [str(value)])]
    return typed


def typed_grower(planner: Planner, typed: list[str]) -> Grower:
    parser = argparse.ArgumentParser()
    add_grower_arguments(parser)
    return grower_from(parser.parse_args(typed), planner.kb.vocabulary, list(planner.kb.treatments))


def choices(made: Settings, chance: random.Random, most: int) -> Iterator[tuple[int, ...]]:
    """Every choice of equipment with the usual lot, up to `most`, and as many of everything at once."""
    axes = [range(len(f.values)) if f.name in ("have", "cleaned") else (f.usual,) for f in made.fields]
    every = list(product(*axes))
    yield from every if len(every) <= most else chance.sample(every, most)
    for _ in range(most if len(every) < 2 * most else most // 2):
        yield tuple(chance.randrange(len(field.values)) for field in made.fields)
