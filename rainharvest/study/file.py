"""The study file: what was asked, in TOML; read whole, every mistake named at once."""

from __future__ import annotations

import os
import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.intensity import CLIMATES, Intensity
from rainharvest.catchment.parts import INTENSITY, Catchment
from rainharvest.catchment.roofs import Roof
from rainharvest.demand.calendar import Calendar
from rainharvest.demand.periods import check_rule
from rainharvest.demand.uses import Use
from rainharvest.errors import InputError
from rainharvest.storage.tank import Tank


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Site(_Table):
    """Where the building stands."""

    name: str = Field(min_length=1, max_length=120)
    latitude: float | None = Field(None, ge=-90, le=90)
    longitude: float | None = Field(None, ge=-180, le=360)
    elevation: float | None = Field(None, ge=-450, le=9000)
    invented: bool = False
    note: str = ""


class Rain(_Table):
    """The rain files and how they are read and filled.

    ``column``, ``units``, ``day_first``, ``at`` and ``blank_is_zero`` are what `rainharvest.read_rain` asks for
    where a file leaves doubt; each is used only for a file that does.
    """

    file: str = Field(min_length=1)
    neighbours: tuple[str, ...] = ()
    column: str | None = None
    units: str | None = None
    day_first: bool | None = None
    at: tuple[float, float] | str | None = None
    blank_is_zero: bool | None = None
    members: int = Field(20, ge=1, le=200)
    seed: int = Field(0, ge=0)
    year_start_month: int | None = Field(None, ge=1, le=12)


class Losses(_Table):
    """What stands between roof and tank; what is left out takes the catchment's defaults.

    ``intensity`` says how hard it rains, which matters where a gutter or pipe has a limit: the name of a climate of
    `rainharvest.catchment.intensity.CLIMATES`, or a table with what hourly rain of the place gave.
    """

    first_flush: float | None = Field(None, ge=0, le=100)
    first_flush_bleed: float | None = Field(None, ge=0, le=1e5)
    first_flush_reset: float | None = Field(None, ge=1, le=3650)
    filter_efficiency: float | None = Field(None, ge=0, le=1)
    intensity: Intensity = INTENSITY

    @field_validator("intensity", mode="before")
    @classmethod
    def _by_name(cls, value: object) -> object:
        if not isinstance(value, str):
            return value
        if value not in CLIMATES:
            raise InputError(f'no climate is called "{value}"', f"choose one of {', '.join(CLIMATES)}")
        return CLIMATES[value]


