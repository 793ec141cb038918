"""Bringing a whole file in: what it would do, doing it, and taking it back."""

from app.actions.imports.report import Change, Preview, RowWarning, Tell
from app.actions.imports.run import apply, preview
from app.actions.imports.take_back import take_back

__all__ = ["Change", "Preview", "RowWarning", "Tell", "apply", "preview", "take_back"]
