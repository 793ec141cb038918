"""Questions that change nothing and need no store: due dates and decoding.

Each raises Refused with every fault and its path.
"""

from app.answers.decoding import decode, decode_with
from app.answers.due_dates import answer, due_dates, due_dates_lines
from app.answers.response import answer_as_json

__all__ = ["answer", "answer_as_json", "decode", "decode_with", "due_dates", "due_dates_lines"]
