"""Tables with a row a day (or an hour, or a minute): how they are to be read, and the readings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import islice

import numpy as np

from rainharvest.core.errors import shortened
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_columns import Roles, Unit, given_unit, parse_unit, plain, roles, unit_in_name
from rainharvest.rainfall.read_days import SUB_DAILY, Readings, one_step_each, refuse_apart, usual_step
from rainharvest.rainfall.read_layout import (
    Preamble,
    Table,
    is_comment,
    read_preamble,
    split,
    split_rows,
    unit_in_preamble,
)
from rainharvest.rainfall.read_values import (
    FIRST_YEAR,
    LAST_YEAR,
    LIMITS,
    DateForm,
    apply_quality,
    assemble,
    decimal_comma,
    drop_codes,
    each,
    factorize,
    find_form,
    has_digit,
    lay_marks,
    month_number,
    numbers,
    plural,
    refuse_odd,
    stated_days,
)
from rainharvest.rainfall.refusals import refusal, refuse_unless


@dataclass(frozen=True)
class Hints:
    """What the caller says where the file leaves doubt."""

    column: str | None = None
    units: str | None = None
    day_first: bool | None = None
    at: object = None


def one_of(names: Sequence[str], at: object, kind: str = "site") -> int:
    """Return which of the sites of a file ``at`` names; several are a doubt that it settles."""
    shown = ", ".join(names[:12])
    refuse_unless(at is not None or len(names) == 1, "which_site", kind=kind, names=shown)
    wanted = names[0] if at is None else str(at).strip()
    found = [i for i, name in enumerate(names) if name.lower() == wanted.lower()]
    refuse_unless(len(found) == 1, "no_such_site", kind=kind, at=at, names=shown)
    return found[0]


_HOUR = re.compile(r"[01]?\d|2[0-4]")


@dataclass(frozen=True)
class Plan:
    """How the rows are read, settled on the first chunk."""

    form: DateForm | None  # None where the parts of the date stand in columns of their own
    unit: Unit
    comma: bool
    missing: tuple[float, ...]
    trace: tuple[float, ...]
    stamp_ends: bool
    step: float = 0.0


@dataclass(frozen=True)
class Chunk:
    """Some rows of a table."""

    table: Table
    role: Roles
    rows: list[tuple[str, ...]]
    lines: np.ndarray  # The line of the file on which each stands

    def column(self, place: int) -> list[str]:
        """Return one column; rows may be short."""
        return [row[place].strip() if len(row) > place else "" for row in self.rows]

    @cached_property
    def dates(self) -> list[str]:
        """The cells that hold the date, and the time of the clock where a column of its own has it."""
        date, *clock = map(self.column, self.role.date)
        times = [] if not clock else [f"{c}:00" if _HOUR.fullmatch(c) else c for c in clock[0]]
        timed = ":" in next(filter(None, times), "")
        return [f"{day} {time}" for day, time in zip(date, times, strict=True)] if timed else date


def settle(chunk: Chunk, preamble: Preamble, hints: Hints, fixed: Unit | None, notes: list[str]) -> Plan:
    """Decide unit, decimals and date form on the first chunk; doubt raises."""
    table, role = chunk.table, chunk.role
    name = table.names[role.rain]
    if not table.headed:
        notes.append(f"the file names no columns; {name} was taken for the rain")
    explained, trace = unit_in_preamble(table.preamble, name)
    under = table.unit_row[role.rain] if len(table.unit_row) > role.rain else ""
    stated = [fixed] if fixed else [unit_in_name(name), parse_unit(under), explained]
    unit = file_unit(hints, stated, preamble, name, notes)
    if comma := decimal_comma(chunk.column(role.rain), table.separator):
        notes.append("decimals are written with a comma")
    form = None
    if role.parts.startswith("date"):
        dated = [c for c in chunk.dates if has_digit(c)]
        form = find_form(dated, hints.day_first)
        cell = (dated or chunk.dates or [""])[0]
        refuse_unless(form, "no_date", cell=cell, column=table.names[role.date[0]])
        notes += form.notes
        if form.zone:
            notes.append(
                f"the times carry the offset {form.zone} and were taken for the local clock as they stand"
            )
    if ends := _ends_at_24(chunk):
        notes.append("an hour 24 occurs, so that stamps are the end of each reading")
    return Plan(form, unit, comma, preamble.missing, (*preamble.trace, *trace), ends)


def file_unit(
    hints: Hints, stated: Sequence[Unit | None], preamble: Preamble, name: str, notes: list[str]
) -> Unit:
    """Return the unit that the caller, the columns or the preamble settle."""
    asked = given_unit(hints.units)
    found = [u for u in (*stated, preamble.unit) if u] or [u for u in (preamble.titled,) if u]
    if asked:
        notes.append(f"rain was read in {asked.text}, as asked")
        if found and found[0].factor != asked.factor:
            notes.append(f"the file itself says {found[0].text}")
        return asked
    refuse_unless(found, "no_unit_stated", name=name)
    other = next((u for u in found if u.factor != found[0].factor), found[0])
    refuse_unless(other is found[0], "two_units_stated", name=name, one=found[0].text, other=other.text)
    return found[0]


def _stamps(chunk: Chunk, plan: Plan) -> np.ndarray:
    """Return the moment of each row, NaT where it has no date."""
    role = chunk.role
    if plan.form:
        return plan.form.read(chunk.dates)
    parts = {
        word: _integers(chunk.column(i), word) for i, word in zip(role.date, role.parts.split(), strict=True)
    }
    year, none = parts["year"], np.zeros_like(parts["year"])
    seconds = parts.get("hour", none) * 3600 + parts.get("minute", none) * 60
    if "doy" in parts:
        return assemble(year, none, parts["doy"], seconds)
    return assemble(year, np.where(parts["month"] == 0, 13, parts["month"]), parts["day"], seconds)


def _ends_at_24(chunk: Chunk) -> bool:
    """Tell whether an hour 24 occurs: then stamps are the end of each reading."""
    role = chunk.role
    if "hour" in role.parts:
        place = role.date[role.parts.split().index("hour")]
        return "24" in {cell.removesuffix(".0") for cell in chunk.column(place)}
    dated = role.parts.startswith("date")
    return dated and any(re.search(r"(?:^|[T ,:])24[:.]00|^\d{8}24(?:00)?$", cell) for cell in chunk.dates)


def _integers(cells: list[str], word: str) -> np.ndarray:
    """Read whole numbers (1990.0 too) or month names; -1 where it is neither."""

    def whole(cell: str) -> int:
        text = cell.removesuffix(".0")
        if text.isascii() and text.isdigit() and len(text) < 5:
            return int(text)
        return month_number(text) if word == "month" else -1

    return each(cells, whole, np.int64)


def _refuse_torn(chunk: Chunk, dated: np.ndarray) -> None:
    """Refuse a row too short among rows separated by blanks: which cell is missing cannot be told."""
    rows, role = chunk.rows, chunk.role
    width = max(len(row) for row in rows)
    full = next(row for row in rows if len(row) == width)
    after = numbers(list(full[role.rain + 1 :]), False)[0]
    if all(i in role.date for i in range(role.rain)) and np.isnan(after).all():
        return  # nothing but flags and remarks can be missing, or the rain itself
    torn = dated & np.array([len(row) < width for row in rows])
    i = int(torn.argmax())
    refuse_unless(not torn.any(), "short_row", count=len(rows[i]), width=width, line=chunk.lines[i])


def _refuse_long(chunk: Chunk) -> None:
    """Refuse a row with more cells than columns, unless only words after the rain are too many."""
    width = len(chunk.table.names)
    for i, row in enumerate(chunk.rows):
        if len(row) > width and any(cell.strip() for cell in row[width:]):
            after = numbers([c.strip() for c in row[chunk.role.rain + 1 :]], False)[0]
            words = np.isnan(after).all()
            refuse_unless(words, "long_row", count=len(row), width=width, line=chunk.lines[i])


def _sort_undated(
    chunk: Chunk, plan: Plan, values, dated: np.ndarray, pending: list, notes: list[str]
) -> None:
    """Sort out rows without a date: repeated headers, days that do not exist, a foot; else an error."""
    rows, lines, table = chunk.rows, chunk.lines, chunk.table
    header = [plain(n) for n in table.names]
    again = {tuple(split(line, table.separator)) for line in table.preamble} | {table.unit_row}
    headers = blanks = 0
    last = np.flatnonzero(dated)[-1] if dated.any() else -1
    for i in np.flatnonzero(~dated):
        text = " ".join(rows[i][k] for k in chunk.role.date if k < len(rows[i])).strip()
        if [plain(c) for c in rows[i]] == header or tuple(c.strip() for c in rows[i]) in again:
            headers += 1
        elif np.isnan(values[i]) and not plan.form and has_digit(text):
            blanks += 1
        elif has_digit(text) or i < last:
            _raise_undated((lines[i], text), plan)
        else:
            pending.append((lines[i], " ".join(rows[i])[:60].strip()))
    if dated.any() and pending and pending[0][0] < lines[last]:
        _raise_undated(pending[0], plan)
    if headers:
        notes.append(f"{plural(headers, 'line')} of the header again among the rows left out")
    if blanks:
        notes.append(f"{plural(blanks, 'blank row')} for days that do not exist left out")


def _raise_undated(row: tuple[int, str], plan: Plan) -> None:
    """Raise the error of a row whose date is none."""
    form = f"a {plan.form.name} date like the others" if plan.form else "a day of the calendar"
    raise refusal("undated_row", text=row[1], form=form, line=row[0])


CHUNK = 1 << 16  # rows held as text at a time


def text_rows(lines: Iterable[str], table: Table) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Split lines into rows, leaving out blanks and remarks."""
    body = (
        (at, line)
        for at, line in enumerate(lines, 1)
        if at > table.first_row and not line.isspace() and not is_comment(line)
    )
    if table.separator == " ":
        for at, line in body:
            yield at, tuple(split(line, " "))
        return
    for at, row in split_rows(body, table.separator, skipinitialspace=True):
        yield at, tuple(row)


