"""HTML pages, one module a subject, routes only. A new page's router goes into ROUTERS."""

from app.pages import about, due, fleet, health, home

ROUTERS = (health.router, about.router, fleet.router, due.router, home.router)
