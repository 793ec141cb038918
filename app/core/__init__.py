"""The calculator: pure functions from facts and rules to due dates with reasons. Standard library only."""
