"""A recording made fit to be given away: cut, thinned, moved to another place, with nobody's name in it."""
