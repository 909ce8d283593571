"""Where the demo's files lie, and its study as a text that may lie anywhere."""

from pathlib import Path

ROOT = Path(__file__).parents[1]
DATA = ROOT / "data"
RECORDS, STUDIES = DATA / "records", DATA / "studies"
SCHOOL, CLINIC = STUDIES / "day_school.toml", STUDIES / "clinic_reserve.toml"


def whole(path=SCHOOL):
    """Return the text of a study file, its paths made whole."""
    return path.read_text(encoding="utf-8").replace('"../', f'"{DATA.as_posix()}/')
