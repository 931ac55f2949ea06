"""Charts as SVG: forest plots, pools and rigs."""
