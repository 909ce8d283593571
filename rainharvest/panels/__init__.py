"""Panels of sliders for the notebooks: each calls a stage and a plot and computes nothing itself."""
