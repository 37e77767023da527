"""The parts that make the invented waters: ground, lines, what people built, and the file."""
