"""`python -m app ...`: hands over to the command line."""

from app.cli import main

raise SystemExit(main())
