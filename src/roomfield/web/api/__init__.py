"""The HTTP API: the same verbs as the pages, as JSON."""

from roomfield.web.api import plan, surveys, walk

ROUTERS = (surveys.router, plan.router, walk.router)
