"""Plans as terse lines that hold all that a grower acts on, and a legend of every text that the lines name by a code.

A line names a text by a short code, `!7` or `cold_moist/3`, and the legend holds it once, so a changed word moves one
line of the legend and no plan's. A code stays with its text; a text that is new takes the code of the gone text that
it is most like. Made from a plan's JSON alone: the engine's own words for numbers are not used to check them.
"""

from __future__ import annotations

import difflib
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

Data = Mapping[str, Any]
UNITS = {"days": "d", "hours": "h", "minutes": "min"}
TEXTS = ("label", "do", "watch", "until", "success", "medium")  # of a step, in the order in which a grower reads them
ALIKE = 0.5  # share of words in common from which a new text is an old one, changed


class Legend:
    """Numbers for texts, each in a group. `old`: the legend as it stands, code → text.

    `mark` gives a mark to stand in a line; once all are given, `settle` numbers them and `fill` puts numbers for marks.
    """

    def __init__(self, old: Mapping[str, str]) -> None:
        self.old = old
        self.codes: dict[str, str] = {}
        self._marks: dict[tuple[str, str], int] = {}
        self._used: Counter[tuple[str, str]] = Counter()
        self._numbers: dict[int, int] = {}

    def mark(self, group: str, text: str) -> str:
        self._used[group, text] += 1
        return f"\0{self._marks.setdefault((group, text), len(self._marks))}\0"

    def fill(self, line: str) -> str:
        return re.sub("\0(\\d+)\0", lambda m: str(self._numbers[int(m[1])]), line)

    def settle(self) -> None:
        """Each text keeps its number, or takes that of a text now gone that it is most like, or the next one."""
        groups: dict[str, list[str]] = defaultdict(list)
        for group, text in self._marks:
            groups[group].append(text)
        for group in sorted(groups, key=lambda group: (group.endswith("/"), group)):  # those of texts with marks last
            filled = {self.fill(text): text for text in groups[group]}
            old = {code: text for code, text in self.old.items() if code.rstrip("0123456789") == group}
            common = sorted(filled, key=lambda text: (-self._used[group, filled[text]], text))
            for text, number in _numbered(common, {int(c.removeprefix(group)): t for c, t in old.items()}).items():
                self._numbers[self._marks[group, filled[text]]] = number
                self.codes[f"{group}{number}"] = text
        self.codes = dict(sorted(self.codes.items(), key=lambda item: _in_order(item[0])))


def _numbered(texts: Iterable[str], old: Mapping[int, str]) -> dict[str, int]:
    numbers = {text: n for n, text in old.items() if text in texts}
    gone = {n: text for n, text in old.items() if text not in numbers}
    last = max(old, default=0)
    for text in texts:
        if text not in numbers:
            likest = max(gone, key=lambda n: _alike(gone[n], text), default=0)
            if likest and _alike(gone[likest], text) >= ALIKE:
                numbers[text] = likest
                del gone[likest]
            else:
                numbers[text] = last = last + 1
    return numbers


def _in_order(code: str) -> tuple[str, int]:
    group = code.rstrip("0123456789")
    return group, int(code.removeprefix(group))


def _alike(a: str, b: str) -> float:
    return difflib.SequenceMatcher(None, a.split(), b.split(), autojunk=False).ratio()


# --- numbers


def number(amount: Data, sign: str) -> str:
    """`60d(42-60,species)`, `20/10°C(10-20,treatment)`: what is used, then the range and where it is from."""
    use = amount["use"]
    use = f"{use['day']}/{use['night']}" if isinstance(use, Mapping) else use
    return f"{use}{sign}({amount['low']}-{amount['high']},{amount['from']})"


def _as_said(amount: Data, unit: str) -> str:
    """A number as the instructions should say it."""
    low, use, high = amount["low"], amount["use"], amount["high"]
    if isinstance(use, Mapping):
        return f"{use['day']} °C by day and {use['night']} °C by night"
    sign = " °C" if unit == "temperature" else ""
    if unit == "minutes" and use < 1:
        return f"{round(use * 60)} seconds"
    same = low == high if sign else low == high == use or low is high is None
    return f"{use}{sign}" + ("" if same else f" ({'…' if low is None else low}–{'…' if high is None else high})")


def _numbers_said(step: Data, name: str) -> Iterator[tuple[str, str]]:
    """(as it is said, the place that it takes): what the instructions of this step repeat from its numbers."""
    yield name, "name"
    if (days := step.get("days")) and days["low"]:
        yield f"first look after {days['low']} days, then weekly", "look"
    for unit in UNITS:
        if unit in step:
            yield _as_said(step[unit], unit), unit
    if "temperature_c" in step:
        yield _as_said(step["temperature_c"], "temperature"), "temperature"
    if sowing := step.get("sowing"):
        if isinstance(sowing["depth_mm"], Mapping):
            yield f"{sowing['depth_mm']['use']} mm", "depth"
        yield f"{sowing['expect_days']['low']}–{sowing['expect_days']['high']} days", "expect"
        yield sowing["give_up"], "give_up"


