"""Five invented climates with three invented gauges each: the settings that ``invented`` draws rain from.

Every number is an own choice, picked to be plausible for the class of climate and taken from no record.
The places do not exist; their coordinates lie in open sea on purpose, at a latitude that suits the climate.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Gauge:
    """One invented rain gauge.

    Parameters
    ----------
    site : str
        Its invented name.
    latitude : float [degrees_north]
        Where it stands.
    longitude : float [degrees_east]
        Where it stands.
    elevation : float [m]
        Height above the sea.
    depth_factor : float [1]
        Rain on a wet day, as a multiple of the climate's.
    """

    site: str
    latitude: float
    longitude: float
    elevation: float
    depth_factor: float = 1.0


@dataclass(frozen=True)
class Climate:
    """The settings of one invented climate, months running from January to December.

    Parameters
    ----------
    name : str
        Its name, also the name of its demo files.
    gauges : tuple of Gauge
        The gauge of the study first, its neighbours after it.
    wet_share : tuple of 12 float [1]
        Share of days with rain in the middle of each month; the days between are interpolated.
    wet_depth : tuple of 12 float [mm]
        Mean rain on a day with rain in the middle of each month; the days between are interpolated.
    persistence : float [1]
        How much likelier rain is after a wet day than after a dry one (difference of the two chances),
        0 for independent days.
    shape : float [1]
        Shape of the Weibull law of wet-day depths; smaller is more skewed, 1 is the exponential law.
    slow_share : float [1]
        Effect of one standard deviation of the slow variation on the log-odds of rain.
    slow_depth : float [1]
        Effect of one standard deviation of the slow variation on the logarithm of the wet-day depth.
    memory : float [1]
        Correlation of the slow variation from one year to the next.
    reach : float [km]
        Distance over which the correlation of the weather between two gauges falls to 1/e.
    year_start_month : int [1]
        Month, in the dry season, in which the slow variation takes its next value.
    seed : int [1]
        Seed of its demo files.
    """

    name: str
    gauges: tuple[Gauge, ...]
    wet_share: tuple[float, ...]
    wet_depth: tuple[float, ...]
    persistence: float
    shape: float
    slow_share: float
    slow_depth: float
    memory: float
    reach: float
    year_start_month: int
    seed: int


_ALL = (
    Climate(
        name="winter_rain",
        gauges=(
            Gauge("Velmarra", -33.42, 4.85, 120),
            Gauge("Ostrel Head", -33.35, 4.97, 65, 0.90),
            Gauge("Pindrake", -33.58, 4.96, 310, 1.18),
        ),
        wet_share=(0.07, 0.07, 0.11, 0.20, 0.33, 0.42, 0.44, 0.41, 0.31, 0.20, 0.13, 0.08),
        wet_depth=(4.0, 4.2, 4.8, 6.0, 7.2, 8.2, 8.0, 7.2, 6.2, 5.2, 4.6, 4.2),
        persistence=0.34,
        shape=0.75,
        slow_share=0.16,
        slow_depth=0.08,
        memory=0.65,
        reach=190,
        year_start_month=2,
        seed=107,
    ),
    Climate(
        name="monsoon",
        gauges=(
            Gauge("Tamarun", 17.86, 88.30, 210),
            Gauge("Bhelasor", 17.95, 88.42, 260, 1.10),
            Gauge("Odhrani", 17.68, 88.24, 150, 0.92),
        ),
        wet_share=(0.02, 0.03, 0.04, 0.06, 0.13, 0.44, 0.62, 0.60, 0.44, 0.18, 0.06, 0.02),
        wet_depth=(8.0, 8.0, 8.0, 10.0, 13.0, 15.5, 16.5, 15.5, 15.0, 15.0, 12.0, 8.0),
        persistence=0.30,
        shape=0.72,
        slow_share=0.14,
        slow_depth=0.08,
        memory=0.65,
        reach=150,
        year_start_month=2,
        seed=103,
    ),
    Climate(
        name="two_rainy_seasons",
        gauges=(
            Gauge("Lumaketi", -1.12, 50.20, 1480),
            Gauge("Orongesa", -1.04, 50.31, 1610, 1.12),
            Gauge("Wakindu", -1.29, 50.14, 1350, 0.88),
        ),
        wet_share=(0.16, 0.15, 0.34, 0.54, 0.40, 0.14, 0.09, 0.11, 0.13, 0.34, 0.52, 0.32),
        wet_depth=(8.0, 8.5, 10.0, 12.5, 10.0, 6.0, 4.5, 5.0, 6.0, 8.5, 10.5, 9.0),
        persistence=0.28,
        shape=0.75,
        slow_share=0.18,
        slow_depth=0.09,
        memory=0.60,
        reach=150,
        year_start_month=8,
        seed=111,
    ),
    Climate(
        name="semi_arid",
        gauges=(
            Gauge("Tarrabine", -26.45, 98.60, 340),
            Gauge("Coolgarra Well", -26.60, 98.72, 325, 0.94),
            Gauge("Mullenary", -26.30, 98.75, 380, 1.08),
        ),
        wet_share=(0.19, 0.19, 0.14, 0.08, 0.07, 0.07, 0.06, 0.05, 0.06, 0.09, 0.12, 0.16),
        wet_depth=(10.5, 11.0, 9.5, 7.5, 6.0, 5.0, 4.5, 4.5, 5.5, 7.0, 8.0, 9.0),
        persistence=0.30,
        shape=0.70,
        slow_share=0.22,
        slow_depth=0.12,
        memory=0.65,
        reach=170,
        year_start_month=8,
        seed=109,
    ),
    Climate(
        name="temperate_all_year",
        gauges=(
            Gauge("Aldermoss", 51.30, -21.40, 85),
            Gauge("Fennholt Rise", 51.22, -21.24, 140, 1.10),
            Gauge("Brackenwell", 51.44, -21.58, 50, 0.93),
        ),
        wet_share=(0.55, 0.50, 0.47, 0.45, 0.43, 0.41, 0.41, 0.42, 0.44, 0.51, 0.55, 0.56),
        wet_depth=(4.7, 4.4, 4.1, 4.1, 4.4, 5.0, 5.3, 5.5, 5.3, 5.5, 5.3, 5.1),
        persistence=0.30,
        shape=0.78,
        slow_share=0.12,
        slow_depth=0.05,
        memory=0.60,
        reach=190,
        year_start_month=4,
        seed=101,
    ),
)

CLIMATES: dict[str, Climate] = {climate.name: climate for climate in _ALL}
