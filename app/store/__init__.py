"""The record: tables and every SQL question asked of them."""
