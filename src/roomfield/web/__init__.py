"""The browser door: pages and an HTTP API on this computer, for the whole job."""

from roomfield.web.server import serve

__all__ = ["serve"]
