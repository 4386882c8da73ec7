"""How much of a file made elsewhere is read, before anything is built from it.

Sixty birds with ten years of weekly checks and rounds make about 100,000 rows with everything that
hangs on them, of which 31,200 are checks; a row takes about 0.3 ms of processor time.
"""

MB = 2**20

# An export: rows of all its files together, birds, and the characters of one row. The longest rows
# hold what was done to hundreds of photos at once; more is a broken quote.
MOST_ROWS = 200_000
MOST_BIRDS = 5_000
LONGEST_ROW = 4_000_000
# For a name that is not known a close one is looked for: among how many, how long, how often.
MOST_NAMES, LONGEST_SOUGHT, MOST_SOUGHT = 300, 100, 20

# What one photo may belong to.
MOST_NAMED = 100

# Somebody's own table: rows with something in them, and all; columns, and cells of one row at all.
MOST_TABLE_ROWS, MOST_TABLE_LINES = 5_000, 20_000
MOST_TABLE_COLUMNS, MOST_TABLE_CELLS = 60, 20_000
# Longer than any record has room for, so that a cell that is cut is refused and not shortened.
LONGEST_CELL = 10_000
LARGEST_TABLE = 10 * MB
# All text of its cells, and what a form may hold of it packed; see DATA_UPLOAD_MAX_MEMORY_SIZE.
LARGEST_TEXT, LARGEST_PACKED = 12 * MB, 1_500_000
# A workbook is a zip of XML, which may unpack to very much, and takes 8 s where all of
# MOST_TABLE_ROWS and MOST_TABLE_COLUMNS are filled. XML cannot be counted before it is read: so
# its reader has a process of its own, and ends with these.
LARGEST_WORKBOOK = 80 * MB
WORKBOOK_SECONDS, WORKBOOK_MEMORY = 30, 1024 * MB
