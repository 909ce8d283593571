"""The client's report: one self-contained HTML page, every number of it taken from the results."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.defaults import catchment_defaults
from rainharvest.demand.uses import defaults_used
from rainharvest.names import SHOWN_UNITS, label
from rainharvest.sizing.costs import annual_cost
from rainharvest.sources import Default
from rainharvest.storage.tank import DEAD_SHARE, FREEBOARD_SHARE
from rainharvest.study.cautions import CAUTIONS
from rainharvest.study.file import Study
from rainharvest.study.words import confidence, days, headline, litres, middle, percent, rounded
from rainharvest.study.worst_years import worst_two_years

SIZES_SHOWN = 12


def report_html(study: Study, findings: pd.DataFrame, done: xr.Dataset) -> str:
    """Return the report as one HTML page without any outside file.

    Parameters
    ----------
    study : Study
        What was asked.
    findings : DataFrame
        What checking the rain found.
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    str
        HTML text, the same for the same results.
    """
    from jinja2 import Environment, FileSystemLoader

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent), autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
    page = environment.get_template("report.html.j2")
    return page.render(
        title=study.title,
        heading=[text for text in (study.site.name, study.report.client, study.report.author) if text],
        invented=study.site.invented,
        answer=headline(done),
        confidence=confidence(done),
        figures=_figures(done),
        site=_site(study, done),
        record=_record(done),
        findings=_findings(findings),
        catchment=_catchment(study, done),
        roofs=_roofs(study),
        losses=_losses(done),
        demand=_demand(study, done),
        uses=_uses(study, done),
        sizes=_sizes(done),
        costs=_costs(study, done),
        costs_words=_costs_words(study),
        cautions=list(CAUTIONS.values()),
        assumptions=_assumptions(study),
        reading=[f"Reading and filling the record: {text}." for text in (_told(done),) if text],
        reproduce=_reproduce(done),
        study_text=done.attrs["study"],
    )


def _table(head: list[str], rows: list[list[str]], numbers: set[int] = frozenset()) -> dict[str, object]:
    return {"head": head, "rows": rows, "numbers": numbers}


def _years(done: xr.Dataset) -> float:
    return float(done.days_in_year.sum()) / 365.25


def _figures(done: xr.Dataset) -> dict[str, dict[str, str]]:
    """Return each figure as SVG with the words under it, which are its alternative text too."""
    from rainharvest.plots.sizing import failed_years_figure, trade_off_figure
    from rainharvest.plots.storage import storage_figure
    from rainharvest.plots.style import svg

    measure, tank = done.attrs["measure"], float(done.described)
    failed, worst = done.described_failed_by_year, worst_two_years(done)
    whole = (done.days_in_year >= 365).values
    of_year = (failed.median("member") if "member" in failed.dims else failed).values[whole]
    drawn = {
        "trade_off": (
            trade_off_figure(done, measure, done.attrs["target"], tank),
            f"{label(measure)} of tanks from {litres(float(done.capacity[0]))} to {litres(float(done.capacity[-1]))}. "
            f"The mark is the tank described, {litres(tank)} usable: "
            f"{percent(middle(done.described_rain_reliability))}. The shaded band, where it is wide enough to be "
            "seen, holds nine of ten fillings of the record's gaps.",
        ),
        "failed": (
            failed_years_figure(failed, done.days_in_year),
            f"Failed days by hydrological year: none in {int((of_year == 0).sum())} of {of_year.size} whole years, "
            f"{days(float(of_year.max(initial=0)))} in the worst.",
        ),
        "storage": (
            storage_figure(worst, tank),
            f"Water stored from {str(worst.time.values[0])[:10]} to {str(worst.time.values[-1])[:10]}, the two years "
            f"with the largest shortfall: {litres(float(worst.unmet_daily.sum()))} short.",
        ),
    }
    return {
        name: {"svg": svg(figure, name, words), "words": words} for name, (figure, words) in drawn.items()
    }


def _site(study: Study, done: xr.Dataset) -> list[str]:
    site, place = study.site, []
    if site.latitude is not None and site.longitude is not None:
        place.append(f"{abs(site.latitude):.2f}° {'N' if site.latitude >= 0 else 'S'}")
        place.append(f"{abs(site.longitude):.2f}° {'E' if site.longitude >= 0 else 'W'}")
    if site.elevation is not None:
        place.append(f"{site.elevation:.0f} m above the sea")
    kind = {
        "rain only": "Rain only: the tank serves what needs no drinking quality, and nothing backs it up.",
        "combined": "Combined: rain first, mains water as backup, the whole behind treatment.",
        "mains reserve": "Mains reserve: the tank is kept full from the mains and rides out their interruptions.",
    }[study.arrangement.kind]
    aim = "volume" if study.target.measure == "volume_reliability" else "time"
    where = f" ({', '.join(place)})" if place else ""
    out = [f"{site.name}{where}. {site.note}", kind]
    out.append(f"Asked: the smallest tank with a {aim} reliability of {percent(study.target.reliability)}.")
    if done.attrs["not_served"]:
        out.append(f"Not served, since rain alone is not fit to drink: {done.attrs['not_served']}.")
    return [*out, *([study.report.note] if study.report.note else [])]


def _record(done: xr.Dataset) -> list[str]:
    total = done.rain.sum().item() / (done.sizes["time"] / 365.25)
    out = [
        f"{done.attrs['rain_file']}: {done.attrs['days_read']:,} days, of which {done.attrs['days_missing']:,} have no "
        f"reading of their own. Used: {str(done.time.values[0])[:10]} to {str(done.time.values[-1])[:10]}, "
        f"{rounded(total, 3):,.0f} mm a year on average once filled, in {done.sizes['member']} equally likely "
        "versions.",
    ]
    if done.attrs["years_mostly_filled"]:
        out.append(
            f"More than a fifth of these years is filled: {done.attrs['years_mostly_filled']}. They stay in the "
            "simulation, so that the store is carried through them; take no figure of one of them for measured."
        )
    if done.attrs["years_estimated"]:
        out.append(f"More than a tenth of these years is filled: {done.attrs['years_estimated']}.")
    return [*out, *([done.attrs["left_out"] + "."] if done.attrs["left_out"] else [])]


def _findings(findings: pd.DataFrame) -> dict[str, object]:
    rows = [
        [str(f.severity), f"{str(f.first_day)[:10]} to {str(f.last_day)[:10]}", str(f.reason), str(f.action)]
        for f in findings.head(15).itertuples()
    ]
    return _table(["finding", "days", "why", "suggested"], rows)


def _catchment(study: Study, done: xr.Dataset) -> list[str]:
    if not study.roof:
        return ["No roof feeds this tank."]
    run = study.conveyance
    out = [f"{sum(roof.area for roof in study.roof):,.0f} m² of roof, plan area."]
    if run is not None:
        out.append(
            f"{run.kind.capitalize()} conveyance: {run.run:g} m of {run.bore:g} mm pipe from gutter outlets at "
            f"{run.outlet_level:g} m to an inlet at {run.inlet_level:g} m above the base of the tank. Pipe and gutter "
            "sizes follow local rules and a design storm, not this daily study."
        )
    return out


def _roofs(study: Study) -> dict[str, object]:
    rows = [
        [r.name, f"{r.area:,.0f}", r.material, f"{r.runoff_coefficient:.2f}", f"{r.wetting:g}"]
        for r in study.roof
    ]
    return _table(
        ["roof", label("area"), "material", label("runoff_coefficient"), label("wetting")], rows, {1, 3, 4}
    )


def _losses(done: xr.Dataset) -> dict[str, object]:
    if "mean_lost" not in done:
        return _table([], [])
    fell = float(done.mean_rain_on_roof)
    rows = [["rain on the roofs", f"{rounded(fell, 3):,.0f}", "100 %"]]
    rows += [
        [f"lost: {name}", f"{rounded(value, 2):,g}", percent(value / fell)]
        for name, value in zip(done.loss.values, done.mean_lost.values, strict=True)
        if value > 0
    ]
    reaches = float(done.inflow.mean())
    rows.append(["reaches the tank", f"{rounded(reaches, 3):,.0f}", percent(reaches / fell)])
    return _table(["", "L a day, mean", "share"], rows, {1, 2})


def _demand(study: Study, done: xr.Dataset) -> list[str]:
    total = done.demand.sum("use")
    worked = float((total > 0).mean()) * 365.25
    return [
        f"{litres(float(total.sum()) / _years(done))} a year, drawn on {worked:.0f} days a year; "
        f"{litres(float(total.max()))} on the heaviest day."
    ]


def _uses(study: Study, done: xr.Dataset) -> dict[str, object]:
    served = set(done.use.values)
    rows = [
        [
            use.name + ("" if use.name in served else " (not served)"),
            f"{use.count:,g}",
            f"{use.litres:g}",
            use.days if isinstance(use.days, str) else ", ".join(use.days),
            use.quality,
            "yes" if use.essential else "no",
            use.origin,
        ]
        for use in study.use
    ]
    return _table(["use", "how many", "L a day each", "days", "quality", "essential", "source"], rows, {1, 2})


def _sizes(done: xr.Dataset) -> dict[str, object]:
    pick = np.unique(np.linspace(0, done.sizes["capacity"] - 1, SIZES_SHOWN).round().astype(int))
    part = done.isel(capacity=pick)
    middle_of = {
        name: part[name].median("member") if "member" in part[name].dims else part[name]
        for name in (
            "volume_reliability",
            "time_reliability",
            "yearly_yield",
            "failed_a_year",
            "longest_failure",
        )
    }
    rows = [
        [
            litres(size),
            litres(float(part.nominal[i])),
            percent(float(middle_of["volume_reliability"][i])),
            percent(float(middle_of["time_reliability"][i])),
            litres(float(middle_of["yearly_yield"][i])),
            f"{float(middle_of['failed_a_year'][i]):.0f}",
            f"{float(middle_of['longest_failure'][i]):.0f}",
        ]
        for i, size in enumerate(part.capacity.values)
    ]
    head = [
        "usable",
        "nominal",
        "volume reliability",
        "time reliability",
        "yield a year",
        "days failed a year",
    ]
    return _table([*head, "longest failure, days"], rows, set(range(7)))


def cost_rows(study: Study, done: xr.Dataset) -> pd.DataFrame:
    """Return what each size costs a year and a kilolitre, and what mains water it saves.

    Parameters
    ----------
    study : Study
        With costs.
    done : Dataset
        As `rainharvest.study.run.run_study`.

    Returns
    -------
    DataFrame
        On the usable size [L]: ``capital``, ``annual``, ``per_kilolitre``, ``saved`` (currency).
    """
    costs = study.costs
    capital = costs.fixed + costs.per_litre * done.nominal.values
    annual = annual_cost(capital, costs.upkeep, costs.rate, costs.life)
    supplied = done.yearly_yield.median("member").values / 1000
    with np.errstate(divide="ignore"):
        each = np.where(supplied > 0, annual / supplied, np.inf)
    frame = {"capital": capital, "annual": annual, "per_kilolitre": each, "saved": supplied * costs.tariff}
    return pd.DataFrame(frame, index=pd.Index(done.capacity.values, name="capacity"))


def _costs(study: Study, done: xr.Dataset) -> dict[str, object]:
    if study.costs is None:
        return _table([], [])
    unit, frame = study.costs.currency, cost_rows(study, done)
    pick = np.unique(np.linspace(0, len(frame) - 1, SIZES_SHOWN).round().astype(int))
    rows = [
        [litres(size)] + [f"{rounded(v, 2):,g}" for v in row]
        for size, row in zip(frame.index[pick], frame.values[pick], strict=True)
    ]
    head = [
        "usable",
        f"capital ({unit})",
        f"a year ({unit})",
        f"a kilolitre ({unit})",
        f"mains water saved a year ({unit})",
    ]
    return _table(head, rows, set(range(5)))


def _costs_words(study: Study) -> list[str]:
    if study.costs is None:
        return []
    c = study.costs
    return [
        f"Real prices of today in {c.currency}: {c.fixed:,g} whatever the size, {c.per_litre:g} a litre of nominal "
        f"size, {c.upkeep:,g} a year for upkeep; {c.life} years of life with nothing left at their end; discount rate "
        f"{100 * c.rate:g} % a year (real); mains water at {c.tariff:g} a kilolitre."
    ]


def _assumptions(study: Study) -> dict[str, object]:
    used: dict[str, Default] = {}
    if study.roof:
        used |= catchment_defaults(study.catchment, intensity=study.losses.intensity)
    used |= {f"{name}: litres a day each": default for name, default in defaults_used(study.use).items()}
    for name, share, default in (
        ("Share of the tank below the outlet", study.tank.dead_share, DEAD_SHARE),
        ("Share of the tank above the overflow", study.tank.freeboard_share, FREEBOARD_SHARE),
    ):
        if share == default.value:
            used[name] = default
    rows = [
        [
            name,
            f"{d.value:g}",
            SHOWN_UNITS.get(d.unit, "" if d.unit == "1" else d.unit),
            _range(d),
            d.kind,
            d.source,
        ]
        for name, d in used.items()
    ]
    return _table(["what", "value", "unit", "range", "kind", "source"], rows, {1})


def _range(default: Default) -> str:
    if default.low is None:
        return ""
    return f"{default.low:g} to {default.high:g}" if default.high is not None else f"from {default.low:g}"


def _told(done: xr.Dataset) -> str:
    said = dict.fromkeys(done.attrs[key] for key in ("reading", "filling"))
    return "; ".join(part for part in said if part).rstrip(".")


def _reproduce(done: xr.Dataset) -> dict[str, object]:
    names = {
        "rainharvest_version": "rainharvest version",
        "study_sha256": "SHA-256 of the study file",
        "rain_sha256": "SHA-256 of the rain file",
        "seed": "seed",
    }
    rows = [[words, str(done.attrs[key])] for key, words in names.items()]
    return _table(
        ["what", "value"], [*rows, ["command", "python -m rainharvest study STUDY.toml --out FOLDER"]]
    )
