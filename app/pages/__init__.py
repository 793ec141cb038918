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
    imports,
    jobs,
    ladings,
    many,
)

PAGES = (
    health,
    home,
    fleet,
    due,
    cars,
    facts,
    events,
    components,
    many,
    imports,
    jobs,
    ladings,
    about,
)
ROUTERS = tuple(page.router for page in PAGES)
