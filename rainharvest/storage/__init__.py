"""Stage 4, storage: the daily balance of the tank and its measures."""
