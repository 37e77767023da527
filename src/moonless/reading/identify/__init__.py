"""What each echo is: evidence, kinds, ghosts, history, missing marks, the radar's performance, the reasons."""
