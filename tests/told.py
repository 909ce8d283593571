"""What the tests of the report read: the words of its sections."""

from rainharvest.core.blocks import Facts, Listing, Table


def words_of(*sections):
    """Return all words of sections but those of the study file."""
    said = []
    for block in (block for section in sections for block in section.blocks):
        if isinstance(block, Table):
            said += [block.caption, *block.head, *(cell for row in block.rows for cell in row)]
        elif isinstance(block, Facts):
            said += [fact.answer for fact in block.rows]
        elif not isinstance(block, Listing):
            said += [str(v) for k, v in vars(block).items() if k in ("text", "items", "caption")]
    return "\n".join(said)
