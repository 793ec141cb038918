"""Taking in what tablets recorded beside a car, and making events of it once it is signed."""

from app.actions.field.receiving import Receiver, Result, Sent, receive

__all__ = ["Receiver", "Result", "Sent", "receive"]
