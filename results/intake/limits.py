"""How much one upload may hold, so that reading it takes time and memory in step with its bytes.

Everything that reads, checks, documents or describes an upload takes its limits from here.
"""

MOST_BYTES = 10 * 1024 * 1024
MOST_PULLS = 20_000
"""Of one session, straight line and voids included."""
MOST_SETS = 500
"""Pull sets of one session, and baselines of one session."""
MOST_PULLS_OF_A_SET = 2_000
"""Pulls of one pull set or of one baseline: a hundred times a long evening's work on one tie."""
MOST_SAMPLES = 60_000
"""Of one trace: a minute at 1,000 samples a second."""
MOST_SAMPLES_OF_A_SESSION = 600_000
"""Of all traces of one session: 100 pulls of a minute at 100 samples a second."""
LEAST_SAMPLES = 4
"""Of one trace: fewer show no peak that anything rose to and fell from."""
MOST_PARAMETERS = 50
"""Tie parameters of one set; a connection of the catalogue has a handful."""
MOST_UNPACKED_BYTES = 64 * 1024 * 1024
"""What all parts of an XLSX file may come to once unpacked: about six times the largest body."""
MOST_PARTS = 1_000
"""Files in the zip of a workbook."""
MOST_MEMBERS = 20 * MOST_PULLS + 2 * MOST_SAMPLES_OF_A_SESSION
MOST_COLUMNS = 100
MOST_LINES = 5 * MOST_PULLS
"""Of a sheet, blank ones counted."""
MOST_CELLS = 50 * MOST_PULLS
"""Of a sheet, blank ones between the first and the last row and column counted: a reader of
workbooks makes room for all of them."""
MOST_TEXT = 2 * MOST_BYTES
"""Characters in the cells of a workbook, which stores a text once however many cells show it."""
LONGEST_CELL = 4_000
"""Characters of one cell, as the longest note."""
MOST_TOKEN_BYTES = 1024 * 1024
"""Bytes of a workbook's XML between two tags, or of one tag."""
MOST_TAGS = 3 * MOST_CELLS
MOST_MARKED = 5 * MOST_PULLS
"""Cells of a workbook with a formula, an error, or a number that its format shows with a unit."""
MOST_FORMATS = 65_536
"""Cell formats of a workbook: a spreadsheet makes no more."""
DEEPEST_TAG = 64
MOST_FINDINGS = 1_000
MOST_PROPOSED = 20
"""Names of one upload that can be proposed: more of them are no session but a catalogue."""
MOST_SUGGESTIONS = 20
"""Unknown names of one upload for which the catalogue is searched for others spelt alike."""
MOST_SAMPLES_READ = 1_000_000
"""Of one recording, cut or not: a quarter of an hour at a thousand a second."""
MOST_PULLS_OF_A_RECORDING = 500
