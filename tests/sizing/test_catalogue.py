"""Tanks as they are sold: the cheapest combination against a second way to find it."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rainharvest import InputError
from rainharvest.sizing.catalogue import SoldTank, every_choice, read_catalogue
from rainharvest.sizing.tables import Catalogue

SMALL = SoldTank(1000, 200, 1.5, 1.0)
LARGE = SoldTank(3000, 450, 1.5, 2.2)
TALL = SoldTank(5000, 500, 3.0, 1.9)

sold = st.builds(
    SoldTank,
    st.integers(1, 40).map(lambda n: 500.0 * n),
    st.integers(1, 60).map(lambda n: 50.0 * n),
    st.sampled_from([1.5, 2.0, 2.5]),
    st.sampled_from([1.0, 2.0, 4.0]),
)


def choices_of(tanks, **limits):
    return every_choice(tuple(tanks), Catalogue(file="tanks.csv", **limits))


def cheapest(choices, nominal):
    return next((choice for choice in choices if choice.nominal >= nominal * (1 - 1e-12)), None)


def by_hand(tanks, needed, most, link, space):
    """Every ordered way to take up to so many tanks, one after the other, in plain Python."""
    best = None
    for n in range(1, most + 1):
        for way in itertools.product(tanks, repeat=n):
            low = min(t.height for t in way)
            holds = sum(t.nominal * low / t.height for t in way)
            if holds >= needed * (1 - 1e-12) and sum(t.footprint for t in way) <= space:
                price = sum(t.price for t in way) + link * (n - 1)
                best = price if best is None else min(best, price)
    return best


@given(
    st.lists(sold, min_size=1, max_size=4),
    st.floats(400, 60_000),
    st.integers(1, 3),
    st.integers(0, 200),
    st.sampled_from([3.0, 100.0]),
)
def test_cheapest_of_every_combination(tanks, needed, most, link, space):
    right = by_hand(tanks, needed, most, link, space)
    try:
        choices = choices_of(tanks, most_linked=most, link_price=link, most_footprint=space)
    except InputError:
        assert all(t.footprint > space for t in tanks)
        return
    found = cheapest(choices, needed)
    assert (found is None) == (right is None)
    if found is not None:
        assert found.price == pytest.approx(right) and found.nominal >= needed * (1 - 1e-9)
        assert found.footprint <= space and len(found.tanks) <= most
    assert all(b.price > a.price and b.nominal > a.nominal for a, b in itertools.pairwise(choices))


def test_a_taller_tank_is_not_filled_above_the_lowest():
    """Linked, 5,000 L of 3 m holds half beside a tank of 1.5 m: the levels are the same."""
    choices = choices_of((SMALL, TALL), most_linked=2)
    assert [c.words for c in choices] == ["1,000 L", "2 x 1,000 L", "5,000 L", "2 x 5,000 L"]
    both = [c for c in choices_of((SMALL, SoldTank(5000, 100, 3.0, 1.9)), most_linked=2) if len(c.tanks) == 2]
    assert [c.nominal for c in both] == [10_000]
    assert cheapest(choices_of((SMALL, TALL), most_linked=2, most_height=2.0), 3000) is None


def test_catalogue_of_the_demo_is_read_and_labelled_invented(pytestconfig):
    path = pytestconfig.rootpath / "data/catalogues/invented_tanks.csv"
    tanks = read_catalogue(path)
    assert path.read_text().startswith("# INVENTED") and len(tanks) == 10
    assert cheapest(choices_of(tanks), 11_000).words == "7,500 L + 5,000 L"
    for tank in tanks:  # no tank of the demo holds more than its walls do
        assert tank.nominal <= 1000 * tank.height * tank.footprint


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "it holds no line"),
        ("# only a remark\n", "it holds no line"),
        ("nominal_L,price\n1000,200\n", "line 1: the column height_m is missing"),
        ("nominal_L,price,height_m,footprint_m2\n", "it lists no tank"),
        ("nominal_L,price,height_m,footprint_m2\n1000,two,1.5,1\n", "line 2: price is 'two', not a number"),
        (
            "#\nnominal_L,price,height_m,footprint_m2\n\n1000,200,-1.5,1\n",
            "line 4: height: -1.5 is not possible",
        ),
        ("nominal_L,price,height_m,footprint_m2\n1000,200\n", "line 2: height_m is '', not a number"),
        ("nominal_L,price,height_m,footprint_m2\nnan,200,1,1\n", "line 2: nominal"),
    ],
)
def test_a_catalogue_that_cannot_be_used(tmp_path, text, words):
    path = tmp_path / "tanks.csv"
    path.write_text(text)
    with pytest.raises(InputError) as raised:
        read_catalogue(path)
    assert str(raised.value).startswith(str(path)) and words in str(raised.value)


def test_no_catalogue_and_too_many_combinations(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_catalogue(tmp_path / "none.csv")
    many = tuple(SoldTank(100.0 * n, n, 1.0, 1.0) for n in range(1, 60))
    with pytest.raises(InputError, match="most_linked"):
        choices_of(many, most_linked=6)
    with pytest.raises(InputError, match="no tank of the catalogue fits"):
        choices_of((SMALL,), most_height=1.0)
