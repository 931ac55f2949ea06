"""How much one upload may hold, so that checking it takes bounded memory."""

MOST_BYTES = 10 * 1024 * 1024
MOST_PULLS = 20_000
MOST_UNPACKED_BYTES = 64 * 1024 * 1024
"""What all parts of an XLSX file may come to once unpacked: about six times the largest body."""
MOST_MEMBERS = 20 * MOST_PULLS
MOST_COLUMNS = 100
MOST_LINES = 5 * MOST_PULLS
"""Of a sheet, blank ones counted."""
MOST_FINDINGS = 1_000
MOST_SUGGESTIONS = 20
"""Unknown names of one upload for which the catalogue is searched for others spelt alike."""
