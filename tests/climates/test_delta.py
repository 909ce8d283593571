"""Delta change on quantiles: no change changes nothing, wet days, depths and totals change as the model's do."""

import numpy as np
import pytest
import xarray as xr

from rainharvest.climates.delta import delta_change
from rainharvest.core.errors import InputError

DAYS = xr.date_range("1991-01-01", "2020-12-31")


def invented(time, wet, mean, seed):
    """INVENTED rain: so many wet days, so deep beyond 1 mm."""
    rng = np.random.default_rng(seed)
    shape = len(time)
    values = np.where(rng.random(shape) < wet, 1.0 + rng.exponential(mean - 1.0, shape), 0.0)
    return xr.DataArray(values, {"time": time}, ("time",), attrs={"units": "mm/day"})


def model(calendar, years=("1981", "2010")):
    return xr.date_range(f"{years[0]}-01-01", f"{years[1]}-12-30", calendar=calendar, use_cftime=True)


@pytest.mark.parametrize("calendar", ["standard", "noleap", "360_day"])
def test_a_model_that_does_not_change_leaves_the_record_as_it_is(calendar):
    rain, same = invented(DAYS, 0.3, 9, 1), invented(model(calendar), 0.5, 4, 2)
    np.testing.assert_allclose(delta_change(rain, same, same), rain, rtol=1e-9)


@pytest.mark.parametrize("calendar", ["noleap", "360_day"])
@pytest.mark.parametrize("thinner, deeper", [(0.75, 1.32), (1.2, 0.9)])
def test_wet_days_depths_and_totals_change_as_the_models_do(calendar, thinner, deeper):
    rain = invented(DAYS, 0.3, 9, 1)
    was = invented(model(calendar), 0.4, 5, 2)
    rng = np.random.default_rng(3)
    if thinner < 1:
        will = was.where(rng.random(was.size) < thinner, 0.0) * deeper
    else:
        will = was.where(was > 0, invented(was.time, 0.4 * (thinner - 1) / 0.6, 5, 4)) * deeper
    was = (was / 86400).assign_attrs(units="kg m-2 s-1")  # a flux, as models give it
    found = delta_change(rain, was, will, wet_day=0.5)
    for month in range(1, 13):
        own, new = (x.values[x.time.dt.month == month] for x in (rain, found))
        before, after = (x.values[x.time.dt.month == month] for x in (was * 86400, will))
        assert new.sum() / own.sum() == pytest.approx(after.sum() / before.sum(), rel=1e-6)
        ratio = (after >= 0.5).sum() / (before >= 0.5).sum()
        assert (new > 0).sum() == pytest.approx(ratio * (own > 0).sum(), abs=0.51)
    # thinning is not counted twice: the median of wet days changes as the model's depths do
    assert float(found.where(found > 0).median() / rain.where(rain > 0).median()) == pytest.approx(
        deeper, rel=0.05
    )


def test_a_record_with_gaps_and_a_model_without_rain_are_refused():
    rain = invented(DAYS, 0.3, 9, 1)
    with pytest.raises(InputError, match="gaps"):
        delta_change(rain.where(rain < 5), rain, rain)
    with pytest.raises(InputError, match="no wet day in month 1"):
        delta_change(rain, 0 * rain, rain)
