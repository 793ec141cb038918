"""Files in and out: spreadsheets to plain rows and back. Knows nothing of the store or the web."""
