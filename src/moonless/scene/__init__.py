"""Made runs: chart, moving things, weather, radar and own track, as bytes a radar could have sent."""