def read_rows(
    rows: Iterable[tuple[int, tuple[str, ...]]], table: Table, hints: Hints, fixed: Unit | None = None
) -> Iterator[Readings]:
    """Read the rows of a table, a chunk at a time."""
    preamble = read_preamble(table.preamble)
    role = roles(table.names, table.date, hints.column)
    plan, pending, sites, most, held = None, [], set(), LIMITS["rows"].value, 0
    rows = iter(rows)
    while some := list(islice(rows, CHUNK)):
        chunk = Chunk(
            table, role, [row for _, row in some], np.array([line for line, _ in some], dtype=np.int32)
        )
        refuse_unless(some[-1][0] <= most, "many_rows", most=most)
        chunk = _one_site(chunk, hints, sites)
        if not chunk.rows:
            continue
        held += len(chunk.rows)
        too_many = plan is not None and held * plan.step > (LAST_YEAR - FIRST_YEAR) * 366 * 86400
        refuse_unless(not too_many, "more_rows_than_readings", first=FIRST_YEAR, last=LAST_YEAR)
        facts, notes = {}, []
        if plan is None:
            role = _hours_of_rain(chunk)
            chunk = replace(chunk, role=role)
            facts = preamble.facts | _facts(chunk)
            plan = settle(chunk, preamble, hints, fixed, notes)
        readings = _read_chunk(chunk, plan, pending, notes)
        if not plan.step:
            refuse_apart(readings)
        plan = replace(plan, step=readings.step)
        yield replace(readings, facts=facts, notes=tuple(notes), stamp_ends=plan.stamp_ends)
    if plan is None and hints.at is not None and sites:
        one_of(sorted(sites), hints.at)
    refuse_unless(plan, "no_rows")
    if pending:
        left = f"{plural(len(pending), 'row')} at the end without a date ({pending[0][1]!r}) left out"
        yield one_step_each(
            *(np.array([], kind) for kind in ("datetime64[s]", float, np.int8)), notes=(left,)
        )


