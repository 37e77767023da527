"""What the skipper knows and no chart shows: kept in a GeoPackage."""
