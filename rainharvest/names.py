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
    ("rain_step", "mm", "Rain of one reading", "Depth of rain in one sub-daily reading."),
    (
        "day_start",
        "h",
        "Start of the observation day",
        "Hour of the clock at which the observation day begins.",
    ),
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
    ("period_total", "mm", "Rain in the period", "Sum of the rain of a period; none where a day is missing."),
    ("known_share", "1", "Known days", "Share of the days of a period whose rain is known."),
    ("annual_total", "mm", "Annual rain", "Rain of a hydrological year; none where a day is missing."),
    ("seasonal_total", "mm", "Seasonal rain", "Rain of a quarter of the hydrological year."),
    ("monthly_total", "mm", "Monthly rain", "Rain of a month; none where a day is missing."),
    ("month_mean", "mm", "Mean rain of the month", "Mean of a calendar month's totals over the years."),
    ("month_share", "mm", "Rain of the month", "Monthly rain that the given share of the years stays below."),
    ("share", "1", "Share below", "Share of the years that stay below a value."),
    ("calendar_month", "1", "Month", "Month of the year, 1 for January."),
    ("wet_days", "day", "Wet days in the year", "Days of a year with at least the rain of a wet day."),
    ("largest_day", "mm/day", "Largest day of the year", "Most rain measured in one day of the year."),
    ("longest_dry_spell", "day", "Longest dry spell of the year", "The longest that begins in the year."),
    ("dry_spell", "day", "Length of the dry spell", "Consecutive days each with less rain than a wet day."),
    ("spell_start", "", "First dry day", "The day on which a dry spell begins."),
    ("spell_cut", "", "Cut short", "Whether a dry spell touches an unknown day and may have been longer."),
    ("spell_days", "day", "Length of the dry spell", "A length of dry spell."),
    ("spells_a_year", "1/year", "Dry spells a year", "How many dry spells a year last at least so long."),
    ("rank", "1", "Rank", "Place in the order from the driest year up."),
    ("driest_total", "mm", "Rain of a dry year", "Annual rain in the order from the driest year up."),
    ("driest_year", "1", "Dry year", "The years in the order from the driest up."),
    ("driest_return_period", "year", "Return period", "Years between years as dry: (n + 1)/rank of n years."),
    ("span", "year", "Years in the run", "How many consecutive years are taken together."),
    ("driest_run_total", "mm", "Rain of the driest run", "Mean annual rain of the driest run of years."),
    ("driest_run_start", "1", "First year of the driest run", "The year in which it begins."),
    ("depth", "mm/day", "Rain in a day", "A depth of rain in one day."),
    ("days_a_year", "day/year", "Days a year", "How many days a year have at least a depth of rain."),
    ("threshold", "mm/day", "Threshold", "Depth of rain above which a day is heavy."),
    ("separation", "day", "Separation", "Heavy days closer than this belong to one event."),
    ("events", "1", "Events", "How many events of heavy rain the record holds."),
    ("gpd_scale", "mm/day", "Scale of the excess", "Scale of the generalised Pareto law of the excess."),
    ("gpd_shape", "1", "Shape of the excess", "Shape of the generalised Pareto law; heavy-tailed above 0."),
    ("gpd_loss", "1", "Negative log-likelihood", "How badly the law fits; the fit makes it least."),
    ("return_period", "year", "Return period", "Years that pass on average between two events."),
    ("return_level", "mm/day", "Return level", "Rain in one day that is reached once in a return period."),
    ("return_level_low", "mm/day", "Return level, low", "Lower end of its 95 percent interval."),
    ("return_level_high", "mm/day", "Return level, high", "Upper end of its 95 percent interval."),
    ("annual_mean", "mm", "Mean annual rain", "Mean of the annual totals."),
    ("annual_cv", "1", "Variation of annual rain", "Standard deviation of annual totals over their mean."),
    ("trend", "mm/year", "Trend of annual rain", "Sen's slope: the median slope between two years."),
    ("trend_low", "mm/year", "Trend, low", "Lower end of its 95 percent interval."),
    ("trend_high", "mm/year", "Trend, high", "Upper end of its 95 percent interval."),
    ("trend_chance", "1", "Chance of such a trend", "Chance of a score as far from 0 without a trend."),
    (
        "trend_chance_correlated",
        "1",
        "Chance of such a trend, years dependent",
        "The same where years depend on those before (Hamed and Rao 1998).",
    ),
    ("spi", "1", "Precipitation index", "Standardised precipitation index: 0 is normal, -2 extremely dry."),
    ("scale", "1", "Months summed", "How many months the precipitation index looks back."),
    ("months", "1", "Months in the period", "Length of a period of totals."),
    ("driest_month", "1", "Driest month", "The calendar month with the least rain on average."),
    ("suggested_start", "1", "Suggested first month", "The month after the driest three months on end."),
    ("spell", "1", "Dry spell", "Number of a dry spell, in order of time."),
    ("month", "", "Month", "A month of the record, by its first day."),
    ("season", "", "Season", "A quarter of the hydrological year."),
    ("members", "1", "Filled versions", "How many equally likely versions of the filled record are made."),
    ("seed", "1", "Seed", "The number that makes random choices repeatable."),
    ("wet_day", "mm/day", "Wet day from", "Rain from which a day counts as wet."),
    ("ceiling", "mm/day", "Largest daily rain", "Rain above this is thought impossible at the site."),
    ("longest_gap", "day", "Longest gap filled", "Gaps longer than this are left missing."),
    ("longest_alone", "day", "Longest gap filled alone", "The same where no neighbour has a value."),
    ("filling", "", "Filling", "The way in which hidden days were filled."),
    ("wet_agreement", "1", "Days rightly wet or dry", "Share of hidden days filled wet or dry as they were."),
    ("absolute_error", "mm/day", "Error of a day", "Mean size of a hidden day's error."),
    ("total_error", "1", "Error of the total", "Rain of the filled record over the measured one, less 1."),
    (
        "wet_share_error",
        "1",
        "Error of the wet-day share",
        "Wet-day share of the filled less the measured record.",
    ),
    (
        "spell_error",
        "1",
        "Error of dry spells",
        "Mean dry spell of the filled record over the measured, less 1.",
    ),
    ("longest_spell_error", "1", "Error of the longest dry spell", "The same for the longest dry spell."),
    ("yield_error", "1", "Error of the yield", "Yield of a reference tank on the filled record, less 1."),
    (
        "reliability_error",
        "1",
        "Error of the reliability",
        "Volume reliability of a reference tank, filled less true.",
    ),
    (
        "gap_coverage",
        "1",
        "Gaps within the band",
        "Share of hidden blocks whose total lies in the 90 % band.",
    ),
    ("year_coverage", "1", "Years within the band", "Share of years whose total lies in the 90 % band."),
    ("repeats", "1", "Repeats", "How many times days are hidden and filled."),
    ("hidden_share", "1", "Days hidden", "Share of the known days that are hidden to try the fill."),
    ("record", "", "Record", "One of two records of the same place."),
    ("zero_share", "1", "Share of dry days", "Share of the days with no rain at all."),
    ("drizzle_share", "1", "Share of drizzle", "Share of the days with rain of no more than 0.2 mm."),
    ("daily_mean", "mm/day", "Mean daily rain", "Mean over all days, dry ones among them."),
    ("heavy_day", "mm/day", "Heavy day", "Daily rain that 1 day in 100 passes."),
    ("looks_gridded", "", "Looks gridded", "Whether it drizzles too often to be a gauge's record."),
    ("lag", "day", "Moved by", "How many days later the other record is read."),
    ("lag_agreement", "1", "Agreement", "Rank correlation of the daily rain of two records."),
    ("common_days", "day", "Days in common", "Days that both records know."),
    ("lengths", "day", "Lengths of the blocks", "Lengths of the blocks of hidden days."),
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
    ("rain_on_roof", "L/day", "Rain on the roofs", "Rain that falls on the roofs in one day."),
    ("held", "L", "Held on the way", "Water that stands in roof film, first-flush space or pipe."),
    ("flow_out", "L/day", "Flow passed", "What passes a primitive of the loss chain."),
    ("kept", "1", "Share that passes", "Share of a flow that passes a primitive of the loss chain."),
    ("drain", "L/day", "Drain", "Most that leaves a filling store in one day."),
    ("empty_after", "day", "Emptied after", "Dry days in a row after which a filling store is empty."),
    ("first_flush_bleed", "L/day", "First-flush bleed", "What the bleed of the space lets out in a day."),
    ("first_flush_reset", "day", "First-flush reset", "Dry days after which the space is empty again."),
    ("drying", "mm/day", "Drying of the roof", "Depth that a wet roof loses to the air in one day."),
    ("mean_intensity", "mm/h", "Wet-hour intensity", "Mean rain of the hours with rain."),
    ("variation", "1", "Variation of wet hours", "Coefficient of variation of the rain of wet hours."),
    (
        "depth_growth",
        "1",
        "Growth with depth",
        "Exponent with which wet-hour intensity grows with the day's rain.",
    ),
    ("limit", "mm/h", "Limit of intensity", "Rain above it is lost at the gutter."),
    ("design_intensity", "mm/h", "Design intensity", "Rain that gutters and pipes must pass without loss."),
    ("roof_length", "m", "Length of the roof", "Length of a roof along the ridge."),
    ("gutter_length", "m", "Length of the gutter", "From the end of a gutter to its outlet."),
    ("pipe_length", "m", "Length of pipe", "Length of straight pipe."),
    ("rain_rate", "mm/h", "Rain within the day", "Rain of steps shorter than a day."),
    ("flow_limit", "L/day", "Limit of flow", "Most that passes a primitive of the loss chain."),
    ("standing_limit", "day", "Limit of standing", "Water in a wet run that stands longer is too old."),
    ("roof_width", "m", "Width of the roof", "Width of a roof across the ridge."),
    ("gutter_width", "mm", "Width of the gutter", "Inside width of a gutter at the top."),
    ("eaves", "m", "Eaves", "Level overhang of a roof beyond the wall."),
    ("eaves_at_ends", "m", "Eaves at the ends", "Level overhang of a roof at its gable ends."),
    ("gutter_capacity", "L/s", "Gutter capacity", "Most that gutter, outlet and downpipe of a roof pass."),
    ("pipe_to_add", "m", "Pipe to add", "Gutter and pipe to be added in order to connect a roof."),
    ("run", "m", "Run of pipe", "Level length of pipe between the downpipes and the tank."),
    ("bore", "mm", "Pipe bore", "Inside diameter of a pipe."),
    ("outlet_level", "m", "Gutter outlet level", "Gutter outlet above the base of the tank."),
    ("inlet_level", "m", "Tank inlet level", "Where the pipe ends, above the base of the tank."),
    ("low_level", "m", "Level of the buried run", "Axis of the buried run, from the base of the tank."),
    ("downpipes", "1", "Downpipes", "Vertical pipes that feed the run."),
    ("filter_drop", "m", "Filter drop", "Level lost across a filter."),
    ("roughness", "mm", "Pipe roughness", "Colebrook roughness of the pipe in service."),
    ("viscosity", "m2/s", "Viscosity", "Kinematic viscosity of the water."),
    ("bleed", "L/day", "Low-point bleed", "What the bleed at the low point of a wet run lets out in a day."),
    ("emptied_after", "day", "Emptied after", "Dry days in a row after which somebody empties a wet run."),
    ("fall", "m/m", "Fall", "Slope of a pipe or gutter."),
    ("filling", "1", "Filling", "Depth of water in a pipe over its bore."),
    ("flow", "L/s", "Flow", "Rate of flow in a gutter or pipe."),
    ("friction", "m", "Friction", "Head lost along straight pipe."),
    ("velocity", "m", "Velocity head", "Head carried away at the exit of a pipe."),
    (
        "standing",
        "day",
        "Days that water stands",
        "Days in a row that the water in a wet run is not renewed.",
    ),
    ("roof_height", "m", "Height of the roof", "From the gutter up to the ridge."),
    ("head", "mm", "Head over the outlet", "Depth of water over a gutter outlet."),
    ("diameter", "mm", "Outlet diameter", "Diameter of a gutter outlet."),
    ("gutter_depth", "mm", "Depth of a gutter", "Depth of a gutter, or of the water in it."),
    ("gutter_section", "mm2", "Gutter section", "Section of a gutter that is full to the brim."),
    ("risk", "1", "Risk factor", "Factor on the design intensity by what an overflow would do."),
    ("bends", "1", "Bends", "Bends of more than 10 degrees."),
    (
        "smoothness",
        "1",
        "Hazen-Williams coefficient",
        "Smoothness of a pipe in the formula of Hazen and Williams.",
    ),
    ("rain_year", "mm/year", "Rain a year", "Depth of rain in one year."),
    ("coefficient", "1", "Overall coefficient", "Share of a year's rain, less a loss, collected."),
    ("loss", "mm/year", "Yearly loss", "Depth lost to wetting and absorption in one year."),
    # ---- demand
    ("people", "1", "People", "How many people draw water."),
    (
        "units",
        "1",
        "Units",
        "How many things draw water, where it is not people: animals, washes, operations.",
    ),
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
    ("weekday", "", "Day of the week", "From Monday to Sunday."),
    ("full_flush", "L", "Full flush", "Volume of a full flush of a toilet."),
    ("part_flush", "L", "Part flush", "Volume of a part flush of a dual-flush toilet."),
    ("tmax", "degC", "Largest temperature", "Largest air temperature of the day."),
    ("tmin", "degC", "Least temperature", "Least air temperature of the day."),
    ("tmean", "degC", "Mean temperature", "Mean air temperature of the day.", "air_temperature"),
    ("dew_point", "degC", "Dew point", "Temperature at which the air's vapour condenses."),
    ("rhmax", "percent", "Largest humidity", "Largest relative humidity of the day."),
    ("rhmin", "percent", "Least humidity", "Least relative humidity of the day."),
    ("vapour_pressure", "kPa", "Vapour pressure", "Actual pressure of the vapour in the air."),
    ("wind", "m/s", "Wind speed", "Mean wind speed of the day.", "wind_speed"),
    ("wind_height", "m", "Height of the wind gauge", "Height above ground at which wind was measured."),
    ("sunshine", "h", "Sunshine", "Hours of bright sunshine in the day."),
    ("solar", "MJ/m2/day", "Radiation", "Radiation of the sun that reaches the ground in a day."),
    ("soil_heat", "MJ/m2/day", "Soil heat", "Heat that goes into the ground in a day."),
    ("adjustment", "degC-0.5", "Radiation adjustment", "Radiation at the ground from the range of a day."),
    ("radiation_above_air", "MJ/m2/day", "Radiation above the air", "Radiation of the sun above the air."),
    (
        "reference_evapotranspiration",
        "mm/day",
        "Reference evapotranspiration",
        "Water that short grass, well watered, gives to the air in a day.",
    ),
    ("bed_area", "m2", "Planted area", "Area of the beds that are watered."),
    ("root_depth", "m", "Root depth", "Depth from which roots draw."),
    ("readily_available", "1", "Readily available share", "Share of the soil's water taken without stress."),
    ("rain_kept", "1", "Rain kept", "Share of the rain that reaches the root zone."),
    ("crop_coefficient", "1", "Crop coefficient", "Thirst of a crop as a multiple of short grass's."),
    (
        "stage_lengths",
        "day",
        "Stages of growth",
        "Days of a crop's initial, development, middle and late stage.",
    ),
    ("monthly", "mm/day", "Monthly means", "Mean reference evapotranspiration of each month."),
    (
        "evapotranspiration",
        "mm/day",
        "Reference evapotranspiration",
        "Water that short grass, well watered, gives to the air in a day.",
    ),
    (
        "crop_evapotranspiration",
        "mm/day",
        "Crop evapotranspiration",
        "Water the beds give to the air in a day.",
    ),
    ("effective_rain", "mm/day", "Effective rain", "Rain of the day that reaches the root zone."),
    ("pool_area", "m2", "Pool area", "Water surface of a pool."),
    (
        "pool_drop",
        "mm",
        "Drop of the pool",
        "How far a pool may fall below its overflow before it is topped up.",
    ),
    ("depletion", "mm", "Depletion", "Water that the root zone lacks to be full, in the evening."),
    ("watering", "mm/day", "Watering", "Depth of water that the root zone is given in a day."),
    ("garden_demand", "L/day", "Garden", "Water that the garden asks of the tank in a day."),
    ("spell_length", "day", "Spell without mains", "Mean length of a spell without mains."),
    ("interruptions_a_year", "1/year", "Interruptions a year", "Mean number of spells without mains a year."),
    ("hours", "h", "Hours of supply", "Hours of a day on which the mains supply."),
    ("scenario", "", "Scenario", "One of several equally likely courses of events."),
    ("scenarios", "1", "Scenarios", "How many equally likely courses of events are made."),
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
    ("trigger_share", "1", "Top-up trigger", "Share of the tank at or below which the mains valve opens."),
    ("level_share", "1", "Top-up set level", "Share of the tank at which the mains valve closes."),
    ("level_shares", "1", "Set levels", "Shares of the tank at which the mains valve closes."),
    ("start_share", "1", "Full at the start", "Share of the tank that is full on the first morning."),
    ("arrangement", "", "Arrangement", "How rain and mains supply the building."),
    ("rain_serves", "L/day", "Demand that rain may serve", "What needs no drinking quality."),
    ("spilled_mains", "L", "Mains water spilled", "Rain spilled because mains water had taken its room."),
    ("ride_out", "day", "Ride-out", "How long a full reserve lasts without mains."),
    ("water_age", "day", "Age of the water", "Mean time since the water in the tank came into it."),
    ("turnover", "1/year", "Turnover", "How many times a year the tank's volume is drawn."),
    ("stages", "1", "Stages of rationing", "Levels of the tank and the share served below each."),
    (
        "smallest_reserve",
        "L",
        "Smallest reserve",
        "Smallest full reserve that rides out a time without mains.",
    ),
    ("ride_outs", "day", "Ride-outs", "Times without mains that a reserve must last."),
    ("mains_a_year", "L/year", "Mains water bought", "Mains water used or stored in a mean year."),
    ("rain_used_a_year", "L/year", "Rain water used", "Rain water drawn in a mean year."),
    ("spilled_mains_a_year", "L/year", "Mains water spilled", "Mains water lost to spilling in a mean year."),
    ("rule", "", "Rule", "A rule of rationing."),
    ("stage", "", "Stage", "A stage of rationing: a level of the gauge and what is still served below it."),
    ("cut_share", "1", "Share cut", "Share of the demand that rationing turns away."),
    ("most_cut", "1", "Most that is cut", "Largest share of the demand that a rule may turn away."),
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
    ("failure_events", "1", "Failure events", "Runs of failed days; a day without demand does not end one."),
    ("longest_failure", "day", "Longest failure", "Failed days in the longest failure event."),
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
    ("smallest", "L", "Smallest usable tank", "Smallest usable size that reaches the target in a version."),
    ("recommended", "L", "Recommended usable tank", "Size that reaches the target in 9 of 10 versions."),
    ("described", "L", "Usable size described", "The usable size that the report describes."),
    ("described_nominal", "L", "Nominal size described", "The nominal size that the report describes."),
    ("rain_reliability", "1", "Reliability on rain alone", "Reliability before any mains water backs it up."),
    ("rate", "1/year", "Discount rate", "What a year's delay takes off a payment; real, of today's money."),
    ("life", "year", "Life", "Years over which a thing serves."),
    ("target", "1", "Target reliability", "The reliability that the tank must reach."),
    ("yearly_yield", "L/year", "Yield a year", "Mean volume drawn from the tank in a year."),
    ("yield_quantile", "L/year", "Yield of a dry, middling and wet year", "Yearly yields."),
    ("failed_a_year", "day/year", "Days failed a year", "Mean number of failed days in a year."),
    ("spilled_share", "1", "Share spilled", "Share of the water that reached the tank and overflowed."),
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
    "day/year": "days a year",
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


def glossary() -> str:
    """Return the table of quantities in Markdown, for the README.

    Returns
    -------
    str
        One row a quantity: its words, its unit and its meaning.
    """
    rows = [
        f"| {q.long_name} | {'' if q.unit in ('', '1') else SHOWN_UNITS.get(q.unit, q.unit)} | {q.meaning} |"
        for q in sorted(QUANTITIES.values(), key=lambda q: (q.long_name.lower(), q.name))
    ]
    return "\n".join(["| term | unit | meaning |", "|---|---|---|", *dict.fromkeys(rows)])


if __name__ == "__main__":
    print(glossary())
