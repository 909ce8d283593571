"""The client's report: one self-contained page and a Word document, made of the same blocks."""

from rainharvest.study.report.first_page import cost_rows, report_html  # noqa: F401 - until the new page takes over
