"""Quantities of the study and its report."""

ROWS: tuple[tuple[str, ...], ...] = (
    (
        "study_option",
        "",
        "Option",
        "Another choice for the same study: other roofs, run of pipe, tank or site.",
    ),
    ("option_note", "", "Remark", "What the study's author says of an option."),
    ("recommended_nominal", "L", "Recommended nominal size", "Nominal size of the tank recommended."),
    ("smallest_low", "L", "Smallest tank, least version", "Least of the smallest tanks over the versions."),
    (
        "smallest_high",
        "L",
        "Smallest tank, largest version",
        "Largest of the smallest tanks over the versions.",
    ),
    ("delivered_a_year", "L/year", "Delivered a year", "What the tank gives to the uses in a mean year."),
    ("inflow_a_year", "L/year", "Inflow a year", "Rain water that reaches the tank in a mean year."),
    ("demand_a_year", "L/year", "Demand a year", "Water asked of the tank in a mean year."),
)
