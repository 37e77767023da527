"""The chart as it is drawn: what shows at which zoom, as vector tiles made from the cells and kept on disk."""
