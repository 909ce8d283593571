"""The tank as it is bought: how much of it can be used."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field, model_validator

from rainharvest.sources import Default

DEAD_SHARE = Default(
    0.05,
    "1",
    "own choice: outlet a hand's breadth above the floor of a tank two metres deep",
    "own choice",
    0.02,
    0.15,
)
FREEBOARD_SHARE = Default(
    0.05,
    "1",
    "own choice: overflow a hand's breadth below the top of a tank two metres deep",
    "own choice",
    0.02,
    0.15,
)


class Tank(BaseModel):
    """What of a tank's nominal size can be used, and how the study runs it.

    Parameters
    ----------
    sizes : list of float [L], optional
        Nominal sizes to try; a spread from half a day's demand to a year's if not given.
    chosen : float [L], optional
        Nominal size that the report describes; the size recommended if not given.
    dead_share : float [1]
        Share of the nominal size below the outlet.
    freeboard_share : float [1]
        Share of the nominal size above the overflow.
    start_share : float [1]
        Share of the usable size that is full on the first morning.
    theta : float [1]
        0 for yield after spillage, 1 for yield before spillage.

    Examples
    --------
    >>> Tank(dead_share=0.1, freeboard_share=0.1).usable(10_000.0)
    8000.0
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    sizes: tuple[float, ...] | None = Field(None, min_length=2, description="nominal sizes to try [L]")
    chosen: float | None = Field(None, gt=0, le=1e9, description="nominal size described [L]")
    dead_share: float = Field(DEAD_SHARE.value, ge=0, le=0.9, description="share below the outlet [1]")
    freeboard_share: float = Field(
        FREEBOARD_SHARE.value, ge=0, le=0.9, description="share above the overflow [1]"
    )
    start_share: float = Field(0.0, ge=0, le=1, description="share full at the start [1]")
    theta: float = Field(0.0, ge=0, le=1, description="0 draws before the day's rain is in, 1 after it [1]")

    @model_validator(mode="after")
    def _leaves_something(self):
        if self.dead_share + self.freeboard_share >= 1:
            raise ValueError(
                "dead_share and freeboard_share leave nothing to use; make them add up to less than 1"
            )
        if self.sizes and (
            min(self.sizes) <= 0 or any(b <= a for a, b in zip(self.sizes, self.sizes[1:], strict=False))
        ):
            raise ValueError("sizes must rise from above zero; give each size once, smallest first")
        return self

    @property
    def usable_share(self) -> float:
        """Share of the nominal size between outlet and overflow."""
        return 1.0 - self.dead_share - self.freeboard_share

    def usable(self, nominal: float) -> float:
        """Return the usable volume of a nominal size.

        Parameters
        ----------
        nominal : float [L]
            The size that the tank is sold as.

        Returns
        -------
        float [L]
            Volume between outlet and overflow.
        """
        return nominal * self.usable_share
