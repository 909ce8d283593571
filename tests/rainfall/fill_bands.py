"""How far fillings are off, and how often their 90 % band holds what was measured: hidden days filled again.

`fill_bands.py REPEATS [CASE ...]` prints for each case the bias and the coverage over all fillings, each with its
standard error, then record by record. Days hidden by chance are wetter or drier than their season, which no filling
can know: biases are stated where they are neither, by regression on that. The errors in brackets are those over
another choice of as many records.
"""

import sys

import numpy as np
import pandas as pd
import xarray as xr
from real_records import aquacrop, texmex

from rainharvest import simulate
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.fill_skill import USUAL_LENGTHS, hide_blocks, season_mean

ENGLAND = ("cambridge", "suffolk", "norfolk", "lincolnshire", "north_yorks", "northumberland")
NEAR = {name: [one for one in ENGLAND if one != name] for name in ENGLAND}
FAR = {
    "cambridge": ("suffolk", "north_yorks"),
    "suffolk": ("lincolnshire",),
    "norfolk": ("north_yorks",),
    "lincolnshire": ("cambridge", "norfolk"),
    "north_yorks": ("cambridge",),
    "northumberland": ("north_yorks",),
}
ALONE = ("brussels", "tunis", "hyderabad", "cordoba", "champion", "texmex")
TANKS = (5, 15, 40)  # [day] of the demand, which is 0.7 of the mean rain
SIZES = np.geomspace(0.5, 500, 160)  # [day]
MEMBERS = 20
WETTER = "hidden days wetter than their season"


def record(name):
    return texmex() if name == "texmex" else aquacrop(name)


def measures(versions, days):
    """Return what a study reads off each version: annual totals, reliability of three tanks, smallest tank.

    The versions end with the truth; the last number is the reliability at the tank that is the smallest in truth.
    """
    years = days.year.to_numpy()
    edges = np.concatenate([[0], np.flatnonzero(np.diff(years)) + 1])
    steady = 0.7 * versions[-1].mean()
    time = {"time": days}
    rain = xr.DataArray(versions, time, ("member", "time"))
    demand = xr.DataArray(np.full(len(days), steady), time, ("time",))
    sizes = np.unique(np.concatenate([SIZES, TANKS])) * steady
    tank = simulate(rain, demand, sizes)["volume_reliability"].transpose("member", "capacity").values
    places = [int(np.argmin(np.abs(sizes - t * steady))) for t in TANKS]
    target = 0.9 * tank[-1, -1]
    size = np.log(sizes / steady)
    smallest = np.array([np.interp(target, one, size) for one in tank])
    there = np.array([np.interp(smallest[-1], size, one) for one in tank])
    return np.add.reduceat(versions, edges, axis=1), tank[:, places], smallest, there


def held(band, truth):
    low, high = np.quantile(band, [0.05, 0.95], axis=0, method="weibull")
    return (truth >= low - 1e-9) & (truth <= high + 1e-9)


def one_filling(name, others, lengths, seed, share=0.15, members=MEMBERS):
    """Hide days of a record, fill them, and return the errors and whether the bands hold the truth."""
    true = record(name)
    days, values = true.index, true.to_numpy(float)
    hidden = hide_blocks(values, share, lengths, np.random.default_rng([seed, *name.encode()]))
    filled = fill_gaps(true.mask(hidden), others or None, members, seed).values
    assert np.isfinite(filled).all()
    totals, tanks, smallest, there = measures(np.vstack([filled, values]), days)
    touched = pd.Series(hidden).groupby(days.year.to_numpy()).any().to_numpy()
    wet = (filled[:, hidden] >= 1).mean() - (values[hidden] >= 1).mean()
    return {
        WETTER: (values[hidden].mean() / season_mean(values, days)[hidden].mean() - 1, np.nan),
        "rain of the hidden days (%)": (
            100 * (filled[:, hidden].mean() / values[hidden].mean() - 1),
            float(held(filled[:, hidden].mean(axis=1), values[hidden].mean())),
        ),
        "wet days of the hidden (points)": (100 * wet, np.nan),
        "annual totals (%)": (
            100 * (totals[:-1, touched].mean() / totals[-1, touched].mean() - 1),
            held(totals[:-1, touched], totals[-1, touched]).mean(),
        ),
        **{
            f"reliability, {t} days (points)": (
                100 * (tanks[:-1, k].mean() - tanks[-1, k]),
                float(held(tanks[:-1, k], tanks[-1, k])),
            )
            for k, t in enumerate(TANKS)
        },
        "smallest tank (%)": (
            100 * np.expm1(smallest[:-1].mean() - smallest[-1]),
            float(held(smallest[:-1], smallest[-1])),
        ),
        "reliability of that tank (points)": (100 * (there[:-1].mean() - there[-1]), np.nan),
    }


def table_of(names, beside, lengths, repeats):
    """Return errors and whether the bands hold, by measure: (record, repeat, 2)."""
    rows = [
        [
            one_filling(name, [record(one) for one in beside.get(name, ())], lengths, seed)
            for seed in range(repeats)
        ]
        for name in names
    ]
    return {what: np.array([[row[what] for row in one] for one in rows]) for what in rows[0][0]}


def biases(errors, wetter):
    """Return each record's mean error where the hidden days are as wet as their season, and its standard error."""
    apart = [x - x.mean(axis=1, keepdims=True) for x in (errors, wetter)]
    slope = (apart[0] * apart[1]).sum() / (apart[1] ** 2).sum()
    left = apart[0] - slope * apart[1]
    return (errors - slope * wetter).mean(axis=1), left.std(axis=1, ddof=1) / np.sqrt(errors.shape[1])


def lines_of(table, names=()):
    """Return a table in words: over all records, and record by record if they are named."""
    count = table[WETTER].shape[0]
    out = []
    for what in list(table)[1:]:
        (errors, holds), wetter = np.moveaxis(table[what], 2, 0), table[WETTER][:, :, 0]
        bias, error = biases(errors, wetter)
        between = bias.std(ddof=1) / np.sqrt(count)
        said = f"{what:34s} bias {bias.mean():+7.3f} ± {np.hypot.reduce(error) / count:.3f} (± {between:.3f})"
        if np.isfinite(holds).all():
            error = holds.std(ddof=1) / np.sqrt(holds.size)
            between = holds.mean(axis=1).std(ddof=1) / np.sqrt(count)
            said += f"   band holds {100 * holds.mean():5.1f} ± {100 * error:.1f} (± {100 * between:.1f}) %"
        out.append(said)
        for name, one, its, held in zip(names, *biases(errors, wetter), holds.mean(axis=1), strict=False):
            out.append(f"     {name:18s} {one:+7.3f} ± {its:.3f}  {100 * held:5.1f}")
    return out


CASES = {
    "near neighbours": (ENGLAND, NEAR, USUAL_LENGTHS),
    "far neighbours": (ENGLAND, FAR, USUAL_LENGTHS),
    "isolated days, far neighbours": (ENGLAND, FAR, (1,)),
    "England alone": (ENGLAND, {}, USUAL_LENGTHS),
    "gauges alone": (ALONE, {}, USUAL_LENGTHS),
    "isolated days, alone": (ALONE, {}, (1,)),
}

if __name__ == "__main__":
    repeats = int(sys.argv[1])
    for case in sys.argv[2:] or CASES:
        names = CASES[case][0]
        print(
            f"{case}: 15 % hidden, {repeats} repeats of {len(names)} records, {MEMBERS} fillings each",
            flush=True,
        )
        print("\n".join("  " + line for line in lines_of(table_of(*CASES[case], repeats), names)), flush=True)
