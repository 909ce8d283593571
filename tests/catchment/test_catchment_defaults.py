"""Every default that a catchment works with is named with its source; the user's own numbers are not."""

import xarray as xr

from rainharvest.catchment.facts import catchment_defaults
from rainharvest.catchment.intensity import CLIMATES, Intensity
from rainharvest.catchment.tables import COEFFICIENTS, FITTINGS, Catchment, Conveyance, Roof

LEVELS = dict(run=20, bore=100, outlet_level=3.0, inlet_level=2.4)


def test_defaults_of_a_wet_run():
    site = Catchment(
        roofs=(Roof(name="hall", area=100, material="tile"),), conveyance=Conveyance(kind="wet", **LEVELS)
    )
    used = catchment_defaults(site)
    assert used["hall: runoff coefficient"] is COEFFICIENTS["tile"]
    assert used["Loss of bend 90 (velocity heads)"] is FITTINGS["bend 90"]
    assert used["Wet-hour intensity"].source.startswith("hourly rain of three airports")
    assert "Fall" not in used and used["Pipe roughness"].kind == "standard"
    assert all(d.source and d.kind for d in used.values())


def test_what_the_user_gave_is_no_default():
    dry = Conveyance(kind="dry", fall=0.02, roughness=0.25, **LEVELS)
    site = Catchment(
        roofs=(Roof(area=100, wetting=0, runoff_coefficient=0.5),), conveyance=dry, first_flush=3
    )
    mine = Intensity(mean_intensity=2, variation=1)
    used = catchment_defaults(site, drying=xr.DataArray([1.0, 2.0], dims="time"), intensity=mine)
    assert set(used) == {
        "First-flush bleed",
        "First-flush reset",
        "Filter efficiency",
        "Filling",
        "Viscosity",
    }


def test_intensity_counts_only_where_something_is_limited():
    assert "Wet-hour intensity" not in catchment_defaults(Catchment(roofs=(Roof(area=1),)))
    site = Catchment(roofs=(Roof(area=1, gutter_capacity=1),))
    used = catchment_defaults(site, intensity=CLIMATES["monsoon"])
    assert used["Wet-hour intensity"].kind == "own choice" and used["Wet-hour intensity"].value == 3.0
