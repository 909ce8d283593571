"""What to be careful about with a roof: cautions, not verdicts. Water quality is for a laboratory to say."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from rainharvest.catchment.roofs import Roof

Concern = Literal[
    "lead flashing",
    "lead paint",
    "asbestos cement",
    "treated timber",
    "copper or zinc",
    "bitumen",
    "moss",
    "trees overhead",
    "birds",
    "chimney",
    "aerials",
]

CAUTIONS: dict[str, str] = {
    "lead flashing": "Lead dissolves in rain, which is soft and slightly acid. Do not drink from this roof "
    "until the flashing is replaced or coated and the water is tested for lead.",
    "lead paint": "Old paint can hold lead. Do not drink from this roof; have the paint tested, and have it "
    "removed by people who are equipped for it, with the tank disconnected.",
    "asbestos cement": "Sheets laid before the ban in your country may hold asbestos. Do not cut, drill, "
    "scrub or blast them; have them sampled by a licensed firm; leave intact ones alone or have them replaced.",
    "treated timber": "Shingles and decks treated with arsenic, chromium, copper or creosote leach. Do not "
    "drink from this roof.",
    "copper or zinc": "Bare copper or zinc, or much of it in gutters, raises the metal in the water; test it "
    "before anyone drinks it, and keep it from fish and seedlings.",
    "bitumen": "Bitumen and felt colour and taint the water and, when new, leach; not for drinking without a "
    "test.",
    "moss": "Moss and lichen hold the rain back and shed fines that fill the first-flush space and the "
    "filter. Do not treat them with biocide while the tank is connected.",
    "trees overhead": "Leaves block gutters, feed bacteria and bring animals onto the roof. Cut branches back "
    "and clean the gutters often; never from the roof's edge without fall protection.",
    "birds": "Droppings carry pathogens. Anyone who drinks this water needs it disinfected.",
    "chimney": "Soot and tar settle on the roof; not for drinking near a wood or oil fire without a test.",
    "aerials": "Perches for birds: move them off this roof where possible.",
}
"""What each concern asks for. Common practice, no source; local health rules govern."""

OF_MATERIAL: dict[str, tuple[str, ...]] = {
    "metal": ("copper or zinc",),
    "fibre cement": ("asbestos cement",),
    "membrane": ("bitumen",),
    "gravel": ("bitumen",),
    "green": ("moss",),
    "thatch": ("birds",),
}
"""Concerns that a material raises by itself, until it is known that they do not apply."""


def roof_cautions(roof: Roof) -> list[str]:
    """Return the cautions for one roof: those that its material raises and those that the study names.

    Parameters
    ----------
    roof : Roof
        The roof.

    Returns
    -------
    list of str
        One sentence or two each, begun by the concern.

    Examples
    --------
    >>> from rainharvest.catchment.roofs import Roof
    >>> [c.split(":")[0] for c in roof_cautions(Roof(area=80, material="fibre cement", concerns=["moss"]))]
    ['asbestos cement', 'moss']
    """
    names = dict.fromkeys((*OF_MATERIAL.get(roof.material, ()), *roof.concerns))
    return [f"{name}: {CAUTIONS[name]}" for name in names]


WORK_CAUTIONS: tuple[str, ...] = (
    "Roof work: falls kill. Nobody goes onto a roof or a ladder for this study without fall protection and "
    "training; fragile sheets and rooflights do not bear a person.",
    "Excavation: a trench for a wet run can collapse or hit cables and gas. Have services located, shore or "
    "batter anything that a person enters, and let nobody enter it alone.",
    "Pressure: every joint of a wet run below the inlet stands under pressure for good. Use pressure joints, "
    "test before backfilling, and drain the run before opening it.",
    "Standing water: screen both ends of a wet run against mosquitoes, flush it, protect it from frost, and "
    "do not drink what has stood in it.",
    "Lead: old flashings, paint and joints can make the water unfit to drink; have it tested.",
    "Local rules govern: roof drainage, plumbing, backflow and the discharge of overflow are regulated. This "
    "study replaces no permit and no licensed trade.",
)
"""Cautions for the work itself. Common practice, no source."""
