"""The HTTP API: the same verbs as the pages, as JSON."""

from roomfield.web.api import findings_api, plan_api, practice_api, surveys_api, walk_api, whatif_api

ROUTERS = tuple(part.router for part in (surveys_api, plan_api, walk_api, findings_api, whatif_api, practice_api))
