"""The regulations as data, and the reader that checks them."""
