"""What every table of the study file is: frozen, and without a key that it does not know."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """A table of the study file: frozen, and without a key that it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid")
