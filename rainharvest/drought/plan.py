"""The rationing plan: for each month the gauge levels at which each stage begins, found from the record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.drought.defaults import FAILING_YEARS, HELP_DAYS, STAGE_SHARES
from rainharvest.drought.triggers import AHEAD, STEPS, dry_chances, help_levels, lowest_sure
from rainharvest.drought.walk import walk
from rainharvest.drought.windows import Flows
from rainharvest.errors import InputError
from rainharvest.names import attributes

RISKS = (0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5)  # [1] chance of running dry that a plan may take
WARM_UP = 365  # [day] left out of the judgement: nobody knows what was stored before the record


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


def find_plan(
    flows: Flows,
    capacity: float,
    *,
    wanted: float = FAILING_YEARS.value,
    shares: Sequence[float] = tuple(s.value for s in STAGE_SHARES),
    ordinary: Sequence[int] | None = None,
    help_days: int = int(HELP_DAYS.value),
    theta: float = 0.0,
    year_start_month: int = 1,
) -> Plan:
    """Find the levels that keep the essential uses in all but a share of the years, at the least cost.

    A plan looks so many days ahead and takes so much risk: on the first of each month, and from each
    twentieth of the tank, every year of the record is run with what each stage serves. A stage begins below
    the lowest reading from which the use before it would have lasted that long in all but a share ``risk`` of
    the years. Each such plan, for 7 lengths of time and 9 risks, is then run through the record as a
    caretaker would keep it. Of those under which what is essential fails in no more than the share of years
    wanted, the one that turns away least in ordinary years is returned; if there is none, the one under which
    it fails in fewest.

    Parameters
    ----------
    flows : Flows
        The record, with what is essential; the first member decides.
    capacity : float [L]
        Usable tank size.
    wanted : float [1]
        Share of the years in which what is essential may fail.
    shares : sequence of float [1]
        Share of what can wait that each stage serves, falling.
    ordinary : sequence of int, optional
        The hydrological years that count as ordinary; all by default.
    help_days : int [day]
        How long help takes to come.
    theta : float [1]
        As in `rainharvest.simulate`.
    year_start_month : int [1]
        First month of the hydrological year.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        If nothing is essential, the shares do not fall, or the record has fewer than 3 years.

    Notes
    -----
    Own method, built on position analysis (Hirsch 1978, from memory). The levels are found and judged on the
    same record: `judge_elsewhere` judges them on years that they were not found from.
    """
    shares = tuple(float(s) for s in shares)
    if (
        not shares
        or not all(0 <= s < 1 for s in shares)
        or any(b >= a for a, b in zip(shares, shares[1:], strict=False))
    ):
        raise InputError("the stages do not serve less and less", "give falling shares below 1", "shares")
    if not flows.essential.any():
        raise InputError("nothing is essential", "mark a use as essential", "essential")
    if not 0 <= wanted < 1:
        raise InputError(f"a share of {wanted:g} of the years", "give 0 or more, below 1", "wanted")
    chance = dry_chances(flows, capacity, (1.0, *shares[:-1]), theta)
    reading = np.arange(STEPS + 1) / STEPS
    choices = [(ahead, risk) for ahead in AHEAD for risk in RISKS]
    levels = np.array(
        [
            lowest_sure(chance[..., AHEAD.index(ahead)], risk, reading) for ahead, risk in choices
        ]  # (plan, month, stage)
    )
    nothing = np.zeros((1, 12, len(shares)))
    done = walk(
        flows,
        capacity,
        np.concatenate([nothing, levels]) * capacity,
        shares,
        theta=theta,
        year_start_month=year_start_month,
    )
    judged = _judge(done, flows, year_start_month, ordinary)
    failing, cut = judged["failing_years"], judged["cut_share"]
    allowed = np.flatnonzero(failing <= wanted + 1e-12)
    if allowed.size:
        best = int(allowed[np.lexsort([failing[allowed], cut[allowed]])[0]])
    else:
        best = int(np.lexsort([cut, failing])[0])
    ahead, risk = choices[best - 1] if best else (0, 0.0)
    chosen = levels[best - 1] if best else nothing[0]
    help_level = help_levels(flows, capacity, shares[-1], help_days, theta)
    month = {"calendar_month": ("calendar_month", np.arange(1, 13), attributes("calendar_month"))}
    stage = {"stage": ("stage", np.arange(1, len(shares) + 1), attributes("stage"))}
    tried = xr.Dataset(
        {
            "plan_ahead": ("lane", [0, *(c[0] for c in choices)], attributes("plan_ahead")),
            "plan_risk": ("lane", [0.0, *(c[1] for c in choices)], attributes("plan_risk")),
            "failing_years": ("lane", failing, attributes("failing_years")),
            "cut_share": ("lane", cut, attributes("cut_share")),
        }
    )
    return Plan(
        xr.DataArray(chosen.T, stage | month, ("stage", "calendar_month"), attrs=attributes("stage_level")),
        xr.DataArray(help_level, month, ("calendar_month",), attrs=attributes("help_level")),
        shares,
        ahead,
        risk,
        float(capacity),
        float(failing[best]),
        float(failing[0]),
        float(wanted),
        float(cut[best]),
        tuple(float(d) for d in judged["stage_days"][:, best]),
        float(judged["failed"][best]),
        float(judged["failed"][0]),
        tried,
    )


def _judge(done: xr.Dataset, flows: Flows, year_start_month: int, ordinary) -> dict[str, np.ndarray]:
    """Return what counts of each lane: failing years over all whole years, costs over the ordinary ones."""
    whole = (done.days_in_year >= 365).values
    begun = np.array([np.datetime64(f"{y:04d}-{year_start_month:02d}-01", "D") for y in done.year.values])
    whole &= begun >= flows.first + WARM_UP
    if np.count_nonzero(whole) < 3:
        raise InputError("fewer than 3 whole years after the first", "give a longer record", "inflow")
    usual = whole if ordinary is None else whole & np.isin(done.year.values, list(ordinary))
    usual = usual if usual.any() else whole
    cut, drawn = (done[n].values[:, usual].sum(axis=1) for n in ("rationed_by_year", "drawn_by_year"))
    year = (flows.first + np.arange(flows.demand.size)).astype("datetime64[M]").astype(int)
    year = 1970 + year // 12 - (year % 12 + 1 < year_start_month)
    asked = flows.demand[np.isin(year, done.year.values[usual])].sum()
    return {
        "failing_years": (done.essential_failed.values[:, whole] > 0).mean(axis=1),
        "cut_share": cut / asked if asked > 0 else 0.0 * cut,
        "drawn_share": drawn / asked if asked > 0 else 0.0 * drawn,
        "stage_days": done.stage_days.values[:, :, usual].mean(axis=2),
        "failed": done.failed_by_year.values[:, usual].mean(axis=1),
    }


def judge_elsewhere(flows: Flows, capacity: float, **settings) -> tuple[float, float]:
    """Find a plan on each half of a record and judge it on the other.

    Parameters
    ----------
    flows : Flows
        The record.
    capacity : float [L]
        Usable tank size.
    **settings
        As `find_plan`.

    Returns
    -------
    tuple of float [1]
        Share of the years in which what is essential failed, under plans found from other years; the same
        without a plan.

    Raises
    ------
    InputError
        As `find_plan`; each half needs 3 whole years after its first.
    """
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
        shares.append(_judge(done, judged_on, month, None)["failing_years"])
    without, under = np.mean(shares, axis=0)
    return float(under), float(without)
