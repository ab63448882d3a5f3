"""Every result that a reader's choices can lead to, worked out at build: the page only looks them up and adds days.

A plan is a sequence of steps. Which sequence depends on what the grower has and how large the lot is; the numbers and texts
of one step on what the lot has had already and where it is from. So there is one table that leads from choices to a sequence,
and one for each step of a sequence that leads to the step as it then reads. A table keeps only the choices that change it.
"""

from __future__ import annotations

import marshal
from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from typing import Any, NamedTuple

from rousewort.planning.choose import Sequence as Chain
from rousewort.planning.grower import Grower
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.plan_json import step_json
from rousewort.planning.steps import Step
from rousewort.schedule.durations import Lasting, emergence, lasting
from rousewort.schedule.seasons import Seasons
from rousewort.schedule.weights import SeedWeight, seeds_per_gram

# Days already given that a reader can choose.
DAYS_GIVEN = (14, 30, 60, 90, 120)


class Field(NamedTuple):
    """One thing that a reader sets. `name`: the option of the command line that it stands for, `word` what it names.

    `values`: what can be chosen, as `Grower` has it; of numbers of seeds each stands for all up to the next. `usual`: the
    place of what is taken where nothing is said.
    """

    name: str
    word: str | None
    values: tuple[Any, ...]
    usual: int


class SettingsTable(NamedTuple):
    """A result for each combination of choices. `by`: field, and for each of its values which of the `sizes` it falls in;
    the first field turns fastest."""

    by: tuple[tuple[int, tuple[int, ...]], ...]
    at: tuple[Any, ...]

    def of(self, choice: Sequence[int]) -> Any:
        place, stride = 0, 1
        for number, groups in self.by:
            place += groups[choice[number]] * stride
            stride *= max(groups) + 1
        return self.at[place]


class Variant(NamedTuple):
    """A step as it reads for some choices: its JSON, how long it lasts, the season it waits for outside, and when
    seedlings follow it if it sows. Days."""

    step: Mapping[str, Any]
    lasts: Lasting
    season: str | None
    seedlings: Lasting | None


class SettingResult(NamedTuple):
    """A sequence, or why there is none. `steps`: for each step a table that leads to places in `Settings.variants`."""

    outcome: str
    advice: tuple[str, ...]
    unmet: tuple[Mapping[str, Any], ...]
    splits: tuple[Mapping[str, Any], ...]
    steps: tuple[SettingsTable, ...]


class Settings(NamedTuple):
    """`route` leads to a place in `results`; `cautions` to cautions that the lot calls for beyond the plan's own.

    `per_gram`: the seeds in a gram to reckon with, where anything tells them.
    """

    fields: tuple[Field, ...]
    route: SettingsTable
    results: tuple[SettingResult, ...]
    variants: tuple[Variant, ...]
    cautions: tuple[SettingsTable, ...]
    per_gram: SeedWeight | None

    @property
    def usual(self) -> tuple[int, ...]:
        return tuple(field.usual for field in self.fields)

    @property
    def changes_something(self) -> bool:
        """Whether there is anything to date, or what the reader has makes a difference."""
        return len(self.results) > 1 or any(result.steps for result in self.results)

    def result(self, choice: Sequence[int]) -> SettingResult:
        result: SettingResult = self.results[self.route.of(choice)]
        return result

    def steps(self, choice: Sequence[int]) -> list[Variant]:
        return [self.variants[table.of(choice)] for table in self.result(choice).steps]


def settings(planner: Planner, plan: Plan) -> Settings:
    """The choices of one species and where each leads. Nothing is reasoned here that the planner does not reason."""
    return _Worker(planner, plan).settings()


