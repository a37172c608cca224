"""Surveys in a database, their media by content hash.

``open_store`` in :mod:`roomfield.store.repository` is the way in.
"""