def _hours_of_rain(chunk: Chunk) -> Roles:
    """Return the roles, where plain hours beside dates that mostly stand once are hours of rain and no clock."""
    role = chunk.role
    if role.parts != "date clock":
        return role
    days, hours = map(chunk.column, role.date)
    lasting = all(_HOUR.fullmatch(hour) for hour in hours if hour) and 4 * len({*days}) > 3 * len(days)
    return replace(role, date=role.date[:1], parts="date") if lasting else role


def _one_site(chunk: Chunk, hints: Hints, seen: set[str]) -> Chunk:
    """Keep the rows of one site; several sites are a doubt that ``at=`` settles."""
    role, rows = chunk.role, chunk.rows
    if role.site < 0:
        return chunk
    codes, names = factorize(chunk.column(role.site))
    seen.update(names)
    if hints.at is not None:
        wanted = str(hints.at).strip().lower()
        keep = np.array([n.lower() == wanted for n in names], dtype=bool)[codes]
        return replace(
            chunk, rows=[row for row, k in zip(rows, keep, strict=True) if k], lines=chunk.lines[keep]
        )
    if len(seen - {""}) > 1:
        dates = {tuple(row[i] for i in role.date if i < len(row)) for row in rows}
        if len(dates) < len(rows):
            one_of(sorted(seen - {""}), None)
    return chunk


def _facts(chunk: Chunk) -> dict[str, object]:
    """Return the place and the site that columns of the first row tell."""
    facts: dict[str, object] = {}
    first = replace(chunk, rows=chunk.rows[:1])
    for name, place in chunk.role.places:
        value = float(numbers(first.column(place), False)[0][0])
        if np.isfinite(value):
            facts[name] = value
    if chunk.role.site >= 0:
        facts["site"] = shortened(first.column(chunk.role.site)[0], 120)
    return facts


