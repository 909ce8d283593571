"""The one error that bad input ends in."""

from __future__ import annotations


class InputError(ValueError):
    """Input that cannot be used as it stands: which file, which place, what is wrong, what to do.

    Parameters
    ----------
    problem : str
        What is wrong, in words a consultant uses.
    remedy : str
        What to do about it: the value, the argument or the edit that settles it.
    place : str, optional
        Where: a line, a column, a date, a key of the study file, the name of an argument.
    file : str or path, optional
        The file, where there is one.

    Examples
    --------
    >>> print(InputError("the area is -40", "give a plan area above zero", "roofs[0].area", "study.toml"))
    study.toml: roofs[0].area: the area is -40; give a plan area above zero
    """

    def __init__(self, problem: str, remedy: str, place: str = "", file: object = None):
        self.problem, self.remedy, self.place = problem, remedy, place
        self.file = "" if file is None else str(file)
        super().__init__(problem, remedy, place, self.file)

    def __str__(self) -> str:
        where = ": ".join(part for part in (self.file, self.place) if part)
        return f"{where + ': ' if where else ''}{self.problem}; {self.remedy}"

    def at(self, file: object) -> InputError:
        """Return the same error with the file named, for a caller that knows it."""
        return InputError(self.problem, self.remedy, self.place, self.file or file)


def require(holds: object, problem: str, remedy: str, place: str = "", file: object = None) -> None:
    """Raise InputError unless the condition holds; the words are made either way, so they may use what is sure."""
    if not holds:
        raise InputError(problem, remedy, place, file)
