"""The public reading: degrees, knots, longitude and latitude, GeoJSON, made once and only here."""
