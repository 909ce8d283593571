"""Drought: what happens in the bad years, and what to do when the gauge falls."""
