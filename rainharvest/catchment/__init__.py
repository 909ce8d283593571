"""Stage 2, catchment: from the rain on the roofs to the litres at the tank inlet."""
