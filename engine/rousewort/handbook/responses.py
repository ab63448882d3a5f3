"""What more days did: germination against days of a treatment, from the figures of each protocol, as a drawing and as numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from string import ascii_lowercase
from typing import Any

from markupsafe import Markup

from rousewort.handbook import page_models
from rousewort.handbook.escape import escaped
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.render.protocol_text import lot_text, result_tables

# Columns of days that a drawing has along its foot, and how its lines are coloured.
AXES = {"cold_days": "cold", "warm_days": "warm", "stored_days": "dry"}
COUNTS = {"germinated", "sown", "sound", "germinated_pct", "samples", "replicates"}
WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 360, 200, 34, 22, 10, 30
MOST_LINES = len(ascii_lowercase)


def response_plots(kb: KnowledgeBase, record: Mapping[str, Any]) -> list[dict[str, Any]]:
    """A plot for each column of days for which some trial of the entry has two lengths or more.

    `label`: of the column; `svg`; `series`: letter, source, cited, who (lot and what was held fixed), points (days, per cent).
    """
    words = kb.vocabulary.files["protocol"]["columns"]
    plots = []
    for axis, colour in AXES.items():
        found = [s for protocol in record.get("protocols", ()) for s in _series(kb, protocol, axis)][:MOST_LINES]
        for letter, one in zip(ascii_lowercase, found, strict=False):
            one["letter"] = letter
        if found:
            label = words[axis]["label"]
            plots.append({"label": label, "svg": _drawn(label, colour, found), "series": found})
    return plots


def _series(kb: KnowledgeBase, protocol: Mapping[str, Any], axis: str) -> Iterator[dict[str, Any]]:
    """Lines of one protocol: rows that differ in nothing but days and what came of them."""
    tables = [result for result in protocol.get("results", ()) if "rows" in result]
    for result, table in zip(tables, result_tables(kb, protocol), strict=True):
        columns = result.get("columns", protocol.get("columns", ()))
        if axis not in columns:
            continue
        lines: dict[tuple[str, ...], dict[float, float]] = {}
        for cells in result["rows"]:
            row = dict(zip(columns, cells, strict=True))
            percent = _percent(row)
            if percent is not None and isinstance(row[axis], int | float):
                fixed = [f"{table['head'][i]} {row[c]}" for i, c in enumerate(columns) if c != axis and c not in COUNTS]
                lines.setdefault(tuple(fixed), {})[row[axis]] = percent
        origin = page_models.origin(kb, protocol)
        for others, points in lines.items():
            if len(points) > 1:
                who = "; ".join(filter(None, (table["who"], *others, lot_text(kb, protocol.get("lot", {})))))
                yield {
                    "source": origin["source"],
                    "cited": origin["cited"],
                    "who": who,
                    "points": sorted(points.items()),
                }


def _percent(row: Mapping[str, Any]) -> int | None:
    percent: float | None = row.get("germinated_pct")
    if isinstance(percent, int | float):
        return round(percent)
    sown, germinated = row.get("sound") or row.get("sown"), row.get("germinated")
    return round(100.0 * float(germinated) / float(sown)) if sown and isinstance(germinated, int | float) else None


def _drawn(label: str, colour: str, series: Sequence[Mapping[str, Any]]) -> Markup:
    top = max(x for one in series for x, _ in one["points"])
    across, down = (WIDTH - LEFT - RIGHT) / (top or 1), (HEIGHT - TOP - FOOT) / 100
    parts = [
        f'<path class="grid" d="M{LEFT} {_y(p, down)}H{WIDTH - RIGHT}"/><text x="{LEFT - 4}" y="{_y(p, down) + 4}" text-anchor="end">{p}</text>'
        for p in (0, 25, 50, 75, 100)
    ]
    parts += [
        f'<path class="grid" d="M{_x(d, across)} {HEIGHT - FOOT}v4"/><text x="{_x(d, across)}" y="{HEIGHT - FOOT + 15}" text-anchor="middle">{d:g}</text>'
        for d in _ticks(top)
    ]
    parts.append(f'<text x="{WIDTH - RIGHT}" y="{HEIGHT - 2}" text-anchor="end">{escaped(label)}</text>')
    taken: list[tuple[float, float]] = []
    for one in series:
        points = [(_x(x, across), _y(y, down)) for x, y in one["points"]]
        parts.append(f'<path class="run {colour}" d="M{"L".join(f"{x} {y}" for x, y in points)}"/>')
        parts += [f'<circle class="dot" cx="{x}" cy="{y}" r="2.5"/>' for x, y in points]
        x, y = points[-1]
        while any(abs(x - left) < 9 and abs(y - above) < 9 for left, above in taken):
            x, y = (x, y + 9) if y + 9 < HEIGHT - FOOT else (x + 9, points[-1][1])
        taken.append((x, y))
        parts.append(f'<text class="name" x="{round(x + 5, 1)}" y="{round(y + 4, 1)}">{one["letter"]}</text>')
    says = f"Germination in per cent against {label}: {len(series)} trials, whose figures stand in the table below"
    return Markup(f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escaped(says)}">{"".join(parts)}</svg>')


def _x(days: float, across: float) -> float:
    return round(LEFT + days * across, 1)


def _y(percent: float, down: float) -> float:
    return round(TOP + (100 - percent) * down, 1)


def _ticks(top: float) -> Iterator[int]:
    step = next((step for step in (7, 14, 28, 56, 112) if top / step <= 6), 365)
    yield from range(0, int(top) + 1, step)