def _read_chunk(chunk: Chunk, plan: Plan, pending: list, notes: list[str]) -> Readings:
    table, role = chunk.table, chunk.role
    stamps = _stamps(chunk, plan)
    cells = chunk.column(role.rain)
    values, flags, marked, odd = numbers(cells, plan.comma, plan.missing, plan.trace)
    dated = ~np.isnat(stamps)
    if table.separator == " ":
        _refuse_torn(chunk, dated)
    elif table.headed:
        _refuse_long(chunk)
    if not dated.all():
        _sort_undated(chunk, plan, values, dated, pending, notes)
    elif pending:
        _raise_undated(pending[0], plan)
    refuse_odd(odd & dated, cells, chunk.lines, table.names[role.rain])
    values[~dated], flags[~dated] = np.nan, Flag.MISSING
    if count := int((marked & dated).sum()):
        notes.append(f"{plural(count, 'value')} that the source marks with a sign kept")
    drop_codes(values, flags, plan.unit.factor, notes, plan.missing)
    step = plan.step or usual_step(stamps[dated])
    if plan.stamp_ends and step >= SUB_DAILY:
        ended = stamps - np.timedelta64(1, "s")  # hour 24 is of the day that it ends
        stamps = ended.astype("datetime64[D]").astype("datetime64[s]")
    if plan.form and plan.form.zone and step < SUB_DAILY:
        moved = plan.form.clock_changes(chunk.dates)
        stamps = stamps + moved
        if moved.any():
            notes.append(f"readings of another offset were put to the clock of {plan.form.zone}")
    total = _totals(chunk, values)
    if role.end >= 0 > role.days and step >= SUB_DAILY:
        total = _to_the_end(chunk, plan, stamps, values, notes)
        stamps = stamps + (total - 1).astype("timedelta64[D]")
    for place in (role.quality, role.remark):
        if place >= 0:
            said = np.where(np.isnan(values), 0, stated_days(chunk.column(place)))
            flags[said != 0] = Flag.TOTAL
            total = np.where(said > 0, said, total)
    if role.quality >= 0:
        notes += apply_quality(table.names[role.quality], chunk.column(role.quality), values, flags)
    lay_marks(stamps.astype("datetime64[D]"), values, flags, total, notes)
    rain = plan.unit.mm(values, step)
    return Readings(stamps[dated], rain[dated], flags[dated], total[dated], chunk.lines[dated], step=step)


def _totals(chunk: Chunk, values: np.ndarray) -> np.ndarray:
    """Return the days over which each value was measured."""
    place, most = chunk.role.days, LIMITS["longest_total"].value
    if place < 0:
        return np.ones(len(values), dtype=np.int16)
    cells = chunk.column(place)
    days, _, _, odd = numbers(cells, False)
    if chunk.role.hours:
        days = days / 24 if (days > 24).any() else np.ones(len(days))
    whole = np.isnan(days) | ((days >= 1) & (days <= most) & (days % 1 == 0))
    wrong = ~np.isnan(values) & (odd | ~whole)
    row = int(wrong.argmax())
    facts = {"cell": cells[row], "most": most, "times": " times 24" * chunk.role.hours}
    where = {"line": chunk.lines[row], "column": chunk.table.names[place]}
    refuse_unless(not wrong.any(), "no_number_of_days", **facts, **where)
    return np.where(np.isnan(days) | np.isnan(values), 1, days).astype(np.int16)


def _to_the_end(
    chunk: Chunk, plan: Plan, stamps: np.ndarray, values: np.ndarray, notes: list[str]
) -> np.ndarray:
    """Return the days of rows that have a first and a last date; say whether the last one counts."""
    place, most = chunk.role.end, LIMITS["longest_total"].value
    cells, one = chunk.column(place), np.ones(len(values), dtype=np.int64)
    name = chunk.table.names[place]
    ends = plan.form.read(cells)
    known = ~np.isnan(values) & ~np.isnat(stamps)
    if np.isnat(ends[known]).all():  # no dates, but times of the clock or the like
        return one
    apart = stamps[1:] - ends[:-1]
    counts, next_begins = (apart == np.timedelta64(1, "D")).any(), (apart == np.timedelta64(0, "D")).any()
    refuse_unless(not (counts and next_begins), "ends_two_ways", column=name)
    days = (ends - stamps) / np.timedelta64(1, "D") + (not next_begins)
    wrong = known & ~((days >= 1) & (days <= most) & (days % 1 == 0))
    row = int(wrong.argmax())
    facts = {"cell": cells[row], "begin": stamps[row].astype("datetime64[D]"), "most": most}
    refuse_unless(not wrong.any(), "no_end", **facts, line=chunk.lines[row], column=name)
    last = "which the next one begins" if next_begins else "that day included"
    notes.append(f"each row runs to its {name!r}, {last}")
    return np.where(known, days, one).astype(np.int64)
