"""Writes docs/files-out.md from the table of lists that the files themselves go by: python -m docs.make_files_out"""

from pathlib import Path

from app.files.list_out import ListOut
from app.files.lists_out import KINDS, LISTS, SEEN_FROM
from app.files.tables_out import MOST_NOTED, MOST_ROWS, Column

WHERE = Path(__file__).with_name("files-out.md")
HEAD = f"""# Lists as files

Every list can be taken away as CSV, XLSX or JSON: by the buttons above it, or by its address with `.csv`, `.xlsx`
or `.json` behind it and the same filters (`/due.json?status=overdue`). A file holds exactly the rows of the list, in
its order. This document is made from the same table that the files go by (`app/files/lists_out.py`).

- **CSV**: UTF-8 with a byte order mark, commas, one line of names. A text that a spreadsheet would take for a formula
  has an apostrophe before it.
- **XLSX**: dates and numbers are dates and numbers, texts are texts and never run. The names stay in sight, and each
  column has a filter. Below the table and an empty row stand totals, as formulas. Of a table of at most {MOST_NOTED:,}
  rows the reasons are notes of the due dates as well. The sheet “Columns” says what each column holds. At most
  {MOST_ROWS:,} rows; CSV and JSON know no limit.
- **JSON**: a list of objects, one a line.

| a column of | in CSV | in XLSX | in JSON |
| --- | --- | --- | --- |
"""


def text() -> str:
    """The whole document."""
    kinds = "".join(f"| {kind} | {' | '.join(told)} |\n" for kind, told in KINDS.items())
    return HEAD + kinds + "".join(map(_section, LISTS)) + _seen_from()


def _section(each: ListOut) -> str:
    rows = "".join(map(_row, each.columns))
    return f"\n## {each.title}\n`{each.address}`\n\n{TABLE}{rows}"


TABLE = "| column | kind | what stands in it |\n| --- | --- | --- |\n"


def _row(each: Column) -> str:
    return f"| `{each.name}` | {each.kind} | {each.says} |\n"


def _seen_from() -> str:
    rows = "".join(map(_row, SEEN_FROM))
    told = "Cars and due items can be asked for as of another day and as known at a moment. Then two columns follow."
    return f"\n## Looked at from elsewhere\n{told}\n\n{TABLE}{rows}"


if __name__ == "__main__":
    WHERE.write_text(text())
