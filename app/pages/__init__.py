"""HTML pages, one module a subject, routes only. A new page's router goes into ROUTERS."""

from app.pages import about, health

ROUTERS = (health.router, about.router)
