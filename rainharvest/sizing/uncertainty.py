"""Uncertainty carried through: one draw is one filling, one run of years, one value of each input."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np
import xarray as xr

from rainharvest.catchment.chain import LANES
from rainharvest.catchment.intensity import Intensity, Rain, read_daily
from rainharvest.catchment.tables import COEFFICIENTS, FILTER_EFFICIENCY, INTENSITY, Catchment
from rainharvest.core.defaults import Default, defaults_of
from rainharvest.core.quantities import attributes
from rainharvest.demand.tables import Use
from rainharvest.sizing.resample import BLOCK_YEARS, LEAST_YEARS, wet_and_dry_years, year_draws
from rainharvest.sizing.trade_off import THREADS, scaled_catchment, tank_inflows
from rainharvest.storage.simulate import common_time

DEFAULTS = defaults_of("sizing")["ranges"]

RANGED = tuple(DEFAULTS)

"""The inputs that have a range: runoff coefficient, losses, filter efficiency, demand."""


@dataclass(frozen=True)
class Range:
    """How far one input may lie from the study's own value, as multiples of that value."""

    name: str  # One of `RANGED`
    low: float  # [1] Least multiple of the study's own value
    best: float  # [1] Likeliest; values between are drawn from a triangular law
    high: float  # [1] Largest
    source: str  # Where the range comes from

    def at(self, chance) -> np.ndarray:
        """Return the multiples that are not exceeded with these chances (triangular law)."""
        chance = np.asarray(chance, dtype=float)
        width = self.high - self.low
        if width == 0:
            return np.full(chance.shape, self.best)
        turn = (self.best - self.low) / width
        rising = self.low + np.sqrt(chance * width * (self.best - self.low))
        falling = self.high - np.sqrt((1 - chance) * width * (self.high - self.best))
        return np.where(chance < turn, rising, falling)


def input_ranges(
    catchment: Catchment,
    uses: Iterable[Use] = (),
    demand: xr.DataArray | None = None,
    given: Mapping[str, tuple[float, float]] | None = None,
) -> tuple[Range, ...]:
    """Return the ranges of a site: published ones where its numbers are defaults, judgement where given.

    Several roofs or uses are taken to err together: their ranges are weighted by what each brings or asks.

    >>> from rainharvest.catchment.tables import Roof
    >>> ranges = input_ranges(Catchment(roofs=(Roof(area=100, material="metal"),)))
    >>> [(r.name, round(r.low, 2), round(r.high, 2)) for r in ranges]  # doctest: +NORMALIZE_WHITESPACE
    [('runoff_coefficient', 0.89, 1.06), ('losses', 0.5, 2.0), ('filter_efficiency', 0.89, 1.11),
     ('demand', 0.8, 1.2)]
    """
    demands: dict[str, float] = {}
    if demand is not None and "use" in demand.dims:
        demands = dict(zip(demand.use.values.tolist(), demand.sum("time").values.tolist(), strict=True))
    default_filter = catchment.filter_efficiency == FILTER_EFFICIENCY.value
    sources = {  # of each input: how much a part of it weighs, and the default that it rests on
        "runoff_coefficient": [
            (roof.runoff_coefficient * roof.area, own if roof.runoff_coefficient == own.value else None)
            for roof in catchment.roofs
            for own in [COEFFICIENTS[roof.material]]
        ],
        "losses": [],
        "filter_efficiency": [(1.0, FILTER_EFFICIENCY)] if default_filter else [],
        "demand": [(demands.get(use.name, use.litres * use.count), use.default) for use in uses],
    }
    found = {name: _weighted(name, parts) for name, parts in sources.items()}
    for name, (low, high) in (given or {}).items():
        found[name] = Range(name, low, 1.0, high, "given by the user")
    return tuple(found[name] for name in RANGED)


def _weighted(name: str, parts: Sequence[tuple[float, Default | None]]) -> Range:
    """Return the range of one input, its parts weighted; what has no published range takes our own."""
    fallback = DEFAULTS[name]
    if not sum(weight for weight, _ in parts) > 0:
        return Range(name, fallback.low, fallback.value, fallback.high, fallback.source)
    weights, low, high, sources = [], [], [], []
    for weight, default in parts:
        if default is None or (default.low is None and default.high is None) or not default.value > 0:
            default = fallback
        own = default.value
        weights.append(weight)
        low.append(min((own if default.low is None else default.low) / own, 1.0))
        high.append(max((own if default.high is None else default.high) / own, 1.0))
        sources += default.source.split("; ")
    ends = (float(np.average(end, weights=weights)) for end in (low, high))
    # What two parts share of their sources is said once.
    return Range(name, next(ends), 1.0, next(ends), "; ".join(dict.fromkeys(sources)))


