"""Default numbers of the drought stage, each with its source."""

from __future__ import annotations

from rainharvest.sources import Default

FAILING_YEARS = Default(
    0.05,
    "1",
    "own choice: essential uses may fail in one year of twenty; ask those who depend on them",
    "own choice",
)
STAGE_SHARES = (
    Default(0.5, "1", "own choice: the first stage serves half of what can wait", "own choice"),
    Default(0.0, "1", "own choice: the second stage serves only what is essential", "own choice"),
)
ESSENTIAL_SHARE = Default(
    0.5, "1", "own choice: where no use is marked essential, half of every use is kept", "own choice"
)
HELP_DAYS = Default(
    14, "day", "own choice: a fortnight to order and bring water; ask who would bring it", "own choice"
)
HELP_RISK = Default(
    0.05,
    "1",
    "own choice: help is called while the tank still lasts until it comes, 19 times in 20",
    "own choice",
)
DRY_SHARE = Default(
    1 / 6,
    "1",
    "own choice, near the 16 % of a standard normal law at -1 or below",
    "own choice",
)
INDEX_MONTHS = Default(6, "1", "own choice: about a dry season", "own choice")


def drought_defaults() -> dict[str, Default]:
    """Return the defaults of the drought stage, for the report's list.

    Returns
    -------
    dict of str to Default
        By what each is.

    Examples
    --------
    >>> drought_defaults()["share of years that essential uses may fail"].value
    0.05
    """
    return {
        "share of years that essential uses may fail": FAILING_YEARS,
        "share of what can wait served in stage 1": STAGE_SHARES[0],
        "share of what can wait served in stage 2": STAGE_SHARES[1],
        "share of every use kept where none is marked essential": ESSENTIAL_SHARE,
        "time that help takes": HELP_DAYS,
        "chance of running dry before help comes that is taken": HELP_RISK,
        "share of the years called dry": DRY_SHARE,
        "months of the precipitation index": INDEX_MONTHS,
    }
