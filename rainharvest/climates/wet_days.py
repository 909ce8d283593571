"""The loss chain of `rainharvest.catchment` over many places, on their wet days alone: what is dry is done at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from rainharvest.catchment.chain import LOSSES, fill_step, parameters
from rainharvest.catchment.hydraulics import count_standing, gutter_limits, pipe_limit
from rainharvest.catchment.intensity import share_below, weibull_shape
from rainharvest.catchment.tables import Catchment
from rainharvest.core.compiled import compiled, compiling_notice

LOWEST, HIGHEST, NODES = -12.0, 8.0, 512

"""Ends of the table over the logarithm of limit over mean, and nodes a unit: the share is right to 1e-10."""


@lru_cache(maxsize=16)
def share_table(variation: float) -> np.ndarray:
    """Return `share_below` and its slope at evenly spaced logarithms of limit over mean.

    >>> table = share_table(1.3)
    >>> float(abs(share_at(table, np.log(0.3)) - share_below(0.3, 1.0, 1.3))) < 1e-10
    True
    """
    from scipy.special import gamma

    ratio = np.exp(np.arange(LOWEST, HIGHEST + 1 / NODES, 1 / NODES))
    k = weibull_shape(variation)
    beyond = np.exp(-np.minimum((ratio * gamma(1 + 1 / k)) ** k, 700.0))
    return np.stack([share_below(ratio, 1.0, variation), ratio * beyond / NODES], axis=1)


@compiled(nogil=True, error_model="numpy")
def share_at(table, log_ratio):
    """Return the share of the rain below a limit, by cubics between the nodes of its table."""
    at = (log_ratio - LOWEST) * NODES
    if at >= table.shape[0] - 1:
        return 1.0
    if at <= 0.0:
        return table[0, 0] * np.exp(log_ratio - LOWEST)
    k = int(at)
    x = at - k
    rise = table[k + 1, 0] - table[k, 0]
    first, last = table[k, 1] - rise, rise - table[k + 1, 1]
    return table[k, 0] + x * (rise + (1.0 - x) * (first * (1.0 - x) + last * x))


@compiled(nogil=True, error_model="numpy")
def wait(held, dry, steps, drain, empty_after):
    """Return the content of a store and its dry steps in a row after so many steps without inflow, as `fill_step`."""
    dry += steps
    return (max(held - steps * drain, 0.0) if dry < empty_after else 0.0), dry


@compiled(nogil=True, error_model="numpy")
def catch_places(
    rain, hard, growth, table, drying, roofs, same, gutters, pipes, common, stand, flow, when, total, stood
):
    """Fill the inflow of each place and run, its totals (rain on the roofs, inflow, the losses) and its standing days.

    The inflow is that of the place's wet days; ``when`` says which they are. The chain is that of
    `rainharvest.catchment.chain.run_chain`, in daily steps: a roof without rain only dries, and a space without inflow
    only drains, so that many steps of it are one. Runs whose roofs are the ``same`` share their work.
    """
    days = rain.shape[1]
    log_depth, log_mean, clean = np.empty(days), np.empty(days), np.empty((roofs.shape[0], days))
    brought, held, drained = np.zeros((days, 1)), np.zeros((days, 1)), np.zeros((days, 1))
    for p in range(rain.shape[0]):
        n, fallen, hours, wet = 0, 0.0, 0.0, when[p]
        for t in range(days):
            if rain[p, t] > 0.0:
                wet[n] = t
                log_depth[n] = np.log(rain[p, t])
                fallen += rain[p, t]
                hours += np.exp((1.0 - growth) * log_depth[n])
                n += 1
        wet[n:], flow[p, :, n:] = days, 0.0
        for k in range(n):  # the mean intensity of each wet day: `wet_day_intensity`
            log_mean[k] = np.log(hard[p] * hours / fallen) + growth * log_depth[k]
        for m in range(roofs.shape[0]):
            lost = total[p, m]
            lost[0], lost[2:6] = total[p, same[m], 0], total[p, same[m], 2:6]
            clean[m, :n] = 0.0
            for r in range(roofs.shape[1] if same[m] == m else 0):
                area, coefficient, wetting = roofs[m, r, 0], roofs[m, r, 1], roofs[m, r, 2]
                flush, bleed, reset = roofs[m, r, 3], roofs[m, r, 4], roofs[m, r, 5]
                film, first, first_dry, last = 0.0, 0.0, 0.0, -1
                for k in range(n + 1):
                    t = wet[k] if k < n else days
                    before, before_first = film, first
                    film, _ = wait(film, 0.0, t - last - 1, drying * area, np.inf)
                    first, first_dry = wait(first, first_dry, t - last - 1, bleed, reset)
                    lost[2] += before - film
                    lost[5] += before_first - first
                    if k == n:
                        break
                    rained = rain[p, t] * area
                    film, _, ran, dried = fill_step(film, 0.0, rained, wetting, drying * area, np.inf)
                    runoff = ran * coefficient
                    passed = runoff
                    if gutters[m, r] < np.inf:
                        passed *= share_at(table, gutters[m, r] - log_mean[k])
                    first, first_dry, after, bled = fill_step(first, first_dry, passed, flush, bleed, reset)
                    lost[0] += rained
                    lost[2] += dried
                    lost[3] += ran - runoff
                    lost[4] += runoff - passed
                    lost[5] += bled
                    clean[m, k] += after
                    last = t
            efficiency, volume, bleed, emptied = pipes[m, 0], pipes[m, 2], pipes[m, 3], pipes[m, 4]
            content, dry, last, most, entered = 0.0, 0.0, -1, 1.0, flow[p, m]
            for k in range(n):
                caught = clean[same[m], k]
                screened = caught * efficiency
                entered[k] = screened
                if common[m] < np.inf:
                    by_gutter, by_both, by_pipe = 0.0, 0.0, share_at(table, common[m] - log_mean[k])
                    for r in range(roofs.shape[1]):
                        weight = roofs[m, r, 0] * roofs[m, r, 1]
                        share = (
                            share_at(table, gutters[m, r] - log_mean[k]) if gutters[m, r] < np.inf else 1.0
                        )
                        by_gutter += weight * share
                        by_both += weight * min(share, by_pipe)
                    entered[k] *= by_both / by_gutter if by_gutter > 0.0 else 0.0
                lost[6] += caught - screened
                lost[7] += screened - entered[k]
            for k in range(n + 1 if volume > 0.0 else 0):
                t = wet[k] if k < n else days
                if stand[m]:
                    for u in range(last + 1, t):
                        content, dry, brought[u, 0], drained[u, 0] = fill_step(
                            content, dry, 0.0, volume, bleed, emptied
                        )
                        held[u, 0] = content
                        lost[8] += drained[u, 0]
                else:
                    before = content
                    content, dry = wait(content, dry, t - last - 1, bleed, emptied)
                    lost[8] += before - content
                if k < n:
                    content, dry, entered[k], let = fill_step(
                        content, dry, entered[k], volume, bleed, emptied
                    )
                    brought[t, 0], held[t, 0], drained[t, 0] = entered[k], content, let
                    lost[8] += let
                    most = max(most, content)
                last = t
            lost[1] = entered[:n].sum()
            if stand[m] and volume > 0.0:
                count_standing(brought, held, drained, np.full(1, 1e-6 * most), stood[p, m].reshape(days, 1))


@dataclass(frozen=True)
class Caught:
    """What the loss chain makes of the rain of some places, by place and run."""

    flow: np.ndarray  # [L/day] inflow by place, run and wet day
    when: np.ndarray  # Which days these are, by place; the number of the days where there are no more
    rain_on_roof: np.ndarray  # [L] by place, on the roofs of the first run
    brought: np.ndarray  # [L] by place and run
    lost: np.ndarray  # [L] by place, run and loss
    stood: np.ndarray  # [day] that the oldest water in a wet run has stood, by place, run and day


def on_days(flow: np.ndarray, when: np.ndarray) -> np.ndarray:
    """Return the inflow of wet days, by place and run, on all days.

    >>> on_days(np.array([[[7.0, 0.0, 0.0]]]), np.array([[1, 3, 3]]))
    array([[[0., 7., 0.]]])
    """
    out = np.zeros((*flow.shape[:2], flow.shape[2] + 1))
    np.put_along_axis(out, when[:, None], flow, axis=2)
    return out[..., :-1]


def catch(
    rain: np.ndarray,
    hard: tuple[np.ndarray, np.ndarray],
    catchments: Sequence[Catchment],
    depth_growth: float,
    drying: float,
    standing: bool = True,
) -> Caught:
    """Run the rain of places [mm/day], by place and day and known throughout, through each catchment.

    How hard it falls: by place the mean of the wet hours [mm/h] and its coefficient of variation.
    """
    count, most = len(catchments), max(len(c.roofs) for c in catchments)
    given = [parameters(c, 24.0) for c in catchments]
    roofs, gutters = np.zeros((count, most, len(given[0][0]))), np.full((count, most), np.inf)
    for m, catchment in enumerate(catchments):
        own = len(catchment.roofs)
        roofs[m, :own], gutters[m, :own] = given[m][0].T, np.log(gutter_limits(catchment))
    each = np.concatenate([roofs, gutters[..., None]], axis=2).reshape(count, -1)
    same = (each[:, None] == each).all(axis=2).argmax(axis=1)
    pipes = np.stack([pipe for _, pipe in given])
    common = np.log([pipe_limit(catchment) for catchment in catchments])
    stand = np.array(
        [standing and c.conveyance is not None and c.conveyance.kind == "wet" for c in catchments]
    )
    flow, when = np.empty((rain.shape[0], count, rain.shape[1])), np.empty(rain.shape, dtype=np.int64)
    total = np.zeros((rain.shape[0], count, 2 + len(LOSSES)))
    stood = np.zeros((*flow.shape[:2], flow.shape[2] if standing else 0), dtype=np.int64)
    mean, variation = hard
    laws, out = np.unique(variation), (flow, when, total, stood)
    for law in laws:
        these = slice(None) if laws.size == 1 else np.flatnonzero(variation == law)
        filled = [values[these] for values in out]
        with compiling_notice("the loss chain"):
            catch_places(
                rain[these], mean[these], depth_growth, share_table(law), drying,
                roofs, same, gutters, pipes, common, stand, *filled,
            )  # fmt: skip
        if laws.size > 1:
            for values, part in zip(out, filled, strict=True):
                values[these] = part
    return Caught(flow, when, total[:, 0, 0], total[:, :, 1], total[:, :, 2:], stood)
