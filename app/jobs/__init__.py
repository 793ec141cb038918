"""Work that lasts: asked for in a request, done by a worker process, looked at by whoever comes back.

The `job` table says what was asked for and what became of it; the queue only wakes a worker.
"""

from app.jobs.progress import look
from app.jobs.queue import ask

__all__ = ["ask", "look"]
