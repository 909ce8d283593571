"""Figures: one function a figure; each takes results, returns the figure and computes nothing."""