def _with_places(text: str, said: Iterable[tuple[str, str]]) -> str:
    for words, place in said:
        if words in text:
            text = re.sub(rf"(?<![\w–{{]){re.escape(words)}(?![\w–])", f"{{{place}}}", text)
    return " ".join(text.split())


# --- lines


def step_line(step: Data, name: str, legend: Legend) -> str:
    """`cold_moist/1 60d(42-60,species) 3°C(2-4,species) for needs_cold !4,5`; an optional step in brackets."""
    kind, said = step["kind"], list(_numbers_said(step, name))
    codes = []
    for key in TEXTS:
        texts = step.get(key) or ()
        for text in [texts] if isinstance(texts, str) else texts:
            codes.append(key + legend.mark(f"{kind}.{key}", _with_places(text, said)))
    words = [f"{kind}/" + legend.mark(f"{kind}/", " ".join(codes))]
    words += [number(step[unit], sign) for unit, sign in UNITS.items() if unit in step]
    if "temperature_c" in step:
        words.append(number(step["temperature_c"], "°C"))
    if sowing := step.get("sowing"):
        depth, expect = sowing["depth_mm"], sowing["expect_days"]
        known = isinstance(depth, Mapping)
        words.append(f"{depth['use']}mm({depth['low']}-{depth['high']})" if known else f"{depth or '?'}mm")
        words.append(f"light:{sowing['light'].replace(' ', '_')}")
        lies = [str(sowing[part]) for part in ("water", "position", "container", "storage", "salinity", "host")]
        words.append("sown" + legend.mark("sown", "; ".join(lies)))
        words.append(f"up:{expect['low']}-{expect['high']}d give_up{legend.mark('give_up', sowing['give_up'])}")
    if step["removes"]:
        words.append("for " + "+".join(step["removes"]))
    if step["only_if"]:
        words.append("if" + legend.mark("if", str(step["only_if"])))
    if step["cautions"]:
        words.append(_codes("!", step["cautions"], name, legend))
    return f"[{' '.join(words)}]" if step["optional"] else " ".join(words)


def _codes(group: str, texts: Iterable[str], name: str, legend: Legend) -> str:
    """`!4,5`: the codes of several texts of a group."""
    return group + ",".join(legend.mark(group, _with_places(text, [(name, "name")])) for text in texts)


def head_line(plan: Data, name: str, legend: Legend) -> str:
    """`PY+PD; on species, sure1; !3; not2,5`: what the plan says before and after its steps."""
    dormancy, basis = plan["dormancy"], plan["basis"]
    said = [" ".join(filter(None, (dormancy["class"] or "class unknown", dormancy["level"])))]
    said.append(f"on {basis['kind']}, sure{legend.mark('sure', _sureness(basis))}")
    if related := basis.get("relatives"):
        said.append(f"kin {_kin(related)}")
    if plan["outcome"] != "plan":
        said.insert(0, plan["outcome"].upper())
    if plan["cautions"]:
        said.append(_codes("!", plan["cautions"], name, legend))
    if plan["advice"]:
        said.append(_codes("advice", plan["advice"], name, legend))
    said += [
        f"unmet {item['obstacle']}{' (optional)' if item['optional'] else ''} unmet{legend.mark('unmet', item['because'])}"
        for item in plan["unmet"]
    ]
    if refused := [f"{r['kind']}: {r['because']}{_when(r.get('when', {}))}" for r in plan["ruled_out"]]:
        said.append(_codes("not", refused, name, legend))
    return "; ".join(said)


def _sureness(basis: Data) -> str:
    """How sure, without the names and shares of relatives, which nearly every new entry moves."""
    sentences = re.findall(r"Plans on such ground agreed .*? trials|What decides is .*?source", basis["note"])
    related = basis.get("relatives", {})
    differ = [f"relatives differ, treated as {related['serving']}"] if related.get("differ") else []
    return ". ".join([f"{basis['kind']} {basis['confidence']}", *sentences, *differ])


def _kin(related: Data) -> str:
    """`genus PY*,PD(family)`: classes of the relatives, the likeliest first; `*` where a survey states it for all of them."""
    classes = [
        item["class"]
        + ("*" if item["stated"] else "")
        + (f"({item['rank']})" if item["rank"] != related["rank"] else "")
        for item in related["classes"]
    ]
    return f"{related['rank']} {','.join(classes)}"


def _when(when: Mapping[str, Iterable[str]]) -> str:
    return "".join(f" ({how} {', '.join(words)})" for how, words in when.items() if words)


def plan_lines(plan: Data, name: str, legend: Legend) -> list[str]:
    """The head, the steps, and how a part of the lot is treated where relatives differ."""
    lines = [head_line(plan, name, legend)]
    if plan["steps"]:
        lines.append("; ".join(step_line(step, name, legend) for step in plan["steps"]))
    for split in plan["splits"]:
        supposed = ", ".join(f"{key}={word}" for key, word in split["observed"].items())
        lines.append(f"part as {supposed}: {split['text']}")
    return lines