@dataclass(frozen=True)
class Case:
    """A site whose tank is to be sized, with what is not known about it."""

    # [mm/day] (member, time): the fillings of the record, equally likely; or (time,) alone
    rain: xr.DataArray
    catchment: Catchment  # Roofs, first flush, filter and run of pipe
    demand: xr.DataArray  # [L/day] On ``time``: what is asked of the tank by the calendar
    ranges: tuple[Range, ...] = ()  # Inputs that are not known for sure; none by default
    # [L/day] On ``time``: demand that follows the weather (a garden), beside ``demand``; it goes with the
    # rain of the year drawn
    weather_demand: xr.DataArray | None = None
    essential: xr.DataArray | None = None  # [L/day] The part of ``demand`` that rationing spares
    weather_essential: xr.DataArray | None = None  # [L/day] The part of ``weather_demand`` that it spares
    # Further arguments of `rainharvest.simulate` that do not grow with the tank
    settings: Mapping[str, object] = field(default_factory=dict)
    # Arguments of `rainharvest.simulate` that grow with the tank, as shares of its size
    shares: Mapping[str, object] = field(default_factory=dict)
    year_start_month: int = 1  # [1] First month of the hydrological year
    block_years: int = int(BLOCK_YEARS.value)  # [year] Years drawn together
    intensity: Intensity = INTENSITY  # As `rainharvest.catchment.collect.collect`

    def __post_init__(self):
        common_time(rain=self.rain, demand=self.demand, weather_demand=self.weather_demand)

    @property
    def members(self) -> int:
        """How many fillings of the record there are."""
        return self.rain.sizes.get("member", 1)

    def calendar(self, inputs: xr.Dataset) -> slice:
        """Return the days of the record whose calendar the draws keep."""
        time = inputs["time"].values
        begin = int(np.searchsorted(self.rain["time"].values, time[0]))
        return slice(begin, begin + time.size)

    def filling(self, member: int) -> Rain:
        """Return one of them, read for the loss chain."""
        rain = self.rain.isel(member=member, drop=True) if "member" in self.rain.dims else self.rain
        return read_daily(rain)

    @property
    def total_demand(self) -> xr.DataArray:
        """What is asked of the tank by the calendar and by the weather [L/day]."""
        return self.demand if self.weather_demand is None else self.demand + self.weather_demand


@dataclass(frozen=True)
class Drawn:
    """What enters the balance in every draw."""

    case: Case  # The site
    inputs: xr.Dataset  # What was drawn: see `draw_inputs`
    inflow: xr.DataArray  # [L/day] (draw, time)
    demand: xr.DataArray  # [L/day] (draw, time), or (time,) where it is the same in all
    settings: dict[str, object]  # Arguments of `rainharvest.simulate` that are the same for every size


def draw_inputs(case: Case, count: int = 200, seed: int = 0) -> xr.Dataset:
    """Draw versions of everything that is uncertain about a case.

    Fillings take turns, in a random order. The inputs with a range are drawn from triangular laws by Latin
    hypercube: one value from each of ``count`` equally likely slices. The years come in blocks, with
    chances tilted towards dry or wet years (see `rainharvest.sizing.resample.year_draws`); years are
    called dry or wet by what tanks of 5, 20 and 80 days' demand would have yielded in them on the first
    filling.

    A record of fewer than two whole years has none to draw from: every draw then keeps the record's own days,
    and the band says nothing of other years. Few years are little better, since a worse year than any of
    them cannot be drawn: `rainharvest.sizing.resample` belongs beside the answer.
    """
    inflow = tank_inflows(case.filling(0), [case.catchment], case.intensity)[0]
    demand = float(case.total_demand.values.mean())
    yearly = wet_and_dry_years(case.rain["time"], inflow, demand, case.year_start_month)
    runs = np.arange(count)
    if yearly.size < LEAST_YEARS:
        days, runs = _own_days(case), np.zeros(count, dtype=int)
    else:
        given = {"year_start_month": case.year_start_month, "yearly": yearly}
        days = year_draws(case.rain, count=count, block_years=case.block_years, seed=seed, **given)
    rng = np.random.default_rng([seed, 1])
    turns = np.argsort(rng.random(count)) % case.members
    chosen = {"member": turns, "year_draw": runs}
    for one in case.ranges:
        slices = np.argsort(rng.random(count))
        chosen[one.name] = one.at((slices + rng.random(count)) / count)
    return inputs_of(chosen, days)


def record_inputs(case: Case) -> xr.Dataset:
    """Return the record as it stands: a draw for each filling, every input at its best."""
    chosen = {"member": np.arange(case.members), "year_draw": np.zeros(case.members, dtype=int)}
    chosen |= {one.name: np.full(case.members, one.best) for one in case.ranges}
    return inputs_of(chosen, _own_days(case))


