"""Answer questions from a published warehouse. Knows no Dash, reads no source file, writes nothing."""
