"""Field work: what the entries of one inspector's report at one car come to. Nothing here counts a due date."""
