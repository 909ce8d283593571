"""The day's balance written a second time, plainly, from the order of operations in its docstring."""

import numpy as np


def day_by_day(
    inflow,
    demand,
    capacity,
    theta=0.0,
    start=0.0,
    essential=None,
    ration_level=None,
    ration_share=None,
    top_up_trigger=None,
    top_up_level=None,
    top_up_rate=1e300,
    mains_on=None,
    change_over=False,
):
    s, opened, rows = start, False, []
    for t, (q, d) in enumerate(zip(inflow, demand, strict=True)):
        e = 0.0 if essential is None else essential[t]
        shares = [k for lv, k in zip(ration_level or [], ration_share or [], strict=True) if s < lv]
        asked = d - (1 - min(shares)) * (d - e) if shares else d
        draw = min(asked, s + theta * q)
        if theta < 1:
            draw = min(draw, capacity / (1 - theta))
        overflow = max(0.0, s + q - theta * draw - capacity)
        s = max(0.0, min(s + q - theta * draw, capacity) - (1 - theta) * draw)
        short, served, kept = asked - draw, 0.0, 0.0
        if change_over or top_up_trigger is not None:
            low, high = (0.0, 0.0) if change_over else (top_up_trigger, min(top_up_level, capacity))
            opened = opened or s <= low or short > 1e-9 * asked
            if opened:
                passed = min(top_up_rate * mains_on[t], short + max(0.0, high - s))
                served = min(passed, short)
                kept = passed - served
            s, short = s + kept, short - served
            opened = opened and s < high * (1 - 1e-12)  # what the sum lacks by its last digit is not wanting
        rows.append((s, draw, overflow, short, d - asked, kept, served, short > 1e-9 * asked, asked > 0))
    stored, drawn, spilled, unmet, rationed, kept, served, failed, wanted = (
        np.array(c, dtype=float) for c in zip(*rows, strict=True)
    )
    longest = worst = run = short_run = events = 0.0
    for bad, lost, any_asked in zip(failed, unmet, wanted, strict=True):
        if not any_asked:
            continue
        events += bad and run == 0
        run, short_run = (run + 1, short_run + lost) if bad else (0.0, 0.0)
        longest, worst = max(longest, run), max(worst, short_run)
    return dict(
        stored=stored,
        drawn_daily=drawn,
        spilled_daily=spilled,
        unmet_daily=unmet,
        rationed_daily=rationed,
        mains_stored_daily=kept,
        mains_served_daily=served,
        days_failed=failed.sum(),
        failure_events=events,
        longest_failure=longest,
        worst_shortfall=worst,
    )
