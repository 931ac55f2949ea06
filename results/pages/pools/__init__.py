"""Pages of pools and line pairs."""
