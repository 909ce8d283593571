"""What each tank size costs and saves."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.sizing.costs import annual_cost
from rainharvest.study.file import Study


def cost_rows(study: Study, done: xr.Dataset) -> pd.DataFrame:
    """Return what each size costs a year and a kilolitre, and what mains water it saves.

    Parameters
    ----------
    study : Study
        With costs.
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    DataFrame
        On the usable size [L]: ``capital``, ``annual``, ``per_kilolitre``, ``saved`` (currency).
    """
    costs = study.costs
    capital = costs.fixed + costs.per_litre * done.nominal.values
    annual = annual_cost(capital, costs.upkeep, costs.rate, costs.life)
    supplied = done.yearly_yield.median("member").values / 1000
    with np.errstate(divide="ignore"):
        each = np.where(supplied > 0, annual / supplied, np.inf)
    frame = {"capital": capital, "annual": annual, "per_kilolitre": each, "saved": supplied * costs.tariff}
    return pd.DataFrame(frame, index=pd.Index(done.capacity.values, name="capacity"))


def cost_of_described(study: Study, done: xr.Dataset) -> pd.Series | None:
    """Return what the tank described costs, between the sizes of the curve.

    Parameters
    ----------
    study : Study
        The study.
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    Series or None
        As a row of `cost_rows`; None where the study gives no prices.
    """
    if study.costs is None:
        return None
    rows = cost_rows(study, done)
    at = float(done.described)
    return pd.Series({name: float(np.interp(at, rows.index.values, rows[name].values)) for name in rows})
