"""HTML pages, one module a subject, routes only. A new page's router goes into ROUTERS."""

from app.pages import about, cars, components, due, events, facts, fleet, health, home, ladings

ROUTERS = (health.router, about.router, fleet.router, due.router, home.router, ladings.router)
