"""Made input for the benchmarks: video, buses, pictures of screens."""
