"""Which car goes to which shop in which month, and what is done there: the problem, its cost, its checks."""
