"""How often the fillings' 90 % band holds what was measured: hidden days of real records filled again."""

import sys

import numpy as np
import pandas as pd
import xarray as xr
from real_records import aquacrop, texmex

from rainharvest import simulate
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.fill_skill import USUAL_LENGTHS, hide_blocks

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


def record(name):
    return texmex() if name == "texmex" else aquacrop(name)


def measures(versions, days):
    """Return what a study reads off each version: annual totals, reliability of three tanks, smallest tank."""
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
    smallest = [np.interp(target, one, np.log(sizes / steady)) for one in tank]
    return np.add.reduceat(versions, edges, axis=1), tank[:, places], np.array(smallest)


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
    totals, tanks, smallest = measures(np.vstack([filled, values]), days)
    touched = pd.Series(hidden).groupby(days.year.to_numpy()).any().to_numpy()
    wet = (filled[:, hidden] >= 1).mean() - (values[hidden] >= 1).mean()
    return {
        "rain of the hidden days (%)": (100 * (filled[:, hidden].mean() / values[hidden].mean() - 1), np.nan),
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
    }


def table_of(names, beside, lengths, repeats):
    """Return bias and coverage with their sampling errors, over records and repeats."""
    rows = {}
    for name in names:
        others = [record(one) for one in beside.get(name, ())]
        for seed in range(repeats):
            for what, pair in one_filling(name, others, lengths, seed).items():
                rows.setdefault((what, name), []).append(pair)
    return rows


def lines_of(rows, each=False):
    """Return a table in words: over all records, and record by record if asked."""
    names = list(dict.fromkeys(name for _, name in rows))
    out = []
    for what in dict.fromkeys(what for what, _ in rows):
        means = np.array([np.mean(rows[what, name], axis=0) for name in names])
        every = np.concatenate([rows[what, name] for name in names])
        error = every.std(axis=0, ddof=1) / np.sqrt(len(every))
        said = f"{what:34s} bias {every[:, 0].mean():+7.3f} ± {error[0]:.3f}"
        if np.isfinite(every[0, 1]):
            said += f"   band holds {100 * every[:, 1].mean():5.1f} ± {100 * error[1]:.1f} %"
        out.append(said)
        if each:
            out += [
                f"     {name:18s} {m[0]:+7.3f}  {100 * m[1]:5.1f}"
                for name, m in zip(names, means, strict=True)
            ]
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
    for case in sys.argv[2:] or CASES:
        print(case, flush=True)
        print(
            "\n".join("  " + line for line in lines_of(table_of(*CASES[case], int(sys.argv[1])), True)),
            flush=True,
        )
