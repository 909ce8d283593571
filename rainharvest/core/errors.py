"""The one error that bad input ends in."""

from __future__ import annotations

import os
import stat

MOST_SAID = 500  # letters of each part of a message; what a file holds can be of any length


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
        self.problem, self.remedy, self.place = map(shortened, (problem, remedy, place))
        self.file = "" if file is None else str(file)
        super().__init__(self.problem, self.remedy, self.place, self.file)

    def __str__(self) -> str:
        where = ": ".join(part for part in (self.file, self.place) if part)
        return f"{where + ': ' if where else ''}{self.problem}; {self.remedy}"

    def at(self, file: object) -> InputError:
        """Return the same error with the file named, for a caller that knows it."""
        return InputError(self.problem, self.remedy, self.place, self.file or file)


def shortened(text: str, most: int = MOST_SAID) -> str:
    """Return a text on one line, with its middle left out where it is longer than so many letters.

    >>> shortened("'" + "9" * 1000 + "' is no amount of rain", 54)
    "'9999999999999999999999 ... 9' is no amount of rain"
    """
    text, half = " ".join(text.splitlines()), most // 2 - 4
    return text if len(text) <= most else f"{text[:half]} ... {text[-half:]}"


def require_file(path: str | os.PathLike) -> None:
    """Refuse, before anything reads it, what is no regular file: a folder, or a pipe or device without an end."""
    try:
        mode = os.stat(path).st_mode
    except OSError as error:
        problem = f"cannot be read ({error.strerror})"
        raise InputError(problem, "name a file that exists", file=path) from None
    except ValueError as error:  # a name that the system cannot have
        raise InputError(f"this is no path ({error})", "name a file that exists", file=path) from None
    what = "a folder" if stat.S_ISDIR(mode) else "a pipe or a device"
    require(stat.S_ISREG(mode), f"it is {what} and not a file", "name a file", file=path)


def require(holds: object, problem: str, remedy: str, place: str = "", file: object = None) -> None:
    """Raise InputError unless the condition holds; the words are made either way, so they may use what is sure."""
    if not holds:
        raise InputError(problem, remedy, place, file)
