"""The JSON API, under one address: the same questions and changes as the pages, for programs."""

from fastapi import APIRouter

from app.api import calculator, cars, docs, due, events

ADDRESS = "/api/v1"

router = APIRouter(prefix=ADDRESS)
for each in (calculator, cars, events, due, docs):
    router.include_router(each.router)

__all__ = ["ADDRESS", "router"]
