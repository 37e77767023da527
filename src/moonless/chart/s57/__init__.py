"""S-57 as it comes: records, classes, attribute values."""