def grower_of(planner: Planner, fields: Sequence[Field], choice: Sequence[int]) -> Grower:
    """The grower of a choice."""
    equipment = planner.kb.vocabulary.files["equipment"]
    has = set(planner.usual_grower.has)
    allows: set[str] = set()
    had: dict[str, Any] = {}
    rest: dict[str, Any] = {}
    for field, place in zip(fields, choice, strict=True):
        value, word = field.values[place], field.word or ""
        if field.name == "have":
            gated = equipment[word].get("permission")
            (has.discard if not value else allows.add if gated else has.add)(word)
        elif field.name == "had":
            had |= {word: value} if value else {}
        else:
            rest[field.name] = value
    return planner.usual_grower._replace(has=frozenset(has), allows=frozenset(allows), had=had, **rest)


class _Worker:
    """Works out the settings of one plan. Steps are made once for all that they do not depend on."""

    def __init__(self, planner: Planner, plan: Plan) -> None:
        self.planner, self.plan, self.kb = planner, plan, planner.kb
        self.habits = self.kb.vocabulary.calendar
        self.seasons = Seasons(self.habits)
        self.variations = planner.variations(plan)
        self.variants: list[Variant] = []
        self.places: dict[Any, int] = {}
        self.tables: dict[Any, SettingsTable] = {}
        self.by_object: dict[int, tuple[int, Step]] = {}

    def settings(self) -> Settings:
        fields = (*self._equipment(), *self._lot())
        route, results = self._route(fields)
        weight = seeds_per_gram(self.kb, self.plan.match.name or self.plan.query)
        everything = Settings(fields, route, results, tuple(self.variants), tuple(self._cautions(fields)), weight)
        return _without_idle(everything)

    # --- what can be set

    def _equipment(self) -> Iterator[Field]:
        kb = self.kb
        offered = {need for offer in self.plan.findings.offers for need in kb.treatments[offer.kind]["needs"]}
        for word, item in kb.vocabulary.files["equipment"].items():
            if word in offered:
                yield Field("have", word, (False, True), int(item["assumed"]))

    def _lot(self) -> Iterator[Field]:
        lots = self.kb.vocabulary.files["lots"]
        obstacles = self.kb.vocabulary.obstacles
        if any(obstacles[o].get("gone_when_cleaned") for o in self.plan.findings.obstacles):
            yield Field("cleaned", None, (False, True), 0)
        yield Field("seeds", None, (None, *self._sizes()), 0)
        for part in ("stored", "provenance"):
            yield Field(part, None, (None, *lots[part]), 0)
        for kind in self.kb.vocabulary.kinds.given_before:
            if any(offer.kind == kind for offer in self.plan.findings.offers):
                yield Field("had", kind, (0, *DAYS_GIVEN), 0)
        yield Field("dried_since", None, (False, True), 0)

    def _sizes(self) -> tuple[int, ...]:
        """Sizes of a lot from which on something changes: each small one is told by its number, then those of treatments."""
        bands = self.kb.vocabulary.files["bands"]
        small, bulk = bands["small_lot"]["most"], bands["bulk_lot"]["least"]
        edges = {bulk} | {edge for lot in self._limits() for edge in (lot.get("least", 1), lot.get("most", 0) + 1)}
        return tuple(sorted({*range(1, small + 2), *edges}))

    def _limits(self) -> list[Mapping[str, int]]:
        """How small or large a lot the treatments in question are for."""
        kinds = {offer.kind for offer in self.plan.findings.offers}
        if self.plan.facts.relatives is not None:  # another class is spoken of too, with treatments of its own
            kinds = set(self.kb.treatments)
        return [lots for kind in sorted(kinds) if (lots := self.kb.treatments[kind].get("lots"))]

    # --- which sequence

    def _route(self, fields: tuple[Field, ...]) -> tuple[SettingsTable, tuple[SettingResult, ...]]:
        numbers = [i for i, field in enumerate(fields) if field.name in ("have", "cleaned")]
        seeds = next(i for i, field in enumerate(fields) if field.name == "seeds")
        groups, firsts = self._size_groups(fields[seeds].values)
        results: list[SettingResult] = []
        places: dict[Any, int] = {}
        at = []
        for size in firsts:
            for picked in product(*(range(len(fields[i].values)) for i in reversed(numbers))):
                choice = [field.usual for field in fields]
                choice[seeds] = size
                for i, place in zip(reversed(numbers), picked, strict=True):
                    choice[i] = place
                at.append(self._result(fields, grower_of(self.planner, fields, choice), results, places))
        table = shrink([*((i, len(fields[i].values)) for i in numbers), (seeds, len(firsts))], at)
        by = tuple((i, tuple(own[g] for g in groups) if i == seeds else own) for i, own in table.by)
        return table._replace(by=by), tuple(results)

    def _size_groups(self, sizes: Sequence[int | None]) -> tuple[list[int], list[int]]:
        """Of sizes of a lot that the same treatments mind, the number of their group; and the first size of each group."""
        limits = self._limits()
        seen: dict[tuple[bool, ...], int] = {}
        groups = []
        for size in sizes:
            minded = tuple(
                size is not None and not lot.get("least", 0) <= size <= lot.get("most", size) for lot in limits
            )
            groups.append(seen.setdefault(minded, len(seen)))
        return groups, [groups.index(group) for group in range(len(seen))]

    def _result(
        self, fields: tuple[Field, ...], grower: Grower, results: list[SettingResult], places: dict[Any, int]
    ) -> int:
        said = self.variations.answer(grower)
        done = self.variations.done(said, grower)
        usual = self.variations.steps(done, grower._replace(seeds=None)) if done else ()
        key = (tuple(map(id, usual)), said.outcome, said.advice, same_bytes((said.unmet, said.splits)))
        if key not in places:
            steps = self._tables(fields, done, usual, grower) if done else ()
            places[key] = len(results)
            results.append(SettingResult(said.outcome, said.advice, said.unmet, said.splits, steps))
        return places[key]

    # --- how each of its steps reads

    def _tables(
        self, fields: tuple[Field, ...], chain: Chain, usual: tuple[Step, ...], grower: Grower
    ) -> tuple[SettingsTable, ...]:
        """`usual`: the steps of the chain for a lot of any size. A step is one object wherever it reads the same, and all
        of these are kept in `by_object`, so their ids can be part of a key."""
        bulk = self.kb.vocabulary.files["bands"]["bulk_lot"]["least"]
        few, much = (self.variations.steps(chain, grower._replace(seeds=seeds)) for seeds in (1, bulk))
        tables, kinds = [], self.kb.vocabulary.kinds
        for place, step in enumerate(usual):
            # What a lot has had is spent on the first steps, and counts only where all before it was done: so all of these
            # belong to such a step's key.
            before = usual[: place + 1] if step.kind in kinds.given_before else (step,)
            key = tuple(map(id, before))
            if key not in self.tables:
                given = {s.kind for s in before} & set(kinds.given_before)
                by_size = not step == few[place] == much[place]
                self.tables[key] = self._table(fields, chain, grower, place, by_size, given)
            tables.append(self.tables[key])
        return tuple(tables)

    def _table(
        self, fields: tuple[Field, ...], chain: Chain, grower: Grower, place: int, by_size: bool, given: set[str]
    ) -> SettingsTable:
        """`given`: the kinds of step, it and those before it, whose days already given change how it reads."""
        touched: tuple[str, ...] = ("seeds",) if by_size else ()
        touched += ("provenance", "dried_since") if given else ()
        axes = [i for i, f in enumerate(fields) if f.name in touched or (f.name == "had" and f.word in given)]
        at = []
        for picked in product(*(range(len(fields[i].values)) for i in reversed(axes))):
            change: dict[str, Any] = {"seeds": None, "had": {}}
            for i, chosen in zip(reversed(axes), picked, strict=True):
                field, value = fields[i], fields[i].values[chosen]
                if field.name == "had":
                    change["had"] |= {field.word: value} if value else {}
                else:
                    change[field.name] = value
            at.append(self._variant(self.variations.steps(chain, grower._replace(**change))[place]))
        return shrink([(i, len(fields[i].values)) for i in axes], at)

    def _variant(self, step: Step) -> int:
        if id(step) in self.by_object:
            return self.by_object[id(step)][0]
        data = step_json(step)
        key = same_bytes(data)
        if key not in self.places:
            self.places[key] = len(self.variants)
            season = self.seasons.row(data)["season"] if self.seasons.rule(data) else None
            lasts = lasting(data, self.habits["overnight"]["hours"])
            self.variants.append(Variant(data, lasts, season, emergence(data, self.habits)))
        self.by_object[id(step)] = (self.places[key], step)  # the step is kept, so that no other gets its id
        return self.places[key]

    # --- what else depends on the lot

    def _cautions(self, fields: tuple[Field, ...]) -> Iterator[SettingsTable]:
        own = set(self.plan.cautions)
        for i, field in enumerate(fields):
            if field.name in ("stored", "provenance"):
                growers = [self.planner.usual_grower._replace(**{field.name: value}) for value in field.values]
                said = [self.variations.cautions(grower) for grower in growers]
                yield shrink([(i, len(said))], [tuple(text for text in texts if text not in own) for texts in said])