def other_steps(steps: Iterable[Data], usual: Iterable[Data], name: str, legend: Legend) -> str:
    """Steps beside the usual plan's: one that is the same there to the letter is only named, `=nick`."""
    there = {step_line(step, name, legend) for step in usual}
    lines = [(step["kind"], step_line(step, name, legend)) for step in steps]
    return "; ".join(f"={kind}" if line in there else line for kind, line in lines)


def alternative_lines(plan: Data, name: str, legend: Legend) -> list[str]:
    """`without blade: =inspect; =soak; hot_water/1 …`."""
    return [
        f"{_when(other['when']).strip(' ()')}: {other_steps(other['steps'], plan['steps'], name, legend)}"
        + (f"; unmet {', '.join(other['unmet'])}" if other["unmet"] else "")
        for other in plan["alternatives"]
    ]


def setting_lines(usual: Data, others: Mapping[str, Data], name: str, legend: Legend) -> list[str]:
    """One line a setting whose plan is not the usual one; the settings that change nothing together on the last."""
    lines, same = [], []
    usual_head = head_line(usual, name, legend)
    usual_steps = other_steps(usual["steps"], usual["steps"], name, legend)
    for setting, plan in others.items():
        head, steps = head_line(plan, name, legend), other_steps(plan["steps"], usual["steps"], name, legend)
        if head == usual_head and steps == usual_steps:
            same.append(setting)
        else:
            changed = [f"({head})"] if head != usual_head else []
            lines.append(f"{setting}: " + " ".join([*changed, steps]).strip())
    return lines + ([f"as usual: {'; '.join(same)}"] if same else [])


def claim_lines(claims: Iterable[Any]) -> list[str]:
    """`gosling-2007: cold yes 21-42d, warm no`: what agreement takes each source of a species to say."""
    said = []
    for claim in claims:
        words = [
            f"{what} {'yes' if give else 'no'}" + ("" if what not in claim.days else f" {_span(claim.days[what])}d")
            for what, give in sorted(claim.give.items())
        ]
        said.append(f"{claim.source}: {', '.join(words)}")
    return said


def _span(days: tuple[float, float]) -> str:
    return f"{days[0]:g}-{days[1]:g}"


# --- files


def as_text(head: str, found: Mapping[str, Iterable[str]]) -> str:
    """A comment, then each block: its name with its first line, the others indented."""
    comment = "".join(f"# {line}\n" for line in head.strip().splitlines())
    return comment + "".join(
        "\n  ".join([f"{name}: {first}".rstrip(), *rest]) + "\n" for name, (first, *rest) in found.items()
    )


def blocks(text: str) -> dict[str, list[str]]:
    """A file as `as_text` wrote it: the lines by the name that they stand under."""
    found: dict[str, list[str]] = {}
    name = ""
    for line in text.splitlines():
        if line.startswith("  "):
            found[name].append(line[2:])
        elif line and not line.startswith("#"):
            name, _, first = line.partition(":")
            found[name] = [first.strip()]
    return found


def difference(before: str, now: str, most: int = 40) -> list[str]:
    """What changed, equal changes together, the commonest first: `- gone`, `+ come`, and in which blocks."""
    was, is_now = blocks(before), blocks(now)
    changes: dict[tuple[str, ...], dict[str, None]] = defaultdict(dict)
    for name in sorted(was.keys() | is_now.keys()):
        old, new = (re.split("; |\n", "\n".join(found.get(name, []))) for found in (was, is_now))
        for change in _moved(old, new):
            changes[change][name] = None
    shown = []
    for change, of in sorted(changes.items(), key=lambda item: -len(item[1])):
        names = list(of)
        some = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
        shown.append("\n".join([f"{some}:", *(f"  {text}" for text in change)]))
    rest = [f"… and {len(shown) - most} more kinds of change"] if len(shown) > most else []
    return [*shown[:most], *rest]


def _moved(old: list[str], new: list[str]) -> Iterator[tuple[str, ...]]:
    """The pieces that differ; of a piece that is still of the same kind only the words that differ."""
    for what, a, b, c, d in difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if what == "replace" and b - a == d - c and all(map(_same_kind, old[a:b], new[c:d])):
            yield from (_words_moved(*pair) for pair in zip(old[a:b], new[c:d], strict=True) if pair[0] != pair[1])
        elif what != "equal":
            yield (*(f"- {text}" for text in old[a:b]), *(f"+ {text}" for text in new[c:d]))


def _same_kind(a: str, b: str) -> bool:
    return _kind(a) == _kind(b)


def _kind(piece: str) -> str:
    return re.split(r"[/ ]", piece.lstrip("[="))[0]


def _words_moved(old: str, new: str) -> tuple[str, ...]:
    a, b = old.split(), new.split()
    moves = [m for m in difflib.SequenceMatcher(None, a, b, autojunk=False).get_opcodes() if m[0] != "equal"]
    gone, come = (
        " … ".join(" ".join(a[m[1] : m[2]]) for m in moves),
        " … ".join(" ".join(b[m[3] : m[4]]) for m in moves),
    )
    return f"{_kind(old)}: - {gone}", f"{' ' * len(_kind(old))}  + {come}"
