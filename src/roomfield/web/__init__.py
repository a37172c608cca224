"""The browser door: a local page, nothing beyond localhost."""
