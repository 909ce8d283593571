"""Stage 1, record: daily rain, read, doubted, filled and described."""
