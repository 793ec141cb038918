"""How long a run is: `make test` tries a short one of what could go on for ever, `make fuzz` a long one."""

import os


def tries(short: int, long: int) -> int:
    return long if os.environ.get("LONG_RUN") else short
