"""The one table of quantities: axis labels, slider labels, attributes and the glossary read it.

One word, one meaning, one unit. Inside the package rain is mm, plan area m2, every volume L and every
rate a day; other units end at the reader and begin again at the page.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Quantity:
    """One quantity of the field.

    Parameters
    ----------
    name : str
        The identifier used for it as parameter, variable and column.
    unit : str
        Its unit in UDUNITS spelling; "1" for a ratio, "" for a thing that is not a number.
    long_name : str
        The words used on axes, sliders and in attributes.
    meaning : str
        One sentence for the glossary.
    cf_name : str
        The CF standard name, where CF has one.
    """

    name: str
    unit: str
    long_name: str
    meaning: str
    cf_name: str = ""


def _table(*rows: tuple[str, ...]) -> dict[str, Quantity]:
    return {row[0]: Quantity(*row) for row in rows}


QUANTITIES: dict[str, Quantity] = _table(
    # ---- record
    ("rain", "mm/day", "Rain", "Depth of rain in one observation day.", "lwe_precipitation_rate"),
    ("time", "", "Day", "The local observation day, labelled by its date.", "time"),
    ("flag", "", "Origin of the day", "Where a day's rain comes from: measured, filled, missing and so on."),
    (
        "total_days",
        "day",
        "Days in the reading",
        "Over how many days a day's amount was measured; 0 if none.",
    ),
    ("site", "", "Gauge", "The name of a rain gauge."),
    ("latitude", "degrees_north", "Latitude", "Angle north of the equator, south negative.", "latitude"),
    ("longitude", "degrees_east", "Longitude", "Angle east of Greenwich, west negative.", "longitude"),
    ("elevation", "m", "Elevation", "Height above the sea.", "altitude"),
    ("years", "year", "Years", "How many years a record lasts."),
    ("first_year", "1", "First year", "The calendar year in which a record begins."),
    ("wet_share", "1", "Share of wet days", "Share of the days on which rain falls."),
    ("wet_depth", "mm", "Rain on a wet day", "Mean depth of rain on the days on which rain falls."),
    ("depth_factor", "1", "Depth factor", "Rain on a wet day as a multiple of the climate's."),
    (
        "persistence",
        "1",
        "Persistence of wet days",
        "Chance of rain after a wet day less that after a dry day.",
    ),
    ("shape", "1", "Shape of depths", "Weibull shape of the wet-day depths; smaller is more skewed."),
    (
        "slow_share",
        "1",
        "Slow variation of wet days",
        "Effect of the slow variation on the log-odds of rain.",
    ),
    ("slow_depth", "1", "Slow variation of depths", "Effect of the slow variation on the log of the depth."),
    ("memory", "1", "Memory", "Correlation of the slow variation from one year to the next."),
    ("reach", "km", "Reach of the weather", "Distance over which correlation between gauges falls to 1/e."),
    ("members", "1", "Filled versions", "How many equally likely versions of the filled record are made."),
    ("seed", "1", "Seed", "The number that makes random choices repeatable."),
    ("wet_day", "mm/day", "Wet day from", "Rain from which a day counts as wet."),
    ("longest_gap", "day", "Longest gap filled", "Gaps longer than this are left missing."),
    ("longest_alone", "day", "Longest gap filled alone", "The same where no neighbour has a value."),
    # ---- catchment
    ("area", "m2", "Roof plan area", "Area of a roof seen from above; its slope does not change it."),
    ("runoff_coefficient", "1", "Runoff coefficient", "Share of the rain on a roof that leaves it."),
    ("wetting", "mm", "Wetting", "Depth of rain that a dry roof holds before any runs off."),
    ("first_flush", "mm", "First flush", "Depth of runoff turned away at the start of an event."),
    (
        "filter_efficiency",
        "1",
        "Filter efficiency",
        "Share of the flow that a screen or filter lets through.",
    ),
    ("inflow", "L/day", "Inflow to the tank", "Rain water that reaches the tank inlet in one day."),
    ("lost", "L/day", "Lost before the tank", "Rain water lost on the way, by named cause."),
    # ---- demand
    ("people", "1", "People", "How many people draw water."),
    ("units", "1", "Units", "How many things draw water, where it is not people: animals, washes, operations."),
    ("litres", "L/day", "Litres each a day", "Water that one person, or one unit, draws on a day of use."),
    ("term", "", "In term", "Whether the building is open in that part of the year."),
    ("holiday", "", "Holiday", "Whether the building is closed for a holiday."),
    ("working", "", "Working day", "A working day of the week, in term and not a holiday."),
    ("growth", "1/year", "Growth of enrolment", "Share by which the people grow from one year to the next."),
    ("growth_month", "1", "Month of enrolment", "Month in which a year's growth arrives."),
    ("growth_years", "year", "Years of growth", "After how many years enrolment stays as it is."),
    ("growth_factor", "1", "Growth", "People as a multiple of those of the first year."),
    ("seasonal", "1", "Seasonal load", "Load of each month as a multiple of the ordinary load."),
    ("seasonal_load", "1", "Seasonal load", "Load of the day's month as a multiple of the ordinary load."),
    ("visitors", "1", "Visitors", "People who come in addition on that day."),
    ("demand", "L/day", "Demand", "Water asked of the tank in one day."),
    ("essential", "L/day", "Essential demand", "The part of the demand that rationing does not cut."),
    # ---- storage
    ("capacity", "L", "Usable tank size", "Volume between the outlet and the overflow of the tank."),
    ("nominal", "L", "Nominal tank size", "Volume that the tank is sold as."),
    ("dead_storage", "L", "Dead storage", "Volume below the outlet, which cannot be drawn."),
    ("freeboard", "L", "Freeboard", "Volume above the overflow, which cannot be filled."),
    ("theta", "1", "Storage operating parameter", "0 draws before the day's rain is in, 1 after it."),
    ("start", "L", "Stored at the start", "Water in the tank on the first morning."),
    ("stored", "L", "Stored", "Water in the tank at the end of a day, above the outlet."),
    ("ration_level", "L", "Rationing level", "Stored water below which non-essential uses are cut."),
    (
        "ration_share",
        "1",
        "Share kept in rationing",
        "Share of the non-essential demand served in rationing.",
    ),
    ("top_up_trigger", "L", "Top-up trigger", "Stored water at or below which the mains valve opens."),
    ("top_up_level", "L", "Top-up set level", "Stored water at which the mains valve closes."),
    ("top_up_rate", "L/day", "Mains rate", "Most mains water that the valve passes in one day."),
    ("mains_on", "1", "Mains on", "Share of the day on which the mains supply water: 0 off, 1 on."),
    ("delivered", "L", "Delivered from the tank", "Water drawn from the tank over the record."),
    ("spilled", "L", "Spilled", "Water that left by the overflow over the record."),
    ("unmet", "L", "Shortfall", "Water asked for, after rationing, and not supplied."),
    ("rationed", "L", "Cut by rationing", "Demand that rationing turned away on purpose."),
    ("topped_up", "L", "Topped up", "Mains water put into the tank."),
    ("changed_over", "L", "Changed over", "Mains water fed straight to the fixtures by a change-over valve."),
    ("stored_start", "L", "Stored at the start", "Water in the tank before the first day."),
    ("stored_end", "L", "Stored at the end", "Water in the tank after the last day."),
    ("mains_by_year", "L", "Mains water in the year", "Mains water used in each hydrological year."),
    ("drawn_daily", "L/day", "Drawn from store", "Water drawn in a day from what was stored."),
    ("spilled_daily", "L/day", "Spilled", "Water that left by the overflow in a day."),
    ("unmet_daily", "L/day", "Shortfall", "Water asked for in a day, after rationing, and not supplied."),
    ("rationed_daily", "L/day", "Cut by rationing", "Demand of a day that rationing turned away."),
    ("mains_stored_daily", "L/day", "Mains water stored", "Mains water put into the tank in a day and kept."),
    ("mains_served_daily", "L/day", "Mains water used at once", "Mains water used on the day that it came."),
    (
        "inflow_total",
        "L",
        "Inflow over the record",
        "Rain water that reached the tank inlet over the record.",
    ),
    ("demand_total", "L", "Demand over the record", "Water asked for over the record."),
    (
        "days_failed",
        "day",
        "Days failed",
        "Days on which what was asked, after rationing, was not all supplied.",
    ),
    ("days_met", "day", "Days met", "Days on which all that was asked, after rationing, was supplied."),
    ("days_rationed", "day", "Days rationed", "Days on which rationing cut some demand."),
    ("failure_events", "1", "Failure events", "Runs of consecutive failed days."),
    ("longest_failure", "day", "Longest failure", "Days in the longest run of failed days."),
    ("worst_shortfall", "L", "Worst shortfall", "Largest volume short in one failure event."),
    (
        "volume_reliability",
        "1",
        "Volume reliability",
        "Share of the water asked for that was supplied, mains water included where it backs up the tank.",
    ),
    ("time_reliability", "1", "Time reliability", "Share of all days on which what was asked was supplied."),
    ("yield_by_year", "L", "Yield in the year", "Water drawn from the tank in each hydrological year."),
    ("failed_by_year", "day", "Days failed in the year", "Failed days in each hydrological year."),
    ("days_in_year", "day", "Days in the year", "Days of each hydrological year that the record covers."),
    ("year", "", "Hydrological year", "Twelve months named by the calendar year in which they begin."),
    ("year_start_month", "1", "First month of the year", "Month in which the hydrological year begins."),
    # ---- sizing
    ("target", "1", "Target reliability", "The reliability that the tank must reach."),
    ("yearly_yield", "L/year", "Yield a year", "Mean volume drawn from the tank in a year."),
    ("demand_share", "1", "Share of demand", "Share of the demand met with rain water."),
    ("marginal_yield", "1/year", "Marginal yield", "Litres a year gained by one more litre of storage."),
)


def attributes(name: str, **more: object) -> dict[str, object]:
    """Return the attributes that a variable of this name carries.

    Parameters
    ----------
    name : str
        A quantity of the table.
    **more
        Further attributes, kept as they are.

    Returns
    -------
    dict
        ``units``, ``long_name`` and, where CF has one, ``standard_name``.

    Raises
    ------
    KeyError
        If the table has no such quantity: add it there, never an attribute by hand.

    Examples
    --------
    >>> attributes("stored")
    {'units': 'L', 'long_name': 'Stored'}
    """
    q = QUANTITIES[name]
    out: dict[str, object] = {"units": q.unit} if q.unit else {}
    out["long_name"] = q.long_name
    if q.cf_name:
        out["standard_name"] = q.cf_name
    return out | more


SHOWN_UNITS = {
    "m2": "m²",
    "m3": "m³",
    "1/year": "L a year per L",
    "L/year": "L a year",
    "L/day": "L a day",
    "mm/day": "mm a day",
    "day": "days",
    "degC": "°C",
}


def label(name: str, unit: str | None = None) -> str:
    """Return the words and the unit for an axis or a slider.

    Parameters
    ----------
    name : str
        A quantity of the table.
    unit : str, optional
        The unit shown, where the page shows another one than the table's (kL for L, % for 1).

    Returns
    -------
    str
        For example "Roof plan area (m²)".

    Examples
    --------
    >>> label("area"), label("capacity", "kL"), label("theta")
    ('Roof plan area (m²)', 'Usable tank size (kL)', 'Storage operating parameter')
    """
    q = QUANTITIES[name]
    shown = q.unit if unit is None else unit
    shown = "" if shown == "1" else SHOWN_UNITS.get(shown, shown)
    return f"{q.long_name} ({shown})" if shown else q.long_name
