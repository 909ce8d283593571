"""Published tables of chlorine and ultraviolet light."""

from __future__ import annotations

_EPA = (
    "United States Environmental Protection Agency, Disinfection Profiling and Benchmarking, EPA 815-R-20-003, June "
    "2020"
)
CHLORINE_SOURCE = f"{_EPA}, Tables B-1 and B-2, as transcribed in a public source file"
UV_SOURCE = (
    "United States Environmental Protection Agency, Ultraviolet Disinfection Guidance Manual, table of doses, as "
    "quoted on a public training page"
)
TEMPERATURES = (0.5, 5.0, 10.0, 15.0, 20.0, 25.0)
"""Columns of the tables, degrees Celsius: the next colder one counts."""
VIRUS_CT = {9.0: (12, 8, 6, 4, 3, 2), 10.0: (90, 60, 45, 30, 22, 15)}
"""Chlorine times minutes for 4 log of viruses, mg min/L, by the highest pH and by temperature (Table B-2)."""
CYST_PH = (6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0)
CYST_CT: dict[float, tuple[tuple[int, ...], ...]] = {
    0.4: (
        (137, 163, 195, 237, 277, 329, 390),
        (97, 117, 139, 166, 198, 236, 279),
        (73, 88, 104, 125, 149, 177, 209),
        (49, 59, 70, 83, 99, 118, 140),
        (36, 44, 52, 62, 74, 89, 105),
        (24, 29, 35, 42, 50, 59, 70),
    ),
    0.6: (
        (141, 168, 200, 239, 286, 342, 407),
        (100, 120, 143, 171, 204, 244, 291),
        (75, 90, 107, 128, 153, 183, 218),
        (50, 60, 72, 86, 102, 122, 146),
        (38, 45, 54, 64, 77, 92, 109),
        (25, 30, 36, 43, 51, 61, 73),
    ),
    1.0: (
        (148, 176, 210, 253, 304, 365, 437),
        (105, 125, 149, 179, 216, 260, 312),
        (79, 94, 112, 134, 162, 195, 234),
        (53, 63, 75, 90, 108, 130, 156),
        (39, 47, 56, 67, 81, 98, 117),
        (26, 31, 37, 45, 54, 65, 78),
    ),
    1.2: (
        (152, 180, 215, 259, 313, 376, 451),
        (107, 127, 152, 183, 221, 267, 320),
        (80, 95, 114, 137, 166, 200, 240),
        (54, 64, 76, 92, 111, 134, 160),
        (40, 48, 57, 69, 83, 100, 120),
        (27, 32, 38, 46, 55, 67, 80),
    ),
    2.0: (
        (165, 197, 236, 286, 346, 417, 500),
        (116, 138, 165, 200, 243, 294, 353),
        (87, 104, 124, 150, 182, 221, 265),
        (58, 69, 83, 100, 122, 147, 177),
        (44, 52, 62, 75, 91, 110, 132),
        (29, 35, 41, 50, 61, 74, 88),
    ),
    3.0: (
        (181, 217, 261, 316, 382, 460, 552),
        (126, 151, 182, 221, 268, 324, 389),
        (95, 113, 137, 166, 201, 243, 292),
        (63, 76, 91, 111, 134, 162, 195),
        (47, 57, 68, 83, 101, 122, 146),
        (32, 38, 46, 55, 67, 81, 97),
    ),
}
"""Chlorine times minutes for 3 log of Giardia cysts, mg min/L, by free chlorine, temperature and pH (rows of
Table B-1: some of its concentrations; the next higher one counts, which asks for more)."""

LOGS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0)
UV_DOSES: dict[str, tuple[float, ...]] = {
    "Cryptosporidium": (1.6, 2.5, 3.9, 5.8, 8.5, 12, 15, 22),
    "Giardia": (1.5, 2.1, 3.0, 5.2, 7.7, 11, 15, 22),
    "viruses": (39, 58, 79, 100, 121, 143, 163, 186),
}
"""Dose for so many logs (`LOGS`), mJ/cm2."""
