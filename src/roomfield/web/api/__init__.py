"""The HTTP API: the same verbs as the pages, as JSON."""

from roomfield.web.api import findings, plan, surveys, walk, whatif

ROUTERS = tuple(part.router for part in (surveys, plan, walk, findings, whatif))