def _own_days(case: Case) -> xr.DataArray:
    """Return one run of years: the record itself, partial years included."""
    time = case.rain["time"]
    own = np.arange(time.size, dtype=np.int32)[None]
    return xr.DataArray(own, {"draw": [0], "time": time.variable}, ("draw", "time"))


def inputs_of(chosen: Mapping[str, np.ndarray], days: xr.DataArray) -> xr.Dataset:
    """Gather inputs that were chosen, draw by draw, into what `draw_flows` takes."""
    data = {name: ("draw", np.asarray(values), attributes(name)) for name, values in chosen.items()}
    data["day_drawn"] = (("year_draw_row", "time"), days.values, attributes("day_drawn"))
    count = len(next(iter(chosen.values())))
    coords = {"draw": ("draw", np.arange(count), attributes("draw")), "time": days["time"].variable}
    kept = {name: days.attrs[name] for name in ("seed", "block_years") if name in days.attrs}
    return xr.Dataset(data, coords, kept)


def draw_flows(case: Case, inputs: xr.Dataset) -> Drawn:
    """Run the catchment of every draw over its filling and lay the days out as the draw has them.

    The loss chain runs over the record in its own order; its days are then taken as drawn, so that only
    what a first flush or a pipe holds from one day to the next is broken where two blocks meet.
    """
    scaled = [one.name for one in case.ranges if one.name != "demand"]
    days = inputs.day_drawn.values[inputs.year_draw.values]
    # Draws that share a filling and a catchment (all of them, where only the years differ) share its inflow.
    keys, place = np.unique(
        np.array([inputs[name].values for name in ("member", *scaled)]).T, axis=0, return_inverse=True
    )
    inflow, rain = np.empty(days.shape), read_daily(case.rain)

    def run(some: np.ndarray) -> None:
        """Lay out the inflow of some fillings and catchments, side by side in the loss chain."""
        sites = [
            scaled_catchment(case.catchment, **dict(zip(scaled, keys[k, 1:].tolist(), strict=True)))
            for k in some
        ]
        came = tank_inflows(rain, sites, case.intensity, keys[some, 0].astype(int))
        for k, row in zip(some, came, strict=True):
            for draw in np.flatnonzero(place.ravel() == k):
                inflow[draw] = row[days[draw]]

    with ThreadPoolExecutor(THREADS) as pool:
        list(pool.map(run, np.split(np.arange(len(keys)), range(LANES, len(keys), LANES))))
    coords = {"draw": inputs["draw"].variable, "time": inputs["time"].variable}
    flow = xr.DataArray(inflow, coords, ("draw", "time"), "inflow", attributes("inflow"))
    demand, more = _demand_of(case, inputs, days)
    return Drawn(case, inputs, flow, demand, more)


def pick_draws(drawn: Drawn, some) -> Drawn:
    """Return some of the draws."""

    def part(value):
        return value.isel(draw=some) if isinstance(value, xr.DataArray) and "draw" in value.dims else value

    settings = {name: part(value) for name, value in drawn.settings.items()}
    return replace(drawn, inflow=part(drawn.inflow), demand=part(drawn.demand), settings=settings)


def _demand_of(case: Case, inputs: xr.Dataset, days: np.ndarray):
    """Return the demand of the draws, and the settings, on the calendar of the draws."""
    time, calendar = inputs["time"].variable, case.calendar(inputs)

    def cut(series: xr.DataArray) -> xr.DataArray:
        turned = series.transpose(..., "time").isel(time=calendar)
        return xr.DataArray(turned.values, {"time": time}, turned.dims, attrs=series.attrs)

    draw = inputs["draw"].variable
    factor = xr.DataArray(1.0)
    if "demand" in inputs:
        factor = xr.DataArray(inputs["demand"].values, {"draw": draw}, ("draw",))

    def drawn(by_calendar: xr.DataArray, by_weather: xr.DataArray | None) -> xr.DataArray:
        if by_weather is None:
            return cut(by_calendar)
        went = by_weather.values[days]
        return cut(by_calendar) + xr.DataArray(went, {"draw": draw, "time": time}, ("draw", "time"))

    demand = drawn(case.demand, case.weather_demand)
    settings = {
        name: cut(value) if isinstance(value, xr.DataArray) and "time" in value.dims else value
        for name, value in case.settings.items()
    }
    settings["year_start_month"] = case.year_start_month
    if case.essential is not None:
        settings["essential"] = drawn(case.essential, case.weather_essential) * factor
    total = demand * factor
    if "draw" in total.dims:
        total = total.transpose("draw", "time")
    return total.assign_attrs(attributes("demand")), settings
