"""Photographs as files: where they are kept, how they arrive piece by piece, and what is made of them by decoding."""

from app.pictures.arriving import Arriving
from app.pictures.attachments import Attachments
from app.pictures.decoding import Limits, Picture, decoded

__all__ = ["Arriving", "Attachments", "Limits", "Picture", "decoded"]
