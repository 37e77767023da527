"""S-57 feature data in, spatial questions out."""
