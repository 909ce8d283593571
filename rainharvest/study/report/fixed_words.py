"""The report's fixed words: titles, heads of tables, names of things. Sentences lie in the modules beside it.

Whoever translates the report translates the modules of this package whose names end in ``words``.
"""

from __future__ import annotations

LANGUAGE = "en"
CONTENTS = "Contents"
FIGURE = "Figure"
TABLE = "Table"
CAUTION = "Caution"
MORE = "More"
PAGE = "Page"
INVENTED = "Invented example: no such place, building or rain gauge exists."
