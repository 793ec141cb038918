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
    trial,
    trial_fleet,
    worked_out,
)

PAGES = (
    health,
    home,
    fleet,
    due,
    cars,
    trial,
    trial_fleet,
    worked_out,
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