class Arrangement(_Table):
    """How rain and mains supply the building; levels are shares of the usable size."""

    kind: Literal["rain only", "combined", "mains reserve"] = "rain only"
    change_over: bool = False
    top_up_trigger: float = Field(0.1, ge=0, le=1)
    top_up_level: float = Field(0.2, ge=0, le=1)
    top_up_rate: float | None = Field(None, ge=0)
    mains_off: tuple[str, ...] = ()

    @field_validator("mains_off")
    @classmethod
    def _known_rules(cls, rules: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(check_rule(rule) for rule in rules)

    @model_validator(mode="after")
    def _makes_sense(self):
        if self.kind == "mains reserve" and not self.mains_off:
            raise InputError(
                "a mains reserve has nothing to ride out",
                'give mains_off, the days without mains, such as ["sat", "sun"]',
            )
        if self.kind != "combined" and self.change_over:
            raise InputError(
                f'change_over has no meaning for "{self.kind}"', 'leave it out, or set kind = "combined"'
            )
        return self


class Rationing(_Table):
    """One stage of rationing: below a share of the usable size, non-essential uses keep a share."""

    level: float = Field(gt=0, le=1)
    share: float = Field(ge=0, le=1)


class Target(_Table):
    """What the tank must reach."""

    reliability: float = Field(0.9, gt=0, le=1)
    measure: Literal["volume_reliability", "time_reliability"] = "volume_reliability"


class Costs(_Table):
    """Prices, in one currency that is only a label; all amounts real, of today."""

    currency: str = Field("money", min_length=1, max_length=12)
    fixed: float = Field(0.0, ge=0)
    per_litre: float = Field(0.0, ge=0)
    upkeep: float = Field(0.0, ge=0)
    tariff: float = Field(0.0, ge=0)
    life: int = Field(20, ge=1, le=100)
    rate: float = Field(0.04, ge=0, le=0.5)


class Report(_Table):
    """For whom the report is."""

    client: str = ""
    author: str = ""
    note: str = ""


class Study(_Table):
    """A whole study, as its file states it."""

    title: str = Field(min_length=1, max_length=160)
    site: Site
    rain: Rain
    roof: tuple[Roof, ...] = Field((), max_length=100)
    conveyance: Conveyance | None = None
    losses: Losses = Losses()
    calendar: Calendar = Calendar()
    use: tuple[Use, ...] = Field(min_length=1, max_length=200)
    tank: Tank = Tank()
    arrangement: Arrangement = Arrangement()
    rationing: tuple[Rationing, ...] = ()
    target: Target = Target()
    costs: Costs | None = None
    report: Report = Report()

    @model_validator(mode="after")
    def _fits_together(self):
        if self.arrangement.kind != "mains reserve" and not self.roof:
            raise InputError(
                "no roof is given", "add a [[roof]] table, or set the arrangement to mains reserve"
            )
        names = [use.name for use in self.use]
        for name in names:
            if names.count(name) > 1:
                raise InputError(f'two uses bear the name "{name}"', "give each its own name")
        if self.roof:
            self.catchment  # noqa: B018 - says what does not fit between roofs and conveyance
        return self

    @property
    def catchment(self) -> Catchment:
        """The roofs, the run of pipe and what stands between, with the defaults in place."""
        given = self.losses.model_dump(exclude={"intensity"}, exclude_none=True)
        return Catchment(roofs=self.roof, conveyance=self.conveyance, **given)


class StudyFileError(InputError):
    """All the mistakes of a study file, a line each."""

    def __init__(self, mistakes: list[InputError]):
        first = mistakes[0]
        super().__init__(first.problem, first.remedy, first.place, first.file)
        self.mistakes = mistakes

    def __str__(self) -> str:
        return "\n".join(str(mistake) for mistake in self.mistakes)


def read_study(path: str | os.PathLike) -> tuple[Study, str]:
    """Read a study file.

    Parameters
    ----------
    path : str or path
        A TOML file.

    Returns
    -------
    tuple of Study and str
        The study and the text of its file.

    Raises
    ------
    InputError
        If the file cannot be read or is not TOML; `StudyFileError`, with every mistake, if it says what
        cannot be.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(
            f"cannot be read ({error.strerror})", "name a study file that exists", file=path
        ) from None
    except UnicodeDecodeError as error:
        raise InputError("it is not UTF-8 text", "save it as UTF-8", f"byte {error.start}", path) from None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            f"it is not TOML: {error}", "mend that line (text in quotes, tables in [brackets])", file=path
        ) from None
    try:
        return Study.model_validate(data), text
    except ValidationError as error:
        raise StudyFileError([_mistake(one, path) for one in error.errors()]) from None


def _mistake(error: dict, path: Path) -> InputError:
    """Turn one of pydantic's errors into the words of the project."""
    place = ""
    for part in error["loc"]:
        place += f"[{part + 1}]" if isinstance(part, int) else ("." if place else "") + str(part)
    inner = error.get("ctx", {}).get("error")
    kind = error["type"]
    if isinstance(inner, InputError):
        return InputError(inner.problem, inner.remedy, place or inner.place, path)
    if isinstance(inner, ValueError):
        problem, _, remedy = str(inner).partition("; ")
        return InputError(problem, remedy or "give a value that fits", place, path)
    if kind == "missing":
        return InputError("it is missing", "add it", place, path)
    if kind == "extra_forbidden":
        known = _known_keys(error["loc"][:-1])
        near = get_close_matches(str(error["loc"][-1]), known, 1)
        remedy = f"did you mean {near[0]}?" if near else f"use one of {', '.join(known)}"
        return InputError("no such key is known", remedy, place, path)
    shown = error.get("input")
    value = (
        f"{shown!r} is not possible" if isinstance(shown, str | int | float | bool) else "it is not possible"
    )
    message = error["msg"].removeprefix("Input should be ").removeprefix("Input ")
    return InputError(value, f"give {message[0].lower()}{message[1:]}", place, path)


def _known_keys(loc: tuple) -> list[str]:
    """Return the keys of the table at that place."""
    model: object = Study
    for part in loc:
        if isinstance(part, int):
            continue
        annotation = model.model_fields[part].annotation if part in model.model_fields else None
        inside = [annotation, *getattr(annotation, "__args__", ())]
        model = next((m for m in inside if isinstance(m, type) and issubclass(m, BaseModel)), Study)
    return list(model.model_fields)
