"""A radar by its screen as a link of the watch: frames in, radar video out."""