def same_bytes(data: Any) -> bytes:
    """Plain data as bytes that are the same where it is the same; faster than JSON, and never kept."""
    return marshal.dumps(data, 2)  # the last form in which what is merely equal is written alike


def shrink(axes: Sequence[tuple[int, int]], at: Sequence[Any]) -> SettingsTable:
    """A table without what it does not depend on. `axes`: field and number of its values; the first turns fastest."""
    sizes = [size for _, size in axes]
    values = list(at)
    by = []
    for k, (number, _) in enumerate(axes):
        inner = 1
        for size in sizes[:k]:
            inner *= size
        size = sizes[k]
        slices: dict[tuple[Any, ...], int] = {}
        groups = []
        for place in range(size):
            key = tuple(
                v for start in range(place * inner, len(values), inner * size) for v in values[start : start + inner]
            )
            groups.append(slices.setdefault(key, len(slices)))
        if len(slices) < size:
            first = [groups.index(group) for group in range(len(slices))]
            values = [
                v
                for start in range(0, len(values), inner * size)
                for place in first
                for v in values[start + place * inner : start + (place + 1) * inner]
            ]
            sizes[k] = len(slices)
        if len(slices) > 1:
            by.append((number, tuple(groups)))
    return SettingsTable(tuple(by), tuple(values))


