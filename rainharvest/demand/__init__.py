"""Stage 3, demand: the litres a day asked of the tank, by use."""
