"""The rationing plan: for each month the gauge levels at which each stage begins, found from the record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.core.compiled import compiling_notice
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.drought.outlook import (
    AHEAD,
    DRAWN,
    STEPS,
    STORED,
    UNMET,
    Flows,
    dry_chances,
    help_levels,
    lowest_sure,
)
from rainharvest.drought.tables import FAILING_YEARS, HELP_DAYS, STAGE_SHARES
from rainharvest.storage.balance import BY_YEAR, DAILY, LANES, TOTALS, balance

RATIONED = DAILY.index("rationed")

MEASURES = ("essential_failed", "failed_by_year", "rationed_by_year", "drawn_by_year")


def walk(
    flows: Flows,
    capacity: float,
    levels: np.ndarray,
    shares,
    *,
    member: np.ndarray | None = None,
    start: float = 0.0,
    theta: float = 0.0,
    year_start_month: int = 1,
) -> xr.Dataset:
    """Run the record month by month, each with its own rationing levels, the store handed on.

    Within a month it is the balance of `rainharvest.simulate`, bit for bit; a gauge read at the turn of the
    month is judged by the new month's levels.
    """
    levels = np.asarray(levels, dtype=float)
    shares = np.asarray(shares, dtype=float)
    if levels.ndim != 3 or levels.shape[1:] != (12, shares.size) or not 1 <= levels.shape[0] <= LANES:
        raise InputError(
            f"levels of shape {levels.shape}", f"give (1 to {LANES} lanes, 12 months, stages)", "levels"
        )
    lanes, length = levels.shape[0], flows.demand.size
    lane = np.minimum(np.arange(LANES), lanes - 1)
    member = np.zeros(lanes, dtype=int) if member is None else np.asarray(member)
    water = np.ascontiguousarray(flows.inflow[member[lane]].T)
    asked, kept = (np.repeat(s[:, None], LANES, axis=1) for s in (flows.demand, flows.essential))
    month = (flows.first + np.arange(length)).astype("datetime64[M]").astype(int)
    begins = np.append(np.flatnonzero(np.diff(month, prepend=month[0] - 1)), length)
    of_year = 1970 + month[begins[:-1]] // 12 - (month[begins[:-1]] % 12 + 1 < year_start_month)
    names, row = np.unique(of_year, return_inverse=True)
    out = np.zeros((len(MEASURES), names.size, LANES))
    in_stage = np.zeros((shares.size, names.size, LANES))
    days_in = np.bincount(row, np.diff(begins))
    tank = np.empty((3, LANES))
    tank[0], tank[1], tank[2] = capacity, theta, start
    rule = np.repeat(shares[:, None], LANES, axis=1)
    total, by_part = np.empty((len(TOTALS), LANES)), np.empty((len(BY_YEAR), 1, LANES))
    daily = np.zeros((len(DAILY), 31, LANES))
    with compiling_notice("the daily balance"):
        for k, year in enumerate(row):
            first, end = begins[k], begins[k + 1]
            days = end - first
            part = slice(first, end)
            trace = np.ascontiguousarray(daily[:, :days])
            level = np.ascontiguousarray(levels[lane, month[first] % 12].T)
            balance(
                water[part],
                asked[part],
                kept[part],
                None,
                tank,
                level,
                rule,
                None,
                np.array([0, days]),
                total,
                by_part,
                trace,
            )
            morning = np.concatenate([tank[2][None], trace[STORED, :-1]])
            least = kept[part] * (1 - 1e-9)
            out[0, year] += (trace[DRAWN] < least).sum(axis=0)
            out[1, year] += (trace[UNMET] > 1e-9 * asked[part]).sum(axis=0)
            out[2, year] += trace[RATIONED].sum(axis=0)
            out[3, year] += trace[DRAWN].sum(axis=0)
            below = (morning[None] < level[:, None]).sum(axis=1)
            below[:-1] -= below[1:]  # in a stage and not in the next
            in_stage[:, year] += below
            tank[2] = trace[STORED, -1]
    found = xr.Dataset(
        {n: (("lane", "year"), out[i, :, :lanes].T, attributes(n)) for i, n in enumerate(MEASURES)},
        coords={"year": ("year", names, attributes("year"))},
    )
    stage = ("stage", np.arange(1, shares.size + 1), attributes("stage"))
    found["stage_days"] = (
        ("stage", "lane", "year"),
        in_stage[:, :, :lanes].transpose(0, 2, 1),
        attributes("stage_days"),
    )
    found["days_in_year"] = ("year", days_in, attributes("days_in_year"))
    return found.assign_coords(stage=stage)


WARM_UP = 365  # [day] left out of the judgement: nobody knows what was stored before the record


def judged_lanes(done: xr.Dataset, flows: Flows, year_start_month: int, ordinary) -> dict[str, np.ndarray]:
    """Return what counts of each lane: failing years over all whole years, costs over the ordinary ones."""
    whole = (done.days_in_year >= 365).values
    begun = np.array([np.datetime64(f"{y:04d}-{year_start_month:02d}-01", "D") for y in done.year.values])
    whole &= begun >= flows.first + WARM_UP
    if np.count_nonzero(whole) < 3:
        raise InputError("fewer than 3 whole years after the first", "give a longer record", "inflow")
    usual = whole if ordinary is None else whole & np.isin(done.year.values, list(ordinary))
    usual = usual if usual.any() else whole
    cut = done.rationed_by_year.values[:, usual].sum(axis=1)
    year = (flows.first + np.arange(flows.demand.size)).astype("datetime64[M]").astype(int)
    year = 1970 + year // 12 - (year % 12 + 1 < year_start_month)
    asked = flows.demand[np.isin(year, done.year.values[usual])].sum()
    return {
        "failing_years": (done.essential_failed.values[:, whole] > 0).mean(axis=1),
        "cut_share": cut / asked if asked > 0 else 0.0 * cut,
        "stage_days": done.stage_days.values[:, :, usual].mean(axis=2),
        "failed": done.failed_by_year.values[:, usual].mean(axis=1),
    }


RISKS = (0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5)  # [1] chance of running dry that a plan may take


@dataclass(frozen=True)
class Plan:
    """A rationing plan and what it does on the record.

    Parameters
    ----------
    level : DataArray [1]
        On (stage, calendar_month): share of the tank below which the stage holds; above 1 is always.
    help_level : DataArray [1]
        On calendar_month: share of the tank below which not even the strictest stage is sure to last until
        help comes.
    shares : tuple of float [1]
        Share of what can wait that each stage serves.
    ahead : int [day]
        How far the plan looks; 0 for no plan.
    risk : float [1]
        The chance of running dry within that time that it takes.
    capacity : float [L]
        Usable tank size.
    failing_years : float [1]
        Share of the years in which what is essential failed on a day, under the plan.
    failing_years_without : float [1]
        The same without a plan.
    wanted : float [1]
        The share that may fail.
    ordinary_cut : float [1]
        Share of the demand turned away in ordinary years.
    ordinary_days : tuple of float [day]
        Days of an ordinary year in each stage.
    ordinary_failed, ordinary_failed_without : float [day]
        Days of an ordinary year on which what was then asked could not all be supplied, with and without.
    tried : Dataset
        Every plan tried, on ``lane``: ``plan_ahead``, ``plan_risk``, ``failing_years``, ``cut_share``.
    """

    level: xr.DataArray
    help_level: xr.DataArray
    shares: tuple[float, ...]
    ahead: int
    risk: float
    capacity: float
    failing_years: float
    failing_years_without: float
    wanted: float
    ordinary_cut: float
    ordinary_days: tuple[float, ...]
    ordinary_failed: float
    ordinary_failed_without: float
    tried: xr.Dataset

    @property
    def keeps(self) -> bool:
        """Whether essential uses fail in no more years than may be."""
        return self.failing_years <= self.wanted + 1e-12


@dataclass(frozen=True)
class Tried:
    """Every plan tried on a record, and what it did: what a plan is chosen from."""

    level: np.ndarray  # [1] On (lane, month, stage): shares of the tank; the first lane rations nothing
    help_level: np.ndarray  # [1] From January
    choices: tuple[tuple[int, float], ...]  # Days ahead and risk of each lane
    shares: tuple[float, ...]  # [1] Share of what can wait that each stage serves
    capacity: float  # [L] Usable tank size
    # What each lane did: ``failing_years``, ``cut_share``, ``stage_days``, ``failed``
    judged: dict[str, np.ndarray]


def find_plan(flows: Flows, capacity: float, *, wanted: float = FAILING_YEARS.value, **settings) -> Plan:
    """Find the levels that keep the essential uses in all but a share of the years, at the least cost.

    Own method, built on position analysis (Hirsch 1978, from memory). The levels are found and judged on the
    same record: `rainharvest.drought.plan.judge_elsewhere` judges them on years that they were not found from.
    """
    return choose_plan(try_plans(flows, capacity, **settings), wanted)


def try_plans(
    flows: Flows,
    capacity: float,
    *,
    shares: Sequence[float] = tuple(s.value for s in STAGE_SHARES),
    ordinary: Sequence[int] | None = None,
    help_days: int = int(HELP_DAYS.value),
    theta: float = 0.0,
    year_start_month: int = 1,
) -> Tried:
    """Run many plans through the record as a caretaker would keep them.

    A plan looks so many days ahead and takes so much risk: on the first of each month, and from each
    twentieth of the tank, every year of the record is run with what each stage serves. A stage begins below
    the lowest reading from which the use before it would have lasted that long in all but a share ``risk`` of
    the years. There are 7 lengths of time and 9 risks.
    """
    shares = tuple(float(s) for s in shares)
    falling = all(b < a for a, b in zip(shares, shares[1:], strict=False))
    if not shares or not falling or not all(0 <= s < 1 for s in shares):
        raise InputError("the stages do not serve less and less", "give falling shares below 1", "shares")
    if not flows.essential.any():
        raise InputError("nothing is essential", "mark a use as essential", "essential")
    chance = dry_chances(flows, capacity, (1.0, *shares[:-1]), theta)
    help_level = help_levels(flows, capacity, shares[-1], help_days, theta)
    reading = np.arange(STEPS + 1) / STEPS
    choices = [(ahead, risk) for ahead in AHEAD for risk in RISKS]
    levels = [lowest_sure(chance[..., AHEAD.index(ahead)], risk, reading) for ahead, risk in choices]
    level = np.concatenate([np.zeros((1, 12, len(shares))), levels])  # (lane, month, stage)
    done = walk(flows, capacity, level * capacity, shares, theta=theta, year_start_month=year_start_month)
    judged = judged_lanes(done, flows, year_start_month, ordinary)
    return Tried(level, help_level, ((0, 0.0), *choices), shares, float(capacity), judged)


def choose_plan(tried: Tried, wanted: float = FAILING_YEARS.value) -> Plan:
    """Choose among plans the one that keeps what it must and turns away least in ordinary years.

    If none keeps what it must, the one under which the essential uses fail in fewest years.
    """
    if not 0 <= wanted < 1:
        raise InputError(f"a share of {wanted:g} of the years", "give 0 or more, below 1", "wanted")
    failing, cut = tried.judged["failing_years"], tried.judged["cut_share"]
    allowed = np.flatnonzero(failing <= wanted + 1e-12)
    if allowed.size:
        best = int(allowed[np.lexsort([failing[allowed], cut[allowed]])[0]])
    else:
        best = int(np.lexsort([cut, failing])[0])
    month = {"calendar_month": ("calendar_month", np.arange(1, 13), attributes("calendar_month"))}
    stage = {"stage": ("stage", np.arange(1, len(tried.shares) + 1), attributes("stage"))}
    columns = {
        "plan_ahead": [ahead for ahead, _ in tried.choices],
        "plan_risk": [risk for _, risk in tried.choices],
        "failing_years": failing,
        "cut_share": cut,
    }
    days = tried.judged["stage_days"][:, best]
    return Plan(
        level=xr.DataArray(
            tried.level[best].T, stage | month, ("stage", "calendar_month"), attrs=attributes("stage_level")
        ),
        help_level=xr.DataArray(tried.help_level, month, ("calendar_month",), attrs=attributes("help_level")),
        shares=tried.shares,
        ahead=tried.choices[best][0],
        risk=tried.choices[best][1],
        capacity=tried.capacity,
        failing_years=float(failing[best]),
        failing_years_without=float(failing[0]),
        wanted=float(wanted),
        ordinary_cut=float(cut[best]),
        ordinary_days=tuple(float(d) for d in days),
        ordinary_failed=float(tried.judged["failed"][best]),
        ordinary_failed_without=float(tried.judged["failed"][0]),
        tried=xr.Dataset({name: ("lane", list(v), attributes(name)) for name, v in columns.items()}),
    )


def judge_elsewhere(flows: Flows, capacity: float, **settings) -> tuple[float, float]:
    """Find a plan on each half of a record and judge it on the other."""
    half = flows.demand.size // 2
    parts = [
        Flows(flows.inflow[:1, s], flows.demand[s], flows.essential[s], flows.first + (s.start or 0))
        for s in (slice(None, half), slice(half, None))
    ]
    month = settings.get("year_start_month", 1)
    shares = []
    for found_on, judged_on in (parts, parts[::-1]):
        plan = find_plan(found_on, capacity, **settings)
        both = np.stack([np.zeros((12, len(plan.shares))), plan.level.values.T * capacity])
        done = walk(
            judged_on,
            capacity,
            both,
            plan.shares,
            theta=settings.get("theta", 0.0),
            year_start_month=month,
        )
        shares.append(judged_lanes(done, judged_on, month, None)["failing_years"])
    without, under = np.mean(shares, axis=0)
    return float(under), float(without)
