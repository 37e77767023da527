"""COLREGs as data and functions: lights, arcs, visibility, sounds, encounters."""
