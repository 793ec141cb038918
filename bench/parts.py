"""The one list of what is measured for the table: each part's name, what it is about, and where its rows come from."""

from __future__ import annotations

from bench import responses
from bench.rows import Part

PARTS = {
    "pages": Part("pages and API beside an empty page, list pages beside bare SQL", responses.rows),
}
