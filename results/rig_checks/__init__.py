"""Whether a rig still reads as it did."""
