"""The JSON API, under one address: the same questions and changes as the pages, for programs."""

from fastapi import APIRouter

from app.api import (
    calculator,
    cars,
    directives,
    docs,
    due,
    events,
    field,
    field_pack,
    field_pictures,
    loading,
    trial,
    visits,
)

ADDRESS = "/api/v1"

router = APIRouter(prefix=ADDRESS)
ROUTERS = tuple(
    each.router
    for each in (
        loading,  # what is asked most, with a rack waiting, is tried first
        calculator,
        cars,
        trial,
        events,
        field,
        field_pack,
        field_pictures,
        visits,
        directives,
        due,
        docs,
    )
)
for each in ROUTERS:
    router.include_router(each)

__all__ = ["ADDRESS", "ROUTERS", "router"]
