"""The standardised precipitation index: classes, the law, and a general-purpose library."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.rainfall.climatology import CLASSES, EDGES, period_totals, spi_class
from rainharvest.rainfall.climatology import standardised_precipitation_index as spi
from rainharvest.rainfall.invented import invent_rain

# Cumulative chance of an index (omicsonline.org/articles-images/2157-7617-6-319-t001.html).
CHANCES = {
    -3: 0.0014,
    -2.5: 0.0062,
    -2: 0.0228,
    -1.5: 0.0668,
    -1: 0.1587,
    -0.5: 0.3085,
    0: 0.5,
    1: 0.8413,
    2: 0.9772,
}
# Classes as the IRI data library prints them (maproom, standardised precipitation index).
PRINTED = [
    ("extremely wet", 2.0, np.inf),
    ("very wet", 1.5, 1.99),
    ("moderately wet", 1.0, 1.49),
    ("near normal", -0.99, 0.99),
    ("moderately dry", -1.49, -1.0),
    ("severely dry", -1.99, -1.5),
    ("extremely dry", -np.inf, -2.0),
]


def monthly(climate, years=60, seed=5):
    totals = period_totals(invent_rain(climate, years, seed).isel(site=0), 1)
    return xr.DataArray(totals.total.values, {"month": totals.time.values}, "month")


def test_classes_as_printed():
    for words, low, high in PRINTED:
        assert spi_class(low) == words == spi_class(high)
    assert spi_class(np.nan) == "unknown" and len(CLASSES) == len(EDGES) + 1


def test_edges_have_their_chances():
    """An index below an edge is as common as the table says, in rain that follows the law."""
    from scipy.stats import gamma

    years = 20_000
    u = (np.arange(years) + 0.5) / years
    rng = np.random.default_rng(0)
    totals = gamma.ppf(np.array([rng.permutation(u) for _ in range(12)]).T, a=2.3, scale=30).ravel()
    index = spi(
        xr.DataArray(
            totals,
            {"month": pd.date_range("0001-01-01", periods=12 * years, freq="MS", unit="s")}
            if years < 9000
            else {"month": np.arange(12 * years).astype("datetime64[M]").astype("datetime64[s]")},
            "month",
        ),
        1,
    )
    for edge, chance in CHANCES.items():
        assert float((index <= edge).mean()) == pytest.approx(chance, abs=5e-4)


@pytest.mark.parametrize("climate", ["temperate_all_year", "winter_rain", "two_rainy_seasons"])
@pytest.mark.parametrize("scale", [1, 3, 12])
def test_against_the_library(climate, scale):
    library = pytest.importorskip("spei")
    from scipy.stats import gamma

    class FromZero(type(gamma)):
        """The library frees the location of the law and fits the zeros too; McKee's law begins at zero."""

        def fit(self, data, *_, **__):
            return super().fit(data[data > 0], floc=0)

    total = monthly(climate)
    ours = spi(total, scale).to_series()
    sums = total.to_series().rolling(scale).sum().dropna()
    law = FromZero(a=0.0, name="gamma")
    theirs = library.spi(sums, dist=law, fit_freq="MS", prob_zero=True).reindex(ours.index)
    both = pd.concat([ours, theirs], axis=1).replace([np.inf, -np.inf], np.nan).dropna()
    assert len(both) > 650
    np.testing.assert_allclose(both.iloc[:, 0], both.iloc[:, 1], atol=1e-9)


@pytest.mark.parametrize(
    ("climate", "scale"), [("temperate_all_year", 3), ("semi_arid", 12), ("monsoon", 12)]
)
def test_against_another_estimator(climate, scale):
    """Thom's closed form of the gamma's shape (1958, from memory) instead of the likelihood's."""
    from scipy.stats import gamma, norm

    total = monthly(climate)
    sums = total.rolling(month=scale).sum()
    index = spi(total, scale)
    for month in range(1, 13):
        x = sums[sums.month.dt.month == month].dropna("month").values
        a = np.log(x.mean()) - np.log(x).mean()
        shape = (1 + np.sqrt(1 + 4 * a / 3)) / (4 * a)
        theirs = norm.ppf(gamma.cdf(x, shape, scale=x.mean() / shape))
        ours = index[index.month.dt.month == month].dropna("month").values
        np.testing.assert_allclose(ours, theirs, atol=0.03)


def test_a_month_without_rain_has_the_chance_of_one():
    total = monthly("winter_rain", 60)
    january = total.month.dt.month == 1
    zero = january & (total == 0)
    share = float(zero.sum() / january.sum())
    assert 0.02 < share < 0.9
    from scipy.stats import norm

    np.testing.assert_allclose(spi(total, 1)[zero], norm.ppf(share))


def test_an_unknown_month_takes_its_sums_with_it():
    total = monthly("temperate_all_year", 30)
    total[100] = np.nan
    index = spi(total, 3)
    assert np.flatnonzero(np.isnan(index)).tolist() == [0, 1, 100, 101, 102]


def test_months_that_are_nearly_always_dry_have_no_index():
    total = monthly("temperate_all_year", 30)
    total = total.where(total.month.dt.month != 7, 0.0)
    index = spi(total, 1)
    assert index[total.month.dt.month == 7].isnull().all() and index.notnull().sum() == 330


def test_drier_never_has_a_higher_index():
    total = monthly("semi_arid", 60)
    index = spi(total, 3)
    sums = total.rolling(month=3).sum()
    for _, part in index.groupby("month.month"):
        order = np.argsort(sums.sel(month=part.month).values)
        values = part.values[order]
        values = values[~np.isnan(values)]
        assert (np.diff(values) >= -1e-9).all()  # running sums differ in their last digit


def test_nonsense_is_refused():
    total = monthly("monsoon", 20)
    with pytest.raises(InputError, match="scale"):
        spi(total, 0)
    with pytest.raises(InputError, match="every month"):
        spi(total.isel(month=[0, 1, 3]), 1)
