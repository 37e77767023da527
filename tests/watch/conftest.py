"""Makes `watch_made_run` importable from every folder of the watch's tests."""
