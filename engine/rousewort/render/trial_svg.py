"""Cumulative germination of every arm as an SVG drawing: steps at the counts, each line named at its end. Decides nothing."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from itertools import accumulate

from rousewort.observe.result import ArmResult, TrialResult

WIDE, HIGH = 760, 420
LEFT, RIGHT, TOP, BOTTOM = 56, 190, 44, 48
MARK = "<!-- drawn by rousewort trial read -->"  # by which an earlier drawing is known again
# Colours that stay apart for the colour-blind (Okabe and Ito 2008, Color Universal Design; from memory).
COLOURS = ("#000000", "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#7f6a00", "#777777")
DASHES = ("", "6 3", "2 3", "8 3 2 3")


def draw(result: TrialResult, title: str) -> str:
    """An SVG document, standing alone. Roots, in per cent of filled seed, against days from the start of each arm."""
    last = max(r.counts.times[-1] for r in result.arms) or 1
    step = next(s for s in (1, 2, 7, 14, 28, 56, 112, 365, 3650) if last / s <= 10)

    def x(day: float) -> float:
        return LEFT + (WIDE - LEFT - RIGHT) * day / last

    def y(percent: float) -> float:
        return HIGH - BOTTOM - (HIGH - TOP - BOTTOM) * percent / 100

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDE}" height="{HIGH}" viewBox="0 0 {WIDE} {HIGH}" role="img"'
        ' font-family="sans-serif" font-size="13">',
        MARK,
        f"<title>{escape(title)}</title>",
        f"<desc>{escape('; '.join(f'{r.arm.label}: {r.roots.germinated} of {r.roots.seeds}' for r in result.arms))}</desc>",
        f'<rect width="{WIDE}" height="{HIGH}" fill="#ffffff"/>',
        f'<text x="{LEFT}" y="24" font-size="15" font-weight="bold">{escape(title)}</text>',
    ]
    for percent in range(0, 101, 20):
        parts.append(f'<path d="M{LEFT} {y(percent):.1f}H{WIDE - RIGHT}" stroke="#dddddd"/>')
        parts.append(f'<text x="{LEFT - 8}" y="{y(percent) + 4:.1f}" text-anchor="end">{percent}</text>')
    for i in range(int(last // step) + 1):
        parts.append(f'<path d="M{x(i * step):.1f} {y(0):.1f}v5" stroke="#555555"/>')
        parts.append(f'<text x="{x(i * step):.1f}" y="{y(0) + 20:.1f}" text-anchor="middle">{i * step}</text>')
    parts.append(
        f'<text x="{(LEFT + WIDE - RIGHT) / 2:.0f}" y="{HIGH - 8}" text-anchor="middle">days from the start</text>'
    )
    parts.append(
        f'<text transform="translate(16 {HIGH / 2:.0f}) rotate(-90)" text-anchor="middle">roots, % of filled seed</text>'
    )
    places = _places([y(100 * r.roots.share) for r in result.arms])
    for number, (r, place) in enumerate(zip(result.arms, places, strict=True)):
        colour, dash = COLOURS[number % len(COLOURS)], DASHES[number % len(DASHES)]
        parts.append(_line(r, x, y, colour, dash))
        end_x, end_y = x(r.counts.times[-1]), y(100 * r.roots.share)
        parts.append(
            f'<path d="M{end_x:.1f} {end_y:.1f}L{WIDE - RIGHT + 8} {place:.1f}" stroke="{colour}" stroke-width="0.7" fill="none"/>'
        )
        label = f"{r.arm.label} {100 * r.roots.share:.0f} %"
        parts.append(f'<text x="{WIDE - RIGHT + 11}" y="{place + 4:.1f}" fill="#222222">{escape(label)}</text>')
    return "\n".join([*parts, "</svg>", ""])


def _line(r: ArmResult, x: Callable[[float], float], y: Callable[[float], float], colour: str, dash: str) -> str:
    path = [f"M{x(0):.1f} {y(0):.1f}"]
    for day, total in zip(r.counts.times, accumulate(r.counts.new), strict=True):
        path.append(f"H{x(day):.1f}V{y(100 * total / r.roots.seeds):.1f}")
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{"".join(path)}" fill="none" stroke="{colour}" stroke-width="2"{dashes}/>'


def _places(wanted: list[float], gap: float = 16) -> list[float]:
    """Heights for the names, in the order given, at least `gap` apart and inside the drawing."""
    places = [0.0] * len(wanted)
    last = TOP - gap
    for i in sorted(range(len(wanted)), key=wanted.__getitem__):
        last = places[i] = max(wanted[i], last + gap)
    last = HIGH - BOTTOM + 4 + gap
    for i in sorted(range(len(places)), key=places.__getitem__, reverse=True):
        last = places[i] = min(places[i], last - gap)
    return places
