"""Who measures with what: contributors, rigs, revisions, calibrations, lines."""
