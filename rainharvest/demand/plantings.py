"""What a garden is made of: crop coefficients, soils and ways of watering, each with its source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.demand.calendar import as_days
from rainharvest.demand.periods import check_rule
from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sources import Default

FAO_56_CROPS = "Allen et al. 1998, FAO-56, table 12, as quoted in a public source file"
FAO_56_SOILS = "Allen et al. 1998, FAO-56, table 19, as quoted in a public source file, middle of its range"
FAO_56_MEMORY = "Allen et al. 1998, FAO-56, from memory, not verified"
FAO_TRAINING = (
    "Brouwer, Prins and Heibloem (FAO) 1989, Irrigation scheduling, training manual 4, from memory, "
    "not verified"
)


@dataclass(frozen=True)
class Crop:
    """Crop coefficients of one planting: at the beginning, in mid-season and at the end.

    Parameters
    ----------
    initial, middle, late : float
        Multiples of the reference evapotranspiration.
    source : str
        Where they come from.
    """

    initial: float
    middle: float
    late: float
    source: str = FAO_56_CROPS


CROPS: dict[str, Crop] = {
    "lawn, cool season": Crop(0.90, 0.95, 0.95, FAO_56_MEMORY),
    "lawn, warm season": Crop(0.80, 0.85, 0.85, FAO_56_MEMORY),
    "lettuce": Crop(0.7, 1.00, 0.95),
    "cabbage": Crop(0.7, 1.05, 0.95),
    "carrot": Crop(0.7, 1.05, 0.95),
    "tomato": Crop(0.6, 1.15, 0.90),
    "pepper": Crop(0.6, 1.05, 0.90),
    "potato": Crop(0.5, 1.15, 0.75),
    "green beans": Crop(0.5, 1.05, 0.90),
    "strawberry": Crop(0.40, 0.85, 0.75),
    "banana": Crop(0.50, 1.10, 1.00),
}
"""Where the table gives a range, its upper end: too small a demand hides failures."""

SOILS: dict[str, Default] = {
    "sand": Default(75.0, "mm/m", FAO_56_SOILS, "handbook", 50.0, 110.0),
    "loam": Default(130.0, "mm/m", FAO_56_SOILS, "handbook", 100.0, 180.0),
    "clay": Default(140.0, "mm/m", FAO_56_SOILS, "handbook", 80.0, 200.0),
}
"""Water that plants can take from a metre of soil: field capacity less wilting point."""

METHODS: dict[str, Default] = {
    "drip": Default(0.90, "1", FAO_TRAINING, "from memory"),
    "sprinkler": Default(0.75, "1", FAO_TRAINING, "from memory"),
    "surface": Default(0.60, "1", FAO_TRAINING, "from memory"),
    "hose or can": Default(0.70, "1", "own choice, between sprinkler and surface", "own choice"),
}
"""Share of the water applied that stays in the root zone."""

ROOT_DEPTH = Default(0.3, "m", "own choice: lawn and vegetables in garden soil", "own choice", 0.2, 1.0)
READILY = Default(0.4, "1", FAO_56_MEMORY + " (table 22, lawn and vegetables)", "from memory", 0.2, 0.5)
"""Share of the available water that plants take without stress."""
SMALL_RAIN = Default(0.2, "1", FAO_56_MEMORY + " (chapter 8)", "from memory")
"""Rain below this share of the day's reference evapotranspiration evaporates and is not counted."""
RAIN_KEPT = Default(0.9, "1", "own choice: the rest runs off or stays on leaves", "own choice", 0.7, 1.0)

OPEN_WATER = Default(1.05, "1", FAO_56_MEMORY + " (table 12, open water less than 2 m deep)", "from memory")
"""Evaporation of a shallow pool, a multiple of the reference evapotranspiration."""
POOL_DROP = Default(50.0, "mm", "own choice: as deep as the mouth of a skimmer", "own choice", 10.0, 150.0)


def season_coefficients(crop: str, sown: str, stage_lengths, time) -> xr.DataArray:
    """Return the crop coefficient of every day of a crop that is sown each year.

    Level through the initial stage, straight up to mid-season, level through it, straight down to the
    end of the late stage; zero where nothing grows.

    Parameters
    ----------
    crop : str
        One of `CROPS`.
    sown : str
        Day of sowing, MM-DD.
    stage_lengths : 4 ints [day]
        Days of the initial, development, middle and late stage.
    time : DatetimeIndex, pandas Series or DataArray
        The days.

    Returns
    -------
    DataArray [1]
        On ``time``.

    Raises
    ------
    InputError
        If the crop is unknown, the day is none, or the stages are not four or pass a year.

    Notes
    -----
    FAO-56, chapter 6, figure 34. Stage lengths there, as quoted in a public source file: lettuce 20, 30,
    15, 10 days; tomato 30, 40, 45, 30.

    Examples
    --------
    >>> import pandas as pd
    >>> days = pd.date_range("2023-01-01", "2023-12-31")
    >>> kc = season_coefficients("lettuce", "03-01", (20, 30, 15, 10), days)
    >>> kc.sel(time=["2023-02-28", "2023-03-01", "2023-04-05", "2023-04-25", "2023-06-01"]).values
    array([0.  , 0.7 , 0.85, 1.  , 0.  ])
    """
    if crop not in CROPS:
        raise InputError(f'there is no crop "{crop}"', f"choose one of {', '.join(CROPS)}", "crop")
    lengths = np.asarray(stage_lengths, dtype=float)
    if lengths.shape != (4,) or not (lengths > 0).all() or lengths.sum() > 365:
        raise InputError(
            f"stages of {stage_lengths} days do not fit a year", "give four lengths in days", "stage_lengths"
        )
    days = as_days(time)
    if len(check_rule(sown)) != 5 or sown == "02-29":
        raise InputError(f'"{sown}" is not a day of every year', "give MM-DD, such as 03-15", "sown")
    begun = np.array([f"{y}-{sown}" for y in range(days[0].year - 1, days[-1].year + 1)], "datetime64[D]")
    at = np.searchsorted(begun, days.to_numpy(), side="right") - 1
    since = (days.to_numpy() - begun[at]) / np.timedelta64(1, "D")
    k, ends = CROPS[crop], np.cumsum(lengths)
    values = np.interp(
        since, [0, ends[0], ends[1], ends[2], ends[3]], [k.initial, k.initial, k.middle, k.middle, k.late]
    )
    values = np.where((since < 0) | (since >= ends[3]), 0.0, values)
    return xr.DataArray(
        values, {"time": days}, ("time",), name="crop_coefficient", attrs=attributes("crop_coefficient")
    )