def _without_idle(made: Settings) -> Settings:
    """Leave out fields that change nothing, and values that are as good as another (of numbers: as the one before)."""
    tables = [made.route, *made.cautions, *(table for result in made.results for table in result.steps)]
    ways: dict[int, list[tuple[int, ...]]] = {}
    for table in tables:
        for number, groups in table.by:
            ways.setdefault(number, []).append(groups)
    kept: dict[int, list[int]] = {}
    for number, field in enumerate(made.fields):
        if number not in ways:
            continue
        seen = [tuple(groups[place] for groups in ways[number]) for place in range(len(field.values))]
        kept[number] = [p for p in range(len(seen)) if p == field.usual or _counts(field, p, seen)]
    numbers = [number for number, places in kept.items() if len(places) > 1]

    def again(table: SettingsTable) -> SettingsTable:
        by = tuple(
            (numbers.index(number), tuple(groups[place] for place in kept[number])) for number, groups in table.by
        )
        return table._replace(by=by)

    fields = tuple(
        f._replace(values=tuple(f.values[p] for p in kept[n]), usual=kept[n].index(f.usual))
        for n in numbers
        for f in (made.fields[n],)
    )
    results = tuple(result._replace(steps=tuple(map(again, result.steps))) for result in made.results)
    cautions = tuple(table for table in map(again, made.cautions) if table.by)
    return made._replace(fields=fields, route=again(made.route), results=results, cautions=cautions)


def _counts(field: Field, place: int, seen: list[tuple[int, ...]]) -> bool:
    """Whether a value leads anywhere that the usual one, or for a number the one before it, does not."""
    if field.name == "seeds":
        return place == 1 or seen[place] != seen[place - 1]
    if field.name == "had":
        return seen[place] != seen[field.usual] and seen[place] not in seen[:place]
    return seen[place] != seen[field.usual]
