"""From the efficiencies of a pool's sets to its figures, and questions to them."""
