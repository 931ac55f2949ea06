"""Pages of rigs and their calibrations."""
