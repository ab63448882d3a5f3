"""What a grower sets once for all commands: units, hemisphere, paper, equipment. A small TOML file of theirs.

Options of a command go before it. What is dangerous is never set here: it is allowed anew for each plan.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.base.atomic_write import write_atomically
from rousewort.base.errors import UserError
from rousewort.planning.units import METRIC, UNITS

NORTH, SOUTH = "north", "south"
PAPERS = ("A4", "letter")
# Setting → the words it can have; none: words of kb/vocabulary/equipment.yaml, one or several.
CHOICES: dict[str, tuple[str, ...]] = {
    "units": tuple(UNITS),
    "hemisphere": (NORTH, SOUTH),
    "paper": PAPERS,
    "have": (),
    "without": (),
}
HEAD = "# Written by `rousewort config`.\n"


class Settings(NamedTuple):
    """`have`, `without`: words of equipment beyond the usual, and usual ones that are lacking."""

    units: str = METRIC
    hemisphere: str = NORTH
    paper: str = PAPERS[0]
    have: tuple[str, ...] = ()
    without: tuple[str, ...] = ()


def path() -> Path:
    """Where the file stands, or would."""
    if sys.platform == "win32":
        home = os.environ.get("APPDATA") or str(Path.home() / "AppData" / "Roaming")
    else:
        home = os.environ.get("XDG_CONFIG_HOME") or str(Path.home() / ".config")
    return Path(home) / "rousewort" / "config.toml"


def settings() -> Settings:
    """The user's settings. Raises UserError for what the file says wrongly, all of it at once."""
    return _checked(_read())


def _read() -> dict[str, Any]:
    try:
        text = path().read_text("utf-8")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise UserError(
            f"{path()} cannot be read: {getattr(error, 'strerror', None) or 'it is no text in UTF-8'}."
        ) from error
    import tomllib

    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UserError(f'{path()}: {error}. Write a setting a line, as in: units = "us"') from error


def _checked(found: dict[str, Any]) -> Settings:
    problems = [problem for key, value in found.items() if (problem := _wrong(key, value))]
    if problems:
        raise UserError(*(f"{path()}: {problem}" for problem in problems))
    values: dict[str, Any] = {key: tuple(value) if isinstance(value, list) else value for key, value in found.items()}
    return Settings(**values)


def _wrong(key: str, value: Any) -> str | None:
    """What is wrong with a setting; nothing where all is well."""
    if key not in CHOICES:
        return f"there is no setting `{key}`. Known: {', '.join(CHOICES)}."
    allowed = CHOICES[key]
    if allowed:
        return None if value in allowed else f"`{key}` is one of: {', '.join(allowed)}."
    if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
        return f'`{key}` is a list of things, as in: {key} = ["smoke"]'
    return None


def change(key: str, value: str | list[str] | None) -> Settings:
    """Set one, or take it out (None), in a file that is written whole or stays as it was."""
    found = _read()
    if value is None:
        found.pop(key, None)
    else:
        found[key] = value
    new = _checked(found)
    lines = [f"{name} = {_toml(found[name])}\n" for name in CHOICES if name in found]
    write_atomically(path(), (HEAD + "".join(lines)).encode())
    return new


def _toml(value: str | list[str]) -> str:
    """Words alone stand here: nothing in them needs escaping."""
    return f'"{value}"' if isinstance(value, str) else f"[{', '.join(map(_toml, value))}]"
