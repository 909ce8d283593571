"""The client's report: one self-contained page and a Word document, made of the same blocks."""
