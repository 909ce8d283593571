"""Quantities of the tank-size decision."""

ROWS = (
    ("smallest", "L", "Smallest usable tank", "Smallest usable size that reaches the target in a version."),
    ("recommended", "L", "Recommended usable tank", "Size that reaches the target in 9 of 10 versions."),
    ("described", "L", "Usable size described", "The usable size that the report describes."),
    ("described_nominal", "L", "Nominal size described", "The nominal size that the report describes."),
    ("rain_reliability", "1", "Reliability on rain alone", "Reliability before any mains water backs it up."),
    ("rate", "1/year", "Discount rate", "What a year's delay takes off a payment; real, of today's money."),
    ("life", "year", "Life", "Years over which a thing serves."),
    ("target", "1", "Target reliability", "The reliability that the tank must reach."),
    ("yearly_yield", "L/year", "Yield a year", "Mean volume drawn from the tank in a year."),
    ("yield_quantile", "L/year", "Yield of a dry, middling and wet year", "Yearly yields."),
    ("failed_a_year", "day/year", "Days failed a year", "Mean number of failed days in a year."),
    ("spilled_share", "1", "Share spilled", "Share of the water that reached the tank and overflowed."),
    ("marginal_yield", "1/year", "Marginal yield", "Litres a year gained by one more litre of storage."),
)
