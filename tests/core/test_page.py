"""What a page shows beside its panels: the answer large, tables without the words of a program."""

import numpy as np
import pandas as pd

from rainharvest import as_table, told


def test_the_first_sentence_is_as_large_as_a_title_and_lines_are_joined():
    def tell(size):
        print(f"Recommended: {size} kL. It supplies\n92 %.\n\nThe record < 58 years.")

    shown = told(tell, 57).data
    assert shown.count("font-size:27px") == 1 and ">Recommended: 57 kL.</p>" in shown
    assert ">It supplies 92 %.</p>" in shown and ">The record &lt; 58 years.</p>" in shown
    assert "27px" not in told(tell, 57, large=False).data


def test_a_table_says_yes_no_and_a_dash():
    frame = pd.DataFrame(
        {"use": ["wc", "tap"], "served": [True, False], "price": [np.nan, 12641.4], "why": [None, "a<b"]}
    )
    shown = as_table(frame).data
    assert not any(word in shown for word in ("True", "False", "nan", "NaN", "None"))
    assert [shown.count(f">{word}<") for word in ("yes", "no", "–", "12,600", "a&lt;b", "0")] == [
        1,
        1,
        2,
        1,
        1,
        0,
    ]
    assert ">Rule<" in as_table(frame.set_index("use").rename_axis("Rule")).data
