"""Routes and the water along them: read, proposed, held against the chart, followed."""
