"""Rainwater yield studies: what a tank of each size yields, how often and how long it fails, and why.

The public names load when they are first used, so that ``import rainharvest`` stays light.
"""

from __future__ import annotations

from importlib import import_module

__version__ = "0.1.0"


_ROOMS = {
    "read_rain": "rainharvest.rainfall.read",
    "read_subdaily": "rainharvest.rainfall.read",
    "sum_to_days": "rainharvest.rainfall.read",
    "check_rain": "rainharvest.rainfall.check",
    "fill_gaps": "rainharvest.rainfall.fill",
    "make_record": "rainharvest.rainfall.record",
    "simulate": "rainharvest.storage.simulate",
    "run_study": "rainharvest.study.run",
    "InputError": "rainharvest.core.errors",
}


__all__ = [*_ROOMS, "__version__"]


def __getattr__(name: str):
    if name in _ROOMS:
        value = getattr(import_module(_ROOMS[name]), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'rainharvest' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
