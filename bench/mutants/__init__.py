"""Whether the tests bite: small wrong changes, and whether the tests that reach each see it."""
