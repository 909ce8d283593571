"""Default values with their sources, and the usual cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["standard", "handbook", "open data", "common practice", "from memory", "own choice"]


@dataclass(frozen=True)
class Default:
    """One default value with its unit and its source."""

    value: float  # The number
    unit: str  # Its unit, UDUNITS spelling ("1" for a ratio)
    source: str  # Author, title, year and place of the table or clause; for common practice, "no source"
    # "standard", "handbook", "open data", "common practice", "from memory" (a published value that nobody
    # here has read in the original: check your edition) or "own choice"
    kind: Kind
    low: float | None = None  # The published range, where there is one
    high: float | None = None  # The published range, where there is one


@dataclass(frozen=True)
class Caution:
    """One caution."""

    title: str  # What it is about
    text: str  # What to mind, and whose rules govern


CAUTIONS = {
    "drinking": Caution(
        "Drinking water",
        "Rain off a roof is not drinking water as it comes. For drinking, cooking or washing of wounds it must "
        "be filtered and disinfected, tested as often as the local health authority asks, and looked after by "
        "someone named. Label every tap that is not fit to drink from.",
    ),
    "backflow": Caution(
        "Backflow",
        "Rain and mains pipework must never be cross-connected. Mains water enters a tank only through an air "
        "gap or an approved backflow device. Required gaps differ from country to country: twice the bore, and no "
        "less than 20 mm in the United Kingdom, 25 mm elsewhere. A licensed plumber does this work.",
    ),
    "weight": Caution(
        "Weight",
        "A thousand litres weigh a tonne. A full tank needs level, firm, drained ground and a base laid for it; "
        "nothing is put on a stand or a roof without a structural engineer. Keep children from climbing on it.",
    ),
    "roof work": Caution(
        "Work on roofs and at height",
        "Gutters and screens are cleaned from a safe stand, never alone, never on fragile or wet sheets. Old "
        "roofs may hold asbestos, lead or treated timber: have them examined before the water is used.",
    ),
    "electricity": Caution(
        "Pumps and electricity",
        "Pumps near water need an earth-leakage device and a licensed electrician, and protection against "
        "running dry.",
    ),
    "confined space": Caution(
        "Inside a tank",
        "A tank is a confined space: its air can kill. Nobody enters one without training, a permit, "
        "ventilation and a second person outside. Keep lids locked, against children and mosquitoes.",
    ),
    "mosquitoes": Caution(
        "Mosquitoes",
        "Any opening wider than about a millimetre lets mosquitoes in, and some grow from egg to adult within a "
        "week: screen inlet, overflow, vent and lid, mend what is torn, let no gutter or saucer hold water. Where "
        "they carry disease, the health authority says what may be put into the water.",
    ),
    "digging": Caution(
        "Digging",
        "A trench or a pit can collapse on whoever stands in it, or meet a cable or a gas pipe. Have services "
        "located; shore or slope anything that a person enters; fence a trial pit while it drains.",
    ),
    "overflow": Caution(
        "Overflow",
        "Treat the tank as full when the storm comes: the overflow must carry all that the inlet brings, away "
        "from foundations, neighbours and the tank's own base.",
    ),
}

"""By subject, in the order in which they are shown. All are common practice, no source."""
