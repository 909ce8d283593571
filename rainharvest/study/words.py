"""Results in words, with no more figures than a rain record supports."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import xarray as xr

from rainharvest.reader import GALLON, date, gallons, marks, number


def rounded(value: float, figures: int = 2, up: bool = False) -> float:
    """Return a value to so many significant figures.

    Parameters
    ----------
    value : float
        Any number.
    figures : int
        How many; two is what a rain record supports.
    up : bool
        Never below the value: for a size that must suffice.

    Returns
    -------
    float
        The rounded value.

    Examples
    --------
    >>> rounded(18_432.0), rounded(18_432.0, up=True), rounded(0.0)
    (18000.0, 19000.0, 0.0)
    """
    if value == 0 or not math.isfinite(value):
        return value
    near = float(f"{value:.{figures}g}")
    if up and near < value:
        near += 10.0 ** (math.floor(math.log10(value)) + 1 - figures)
    return near


def litres(value: float, figures: int = 2, up: bool = False) -> str:
    """Return a volume in words, in litres below ten thousand and in kilolitres (kL) from there.

    For a reader in the US (`rainharvest.reader`): in gallons.

    Parameters
    ----------
    value : float [L]
        The volume.
    figures : int
        Significant figures.
    up : bool
        Never below the value: for a size that must suffice.

    Returns
    -------
    str
        For example "6,300 L" or "18 kL".

    Examples
    --------
    >>> litres(6_312.0), litres(18_432.0), litres(181_432.0)
    ('6,300 L', '18 kL', '180 kL')
    """
    if gallons():
        return f"{number(rounded(value / GALLON, figures, up))} gal"
    near = rounded(value, figures, up)
    if abs(near) < 10_000:
        return marks(f"{near:,.0f} L" if near == 0 or abs(near) >= 10 else f"{near:g} L")
    return f"{number(near / 1000)} kL"


def percent(share: float) -> str:
    """Return a share as whole per cent; never 100 % where something was short.

    Parameters
    ----------
    share : float [1]
        The share.

    Returns
    -------
    str
        For example "91 %".

    Examples
    --------
    >>> percent(0.914), percent(0.9996), percent(1.0), percent(0.0001)
    ('91 %', 'over 99 %', '100 %', 'under 1 %')
    """
    if 0.995 <= share < 1:
        return "over 99 %"
    if 0 < share < 0.005:
        return "under 1 %"
    return f"{100 * share:.0f} %"


def days(count: float) -> str:
    """Return a number of days in words.

    Parameters
    ----------
    count : float [day]
        How many.

    Returns
    -------
    str
        For example "1 day", "12 days", "0.4 days".

    Examples
    --------
    >>> days(1), days(12.2), days(0.44), days(0)
    ('1 day', '12 days', '0.4 days', 'no day')
    """
    if count == 0:
        return "no day"
    if count < 0.05:
        return f"fewer than {number(0.1)} days"
    near = round(count, 1) if count < 3 and not float(count).is_integer() else round(count)
    return f"{number(near)} day{'' if near == 1 else 's'}"


def middle(values: xr.DataArray) -> float:
    """Return the median over filled versions, or the value itself where there is one.

    Parameters
    ----------
    values : DataArray
        With ``member`` or without.

    Returns
    -------
    float
        The median.
    """
    return float(np.median(values.values))


def headline(done: xr.Dataset) -> str:
    """Return the answer of a study in a sentence or two.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        Plain text.
    """
    target, measure = done.attrs["target"], done.attrs["measure"]
    leaves = "that rationing leaves" if _rationed(done) else "asked for"
    aim = (
        f"{percent(target)} of the water asked for"
        if measure == "volume_reliability"
        else f"everything {leaves} on {percent(target)} of all days"
    )
    reserve = done.attrs["arrangement"] == "mains reserve"
    found, versions = done.smallest.values, done.sizes["member"]
    of = (
        f"in {math.ceil(0.9 * versions)} of {versions} equally likely fillings of the record"
        if versions > 1
        else "on the record"
    )
    of = "through the interruptions of the mains" if reserve else of  # no rain: fillings do not matter
    recommended, tank = float(done.recommended), float(done.described)
    years = _years(done)
    if math.isnan(recommended):
        best = middle(done[measure].isel(capacity=-1))
        comes, asked = middle(done.inflow_total) / years, float(done.demand_total) / years
        answer = f"No tank supplies {aim}: even {litres(float(done.capacity[-1]))} stays at {percent(best)}, "
        if reserve:
            answer += "because the mains do not bring enough between their interruptions."
        elif comes < asked:
            answer += (
                f"because {litres(comes)} a year reach the tank and {litres(asked)} a year are asked of it."
            )
        else:
            answer += (
                f"though {litres(comes)} a year reach the tank and {litres(asked)} a year are asked of it: a tank that "
                "begins empty fails until rain has filled it, and some droughts outlast what the roof can store."
            )
    else:
        nominal = recommended * float(done.described_nominal) / tank
        answer = (
            f"A tank of {litres(recommended, up=True)} usable ({litres(nominal, up=True)} nominal) is the smallest "
            f"that supplies {aim} {of}"
        )
        if litres(found.min()) != litres(found.max()):
            answer += f"; the fillings differ from {litres(found.min())} to {litres(found.max())}"
        answer += "."
    return answer + " " + described(done)


def tell(done: xr.Dataset, width: int = 100) -> None:
    """Print the answer of a study and how far the record carries it, broken into lines.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.
    width : int
        Characters on a line.
    """
    for text in (headline(done), confidence(done)):
        print(textwrap.fill(text, width))


def described(done: xr.Dataset) -> str:
    """Return what the tank described does, in a sentence.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        Plain text.
    """
    years = _years(done)
    longest = middle(done.described_longest_failure)
    text = (
        f"The tank described here ({litres(float(done.described))} usable) delivers "
        f"{litres(middle(done.described_delivered) / years)} a year and falls short on "
        f"{days(middle(done.described_days_failed) / years)} a year on average"
    )
    text += f", for {days(longest)} on end at the longest." if longest else "."
    if _rationed(done):
        text += (
            f" Rationing turns away {litres(_rationed(done) / years)} a year, on "
            f"{days(middle(done.described_days_rationed) / years)}; such days do not count as short."
        )
    mains = middle(done.described_topped_up + done.described_changed_over)
    if mains > 0:
        text += f" It takes {litres(mains / years)} a year from the mains."
    return text


def trade_off_words(done: xr.Dataset) -> str:
    """Return what the trade-off curve shows for the tank described, in a sentence.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.variant.variant`.

    Returns
    -------
    str
        Plain text.
    """
    years, target = _years(done), done.attrs["target"]
    reached = float(done.described_rain_reliability)
    what = (
        "of the water asked for" if done.attrs["measure"] == "volume_reliability" else "of all days in full"
    )
    side = "reaches" if reached >= target else "falls short of"
    return (
        f"{litres(float(done.inflow_total) / years)} a year reach the tank and "
        f"{litres(float(done.demand_total) / years)} are asked of it. A tank of {litres(float(done.described))} "
        f"usable supplies {percent(reached)} {what}, which {side} the target of {percent(target)}."
    )


def failed_years_words(done: xr.Dataset) -> str:
    """Return how the failures fall on the years, in a sentence.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.variant.variant`.

    Returns
    -------
    str
        Plain text.
    """
    whole = (done.days_in_year >= 365).values
    failed = done.described_failed_by_year.values[whole]
    if failed.size == 0:
        return "The record holds no whole year."
    none = int((failed == 0).sum())
    longest = days(float(done.described_longest_failure))
    if none == failed.size:
        return f"It fails in none of {failed.size} whole years."
    return (
        f"It fails in {failed.size - none} of {failed.size} whole years, on {days(float(failed.max()))} in the worst; "
        f"the longest failure has {longest} on which water was asked for and not all supplied."
    )


def storage_words(worst: xr.Dataset) -> str:
    """Return what the worst stretch shows, in a sentence.

    Parameters
    ----------
    worst : Dataset
        Daily balance of the stretch.

    Returns
    -------
    str
        Plain text.
    """
    first, last = (date(t) for t in worst.time.values[[0, -1]])
    short = float(worst.unmet_daily.sum())
    return (
        f"From {first} to {last} the tank is {litres(short)} short."
        if short
        else f"Nothing is short from {first} to {last}."
    )


def confidence(done: xr.Dataset) -> str:
    """Return how far the record carries the answer, in a sentence.

    Parameters
    ----------
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        Plain text. The limits are working rules of this package, from how yields over windows of one long
        gauge record scatter.
    """
    years = _years(done)
    if done.attrs["arrangement"] == "mains reserve":
        return (
            f"The interruptions were played through {_count(years)}. The size holds for interruptions like these; "
            "if they grow longer, it must be larger."
        )
    gaps = marks(f"{100 * done.attrs['days_missing'] / max(done.attrs['days_read'], 1):.1f}")
    if years < 10:
        verdict = "too short for a design: indicative only"
    elif years < 20:
        verdict = "enough for a first look, not for a design"
    elif years < 30:
        verdict = "acceptable, with the band"
    else:
        verdict = "long enough for a design of this kind"
    return (
        f"The record used covers {_count(years)}, which is {verdict}; {gaps} % of its days had no "
        "reading of their own."
    )


def _rationed(done: xr.Dataset) -> float:
    """Return what rationing turns away from the tank described over the record, in litres."""
    return middle(done.described_rationed)


def _count(years: float) -> str:
    return f"{years:.0f} year{'' if round(years) == 1 else 's'}"


def _years(done: xr.Dataset) -> float:
    return float(done.days_in_year.sum()) / 365.25
