"""Other libraries, held to the same job."""
