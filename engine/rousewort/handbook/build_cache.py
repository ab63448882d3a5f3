"""Results that take long and seldom change, remembered in the user's cache from one build to the next."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import suppress
from hashlib import blake2b
from pathlib import Path
from typing import Any

from rousewort.base.atomic_write import write_atomically
from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import cache_folder


def cached(kind: str, rests_on: Any, make: Callable[[], Any]) -> Any:
    """What `make` gives, plain JSON; made again only when what it rests on, or any of our code, has changed.

    One result of a kind is kept. Where nothing can be written it is made every time.
    """
    digest = blake2b(json.dumps(rests_on, sort_keys=True, default=str).encode(), digest_size=16)
    for path in sorted(Path(__file__).parents[1].rglob("*.py")):
        digest.update(path.read_bytes())
    file = cache_folder() / f"{kind}-{digest.hexdigest()}.json"
    try:
        return json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):  # never made, or damaged: a cache is only a cache
        made = make()
    with suppress(UserError, OSError):  # a full or read-only disk costs only the wait
        write_atomically(file, json.dumps(made).encode())
        for old in set(file.parent.glob(f"{kind}-*.json")) - {file}:
            old.unlink(missing_ok=True)
    return made
