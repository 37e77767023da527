"""The exercises of the ladder, a file for each kind of reading."""
