"""The JSON API, under one address: the same questions and changes as the pages, for programs."""

from fastapi import APIRouter

from app.api import calculator, cars, docs, due, events, trial

ADDRESS = "/api/v1"

router = APIRouter(prefix=ADDRESS)
for each in (calculator, cars, trial, events, due, docs):
    router.include_router(each.router)

__all__ = ["ADDRESS", "router"]
