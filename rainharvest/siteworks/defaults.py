"""The default numbers of the site works, each with its source, for the report."""

from __future__ import annotations

from rainharvest.sources import Default

NO_SOURCE = "common practice, no source"

WATER = Default(1000.0, "kg/m3", "density of fresh water, rounded up", "handbook")
CONCRETE = Default(
    2400.0, "kg/m3", "reinforced concrete, handbook value, from memory", "from memory", 2300, 2500
)
EMPTY_SHARE = Default(
    0.03,
    "1",
    "own choice: a plastic tank weighs about 3 % of its water, a steel one about as much; a concrete tank far more",
    "own choice",
    0.02,
    0.6,
)
SLAB_THICKNESS = Default(0.10, "m", NO_SOURCE, "common practice", 0.10, 0.15)
SLAB_MARGIN = Default(0.10, "m", NO_SOURCE, "common practice", 0.10, 0.30)
HEIGHT_OVER_WIDTH = Default(
    1.5, "1", "own choice: beyond this height over width a tank that stands empty is tied down", "own choice"
)
HEIGHT = Default(2.0, "m", "own choice: a tank that a person can look into from a step", "own choice")
GROUND = "clay"
"""Own choice: the class with the least presumed value, until somebody has dug and looked."""

DESIGN_INTENSITY = Default(
    75.0,
    "mm/h",
    "practice of the United Kingdom, 0.021 L/s on each m2, Approved Document H Table 2 as seen in a handbook "
    "extract; national rules say which",
    "handbook",
)
SHORTEST_STORM = Default(
    5.0, "min", "own choice: the time over which the design intensity is taken to last", "own choice"
)
DAY_TO_24_HOURS = Default(
    1.13,
    "1",
    "Hershfield 1961, United States Weather Bureau Technical Paper 40: the greatest 24 hours over the fixed day; "
    "from memory, not verified",
    "from memory",
)
RETURN_PERIOD = Default(
    10.0,
    "year",
    "storm of the worked soakaway to BRE Digest 365 (10-year); local rules may ask for more",
    "handbook",
)
VOIDS = Default(
    0.30,
    "1",
    "fill of the worked soakaway to BRE Digest 365, public calculation sheet of 14 May 2008",
    "handbook",
)
HALF_EMPTY_LIMIT = Default(
    24.0,
    "h",
    "BRE Digest 365, as quoted in a public calculation and by a county's drainage guidance",
    "handbook",
)
SOAKAWAY_DISTANCE = Default(
    5.0, "m", "BRE Digest 365 and Approved Document H, as quoted in a public calculation", "handbook"
)
LEAST_INFILTRATION = Default(
    1e-6,
    "m/s",
    "two English councils' guidance on BRE Digest 365 tests: slower ground is unsuitable",
    "handbook",
)
GROUNDWATER_CLEAR = Default(
    1.0, "m", "English county guidance: base of the soakaway above the highest groundwater", "handbook"
)
OVERFLOW_ORIFICE = Default(
    0.6,
    "1",
    "discharge coefficient of a sharp-edged hole, textbook value, from memory",
    "from memory",
    0.59,
    0.65,
)
MAINS_SPEED = Default(
    3.0,
    "m/s",
    "own choice: water in the mains inlet while its float valve sticks open; a bucket timed under the open valve "
    "gives the real flow",
    "own choice",
)

BUCKET = Default(20.0, "L", "own choice: the jerry can of relief work", "own choice", 10, 25)
BUCKET_HEIGHT = Default(0.40, "m", "own choice: height of a 20 L jerry can, rounded up", "own choice")
BUCKET_CLEARANCE = Default(0.05, "m", "own choice: so that it can be tipped in and out", "own choice")
TAP_BORE = Default(20.0, "mm", NO_SOURCE, "common practice", 15, 25)
PIPE_ROUGHNESS = Default(
    0.007, "mm", "smooth plastic pipe, textbook value, from memory", "from memory", 0.0015, 0.03
)
TAP_SEATS = Default(
    340.0,
    "1",
    "a tap taken as a globe valve, Crane TP-410: K = 340 f_T, computed by the library fluids; taps differ, the "
    "maker's figure governs",
    "handbook",
)

PUMP_EFFICIENCY = Default(
    0.4, "1", "own choice: small centrifugal pumps near their best point", "own choice", 0.25, 0.65
)
MOTOR_EFFICIENCY = Default(
    0.7, "1", "own choice: single-phase motors below a kilowatt", "own choice", 0.5, 0.85
)
SHUT_OFF_SHARE = Default(
    1.33,
    "1",
    "own choice: head at no flow over head at the duty wanted, a flat to middling curve",
    "own choice",
)
MOTOR_MARGIN = Default(1.25, "1", NO_SOURCE, "common practice", 1.1, 1.5)
STARTS = Default(
    12.0,
    "1/h",
    "300 starts in 24 hours for motors below 1 horsepower, Water Well Journal (tank selection), as quoted there; "
    "evenly spread that is 12.5 an hour; the maker's figure governs",
    "handbook",
    6,
    30,
)
FIXTURE_PRESSURE = Default(
    55.0, "kPa", "most fixtures, 8 lbf/in2, public table of fixture requirements", "handbook", 28, 170
)
FIXTURE_FLOW = Default(0.3, "L/s", "own choice: two or three taps open at once", "own choice", 0.1, 1.0)
CUT_OUT_SUBMERGENCE = Default(
    0.10, "m", "own choice: water over the intake at which the pump must stop", "own choice", 0.05, 0.3
)
MOTOR_SIZES = (0.25, 0.37, 0.55, 0.75, 1.1, 1.5, 2.2, 3.0, 4.0, 5.5, 7.5, 11.0, 15.0)
"""Preferred ratings of motors, kW: IEC 60072, from memory, not verified."""

AIR_GAP_LEAST = Default(
    20.0,
    "mm",
    "Water Regulations guidance, United Kingdom: the larger of 20 mm and twice the bore",
    "standard",
)
AIR_GAP_LEAST_ELSEWHERE = Default(
    25.0, "mm", "Plumbing Africa, June 2019, p. 37: the larger of 25 mm and twice the bore", "handbook"
)
