"""What every exercise says: right, not yet, or the answer itself where none was given."""

from __future__ import annotations


def says(yours: object, right: bool, answer: str, hint: str) -> None:
    """Print what a check found.

    Parameters
    ----------
    yours : object
        The reader's answer; None asks for the right one, for the trainer's page of answers.
    right : bool
        Whether it is right.
    answer : str
        The right answer, in a sentence.
    hint : str
        Where to look again.

    Examples
    --------
    >>> says(51, True, "About 51 kL.", "Read the curve again.")
    Right. About 51 kL.
    >>> says(20, False, "About 51 kL.", "Read the curve again.")
    Not yet. Read the curve again.
    >>> says(None, False, "About 51 kL.", "Read the curve again.")
    Answer: About 51 kL.
    """
    if yours is None:
        print(f"Answer: {answer}")
    else:
        print(f"Right. {answer}" if right else f"Not yet. {hint}")
