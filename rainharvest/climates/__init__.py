"""Stage 7, climates: the same study over many sites or a grid; dry against wet conveyance."""
