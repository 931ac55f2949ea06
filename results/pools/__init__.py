"""From the efficiencies of a pool's sets to its figures, and what is asked of them."""
