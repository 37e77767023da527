"""One benchmark for each room of the house: the times and figures of `docs/measured.md`."""
