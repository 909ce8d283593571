"""The words in which this room refuses a file or a record: rows of refusals.toml with the facts of the case."""

from __future__ import annotations

from rainharvest.core.defaults import rows_of
from rainharvest.core.errors import InputError

ROWS = rows_of("rainfall", "refusals")


def refusal(kind: str, /, file: object = None, **facts: object) -> InputError:
    """Return the error of a kind; ``place`` says where, unless the row says it."""
    words, facts = (*ROWS[kind], "{place}")[:3], {"place": ""} | facts
    return InputError(*(part.format(**facts) for part in words), file)


def refuse_unless(holds: object, kind: str, /, file: object = None, **facts: object) -> None:
    """Raise the error of a kind unless the condition holds; the facts are worked out either way."""
    if not holds:
        raise refusal(kind, file, **facts)
