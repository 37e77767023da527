"""What many made runs teach, held against what was planted."""
