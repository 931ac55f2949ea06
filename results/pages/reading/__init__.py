"""Pages for readers beside the pools: about, catalogue, open data, one set."""
