"""Series and settings laid out in lanes for the balance: one lane a tank."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from rainharvest.errors import InputError


class Axes:
    """Series and settings laid out in lanes: one lane a tank, the dimensions of series outermost.

    Parameters
    ----------
    series : dict of DataArray
        Each with ``time`` last.
    settings : dict of DataArray
        Without ``time``.

    Raises
    ------
    InputError
        If two arguments give one dimension different labels.
    """

    def __init__(self, series: dict[str, xr.DataArray], settings: dict[str, xr.DataArray]):
        self.series, self.all = series, settings | series
        self.sizes: dict[str, int] = {}
        self.coords: dict[str, xr.DataArray] = {}
        source: dict[str, str] = {}
        for name, array in (series | settings).items():
            for dim, size in array.sizes.items():
                if dim in ("time", "stage"):
                    continue
                label = array.coords[dim] if dim in array.coords else None
                clash = self.sizes.setdefault(dim, size) != size
                if label is not None:
                    clash |= not self.coords.setdefault(dim, label).to_index().equals(label.to_index())
                if clash:
                    raise InputError(
                        f"{name} and {source[dim]} differ along '{dim}'", "give both the same labels", name
                    )
                source.setdefault(dim, name)
        of_series = [d for d in self.sizes if any(d in s.dims for s in series.values())]
        self.dims = of_series + [d for d in self.sizes if d not in of_series]
        self.shape = tuple(self.sizes[d] for d in self.dims)
        self.lanes = math.prod(self.shape)
        self.per_series = math.prod(self.shape[len(of_series) :])
        self._series_index = {
            n: self._flat(s.dims[:-1], np.arange(math.prod(s.shape[:-1])).reshape(s.shape[:-1]))
            for n, s in series.items()
        }

    def _flat(self, dims: tuple[str, ...], values: np.ndarray) -> np.ndarray:
        """Return values of some of the dimensions as one value a lane (by hand: xarray takes 10 ms)."""
        order = [d for d in self.dims if d in dims]
        shape = [self.sizes[d] if d in dims else 1 for d in self.dims]
        turned = values.transpose([dims.index(d) for d in order]).reshape(shape)
        return np.broadcast_to(turned, self.shape).ravel()

    def lane_values(self, *names: str) -> np.ndarray:
        """Return settings as rows, a column a lane."""
        return np.array([self._flat(self.all[n].dims, self.all[n].values) for n in names])

    def series_total(self, name: str) -> np.ndarray:
        """Return the sum of a series over the record, one value a lane."""
        array = self.series[name]
        return self._flat(array.dims[:-1], array.values.sum(axis=-1))

    def stage_values(self, name: str) -> np.ndarray:
        """Return a setting as rows of stages, a column a lane."""
        array = self.all[name]
        array = array.transpose("stage", ...) if "stage" in array.dims else array.expand_dims("stage")
        stages = max(self.all[n].sizes.get("stage", 1) for n in ("ration_level", "ration_share"))
        if array.sizes["stage"] != stages:
            raise InputError(
                f"{array.sizes['stage']} stages, where the other setting has {stages}",
                "give as many levels as shares",
                name,
            )
        dims = array.dims[1:]
        return np.array([self._flat(dims, array.values[k]) for k in range(stages)])

    def lane_series(self, name: str, lanes: np.ndarray) -> np.ndarray:
        """Return the days of one series if all lanes share it, else a column a lane."""
        rows = self._series_index[name][lanes]
        values = self.series[name].values.reshape(-1, self.series[name].sizes["time"])
        if (rows == rows[0]).all():
            return values[rows[0]]
        return np.ascontiguousarray(values[rows].T)

    def blocks(self, lanes: int, few: int) -> list[tuple[int, int]]:
        """Return where each block of lanes begins and ends; of one series where that has many tanks."""
        # Mixing pays, and is worth compiling for, only where many series have few tanks each.
        mixed = self.per_series < few and self.lanes > lanes * self.per_series
        step = self.lanes if mixed else self.per_series
        return [
            (first, min(first + lanes, begin + step))
            for begin in range(0, self.lanes, step)
            for first in range(begin, begin + step, lanes)
        ]

    def shaped(self, values: np.ndarray, *last: str) -> tuple[tuple[str, ...], np.ndarray]:
        """Return lane values, with one more dimension if named, as dimensions and array."""
        return (*self.dims, *last), values.reshape(*self.shape, *values.shape[1:])
