"""HTML pages, one module a subject, routes only. A new page's module goes into PAGES."""

from app.pages import (
    about,
    cars,
    components,
    due,
    events,
    facts,
    fleet,
    health,
    home,
    ladings,
    many,
)

PAGES = (health, home, fleet, due, cars, facts, events, components, many, ladings, about)
ROUTERS = tuple(page.router for page in PAGES)
